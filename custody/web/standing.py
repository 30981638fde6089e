"""How standings are said on every screen, and which metals a list needs columns for."""

from collections.abc import Callable, Iterable

from custody.calc.mass import format_grams
from custody.models import Lot
from custody.templatetags.metal import UNKNOWN
from custody.terms import METALS, Clearance
from custody.web.tables import MassColumn

CLEARANCE_TONES = {Clearance.RELEASED: "good", Clearance.AWAITING: "wait", Clearance.HELD: "stop"}


def standing_of(lot: Lot) -> tuple[str, str]:
    """Where compliance stands with a lot, with the tone of the word; a lot without mass in it stands nowhere."""
    return (Clearance(lot.clearance).label, CLEARANCE_TONES[lot.clearance]) if lot.gross_mg else ("empty", "plain")


def owner_words(lot: Lot) -> str:
    """Whose metal a lot is: a party's, the house's, or of several in a pool."""
    if lot.owner:
        return lot.owner.name
    return "the house, pooled with claims" if lot.pooled else "the house"


def origin_words(lot: Lot) -> str:
    """The declared origin of a lot: of its own parcel (queries.amendments), or what its parcels agree on."""
    parcel = getattr(lot, "parcel", None)
    if parcel is None:
        return (lot.declared_origin if lot.amended_origin is None else lot.amended_origin).replace("|", ", ")
    return ", ".join(filter(None, (parcel.category, parcel.mine, parcel.country)))


def metals_in(rows: Iterable[tuple[int, ...]]) -> list[str]:
    """The metals of account that occur in rows of gross and five metals, milligrams."""
    sums = [any(column) for column in zip(*rows, strict=True)][1:]
    return [metal for metal, there in zip(METALS, sums, strict=False) if there]


def column_total(field: str, index: int) -> Callable:
    """The footer of a column that is read from a tuple of milligrams: its sum in grams, unknown if a part of it is."""

    def footer(table) -> str:
        column = [getattr(row, field)[index] for row in table.data]
        return UNKNOWN if None in column else format_grams(sum(column))

    return footer


def metal_columns(
    metals: Iterable[str], field: str, *, total: bool = False, column: type[MassColumn] = MassColumn
) -> list[tuple[str, MassColumn]]:
    """Columns of a table for these metals, read from a tuple of gross and five metals named ``field``."""
    found = []
    for metal in metals:
        index = 1 + METALS.index(metal)
        footer = {"footer": column_total(field, index)} if total else {}
        found.append((metal.lower(), column(metal, accessor=f"{field}__{index}", orderable=False, **footer)))
    return found
