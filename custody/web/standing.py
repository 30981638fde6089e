"""How standings are said on every screen, and which metals a list needs columns for."""

from collections.abc import Callable, Iterable

from custody.calc.mass import format_grams
from custody.models import Lot
from custody.terms import METALS, Clearance
from custody.web.tables import MassColumn

CLEARANCE_TONES = {Clearance.RELEASED: "good", Clearance.AWAITING: "wait", Clearance.HELD: "stop"}


def owner_words(lot: Lot) -> str:
    """Whose metal a lot is: a party's, the house's, or of several in a pool."""
    if lot.owner:
        return lot.owner.name
    return "the house, pooled with claims" if lot.pooled else "the house"


def metals_in(rows: Iterable[tuple[int, ...]]) -> list[str]:
    """The metals of account that occur in rows of gross and five metals, milligrams."""
    sums = [any(column) for column in zip(*rows, strict=True)][1:]
    return [metal for metal, there in zip(METALS, sums, strict=False) if there]


def column_total(field: str, index: int) -> Callable:
    """The footer of a column that is read from a tuple of milligrams: its sum, in grams."""
    return lambda table: format_grams(sum(getattr(row, field)[index] or 0 for row in table.data))


def metal_columns(metals: Iterable[str], field: str, *, total: bool = False) -> list[tuple[str, MassColumn]]:
    """Columns of a table for these metals, read from a tuple of gross and five metals named ``field``."""
    found = []
    for metal in metals:
        index = 1 + METALS.index(metal)
        footer = {"footer": column_total(field, index)} if total else {}
        found.append((metal.lower(), MassColumn(metal, accessor=f"{field}__{index}", orderable=False, **footer)))
    return found
