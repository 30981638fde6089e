"""make bench: how fast the book is, in one run against raw baselines, honestly also where an aim is missed.

python -m tests.bench                      everything (about fifteen minutes)
python -m tests.bench --part trace --lots 10000 200000
"""

import argparse
import os
import platform

from tests.bench import home
from tests.bench.measuring import heading, tell

PARTS = ("record", "import", "trace", "paper")


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__.splitlines()[0])
    parser.add_argument("--part", action="append", choices=PARTS, help="one part only; may stand more than once")
    parser.add_argument("--operations", type=int, default=2_000, help="operations recorded, and imported")
    parser.add_argument("--writers", type=int, nargs="+", default=[1, 8])
    parser.add_argument("--lots", type=int, nargs="+", default=[10_000, 1_000_000], help="sizes of the traced plant")
    chosen = parser.parse_args()
    parts = chosen.part or PARTS
    home.prepare()
    heading("The machine")
    tell(f"{os.cpu_count()} processors, {platform.machine()}, Python {platform.python_version()}")
    with home.connect("postgres") as superuser:
        tell(superuser.execute("SELECT version()").fetchone()[0].split(",")[0])
    if "record" in parts:
        from tests.bench import recording

        recording.run(chosen.operations, chosen.writers)
    if "import" in parts:
        from tests.bench import importing

        importing.run(chosen.operations)
    if "trace" in parts:
        from tests.bench import tracing

        tracing.run(chosen.lots)
    if "paper" in parts:
        from tests.bench import paper

        paper.run()


if __name__ == "__main__":
    main()
