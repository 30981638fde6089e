"""Mistakes are mended in the open: what was built on them is reversed first, and a stamp names what it replaces."""

from tests.journeys.laboratory import BENCH, work
from tests.journeys.person import Person


def cast_one(operator: Person, lot: str, *, nominal: str, fineness: str, rest: str) -> None:
    """Types the cast of one bar and its remainder; the serial is the next one unless another is typed."""
    work(operator, "Cast bars", lot)
    operator.fill_in({"Scale": BENCH, "How many bars": "1", "Fineness of each": fineness})
    operator.press("Lay out the bars")
    operator.type("Weighed", nominal, "Bar 1")
    operator.type("Gross", rest, "Remainder")


def record(operator: Person) -> tuple[str, list[dict[str, str]]]:
    """Records the cast; gives the operation and its lots out."""
    operator.press("Record the cast")
    return operator.title, operator.table("Out")


def reverse_first(operator: Person, operation: str, later: str) -> None:
    """An operation that was built on is not reversed; the page says what comes first, and leads there."""
    ask_to_reverse(operator, operation)
    assert f"Reverse {later} first." in operator.faults
    operator.follow(f"Go to {later}")
    assert operator.title == later
    reverse(operator, later)


def reverse(operator: Person, operation: str) -> None:
    """Both the operation and its reversal stay in the book."""
    ask_to_reverse(operator, operation)
    assert operator.told.startswith(f"Done.{operation} is reversed by {operator.title}.")
    operator.scan(operation)
    assert "reversed" in operator.page.inner_text("h1")


def ask_to_reverse(operator: Person, operation: str) -> None:
    """From the operation's own page, with the reason."""
    operator.scan(operation)
    operator.follow("Reverse")
    operator.type("Reason", "The bar was weighed twice")
    operator.press("Reverse it")
