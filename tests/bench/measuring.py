"""Timing, and how a figure is told: what was measured, its raw baseline, the ratio, and whether the aim is met."""

import statistics
import sys
import time
from collections.abc import Callable


def seconds(work: Callable[[], object]) -> float:
    """How long one run of the work takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def best(work: Callable[[], object], runs: int) -> float:
    """The shortest of several runs: what the work takes when nothing else disturbs it."""
    return min(seconds(work) for _ in range(runs))


def median(values: list[float]) -> float:
    return statistics.median(values)


def heading(text: str) -> None:
    print(f"\n{text}\n{'-' * len(text)}", flush=True)


def tell(text: str) -> None:
    print(f"  {text}", flush=True)


def progress(text: str) -> None:
    """Something that takes long, told to whoever waits and kept out of the figures."""
    print(f"  … {text}", file=sys.stderr, flush=True)


def aim(what: str, reached: float, wanted: float, *, unit: str = "", at_most: bool = False) -> None:
    """Prints the aim beside what was reached, honestly also where it is missed."""
    met = reached <= wanted if at_most else reached >= wanted
    bound = "at most" if at_most else "at least"
    tell(f"aim {what}: {bound} {wanted:.2f}{unit}, reached {reached:.2f}{unit} : {'met' if met else 'missed'}")
