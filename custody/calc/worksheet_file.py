"""Files that a balance or an instrument writes for a worksheet, in three plain forms, comma-separated, UTF-8.

``worksheet,position,of,mg`` (``of``: portion, silver added, bead, cornet, silver chloride; milligrams, three decimals);
``worksheet,position,mL`` (volumes of a titration); ``worksheet,position,element,mg_per_kg`` (impurities; ``<0.5`` where
nothing was found). Decimal sign is a point. A file is read whole or not at all.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from custody.calc.assay import parse_milligrams
from custody.calc.file_rows import read_rows
from custody.calc.high_purity import PPB, parse_impurity
from custody.calc.reading import clean, quoted, refuse_zero, scaled
from custody.calc.refusals import Refused
from custody.terms import ReadingOf

MASSES = ("worksheet", "position", "of", "mg")
VOLUMES = ("worksheet", "position", "mL")
IMPURITIES = ("worksheet", "position", "element", "mg_per_kg")
HEADERS = (MASSES, VOLUMES, IMPURITIES)

#: No portion, bead or flask is larger: one kilogram in micrograms, one litre in microlitres.
LARGEST = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Read:
    """One raw reading: of which position, what, and how much (micrograms, microlitres, micrograms per kilogram)."""

    position: int
    of: ReadingOf
    value: int
    element: str = ""
    undetected: bool = False

    @property
    def cell(self) -> tuple[int, ReadingOf, str]:
        """What it is a reading of; a later one of the same cell replaces it."""
        return self.position, self.of, self.element

    @property
    def name(self) -> str:
        """The name of its field in a form."""
        return f"{self.of.name.lower()}_{self.position}"


def read_value(of: ReadingOf, text: str) -> int:
    """One typed or sent reading: milligrams or millilitres with at most three decimals, as micrograms or microlitres.

    A portion and a volume are more than zero. Raises Refused and Unreadable.
    """
    if of is ReadingOf.VOLUME:
        value = scaled(clean(text, what="volume", example="7.05"), decimals=3, most=3, what="volume", example="7.05")
        refuse_zero(value, what="volume", example="7.05")
    else:
        value = parse_milligrams(text, what=of.label, allow_zero=of is not ReadingOf.PORTION)
    if value > LARGEST:
        raise Refused(f"The {of.label} {quoted(text)} is more than 1 kg or 1 L. Check it.", field=of.label)
    return value


def read_file(text: str, number: str, columns: Mapping[int, Sequence[ReadingOf]], metal: str = "") -> list[Read]:
    """The readings of a file for one worksheet, whose positions may hold ``columns``. Raises FileRefused.

    ``metal`` is what the worksheet finds: it is no impurity of itself, and read as one it could not be taken back.
    """
    found: dict[tuple, int] = {}

    def read(header: tuple, line: int, cells: list[str]) -> Read:
        one = _line(header, cells, number, columns)
        if metal and one.element == metal:
            raise Refused(f"{metal} is no impurity of itself.")
        if found.setdefault(one.cell, line) != line:
            raise Refused(f"position {one.position} has this reading in line {found[one.cell]} already.")
        return one

    return read_rows(text, HEADERS, "reading", read)


def _line(header: tuple, cells: list[str], number: str, columns: Mapping[int, Sequence[ReadingOf]]) -> Read:
    worksheet, place, *rest = cells
    if worksheet != number:
        raise Refused(f"this is a reading of worksheet {quoted(worksheet)}, not of {number}.")
    position = scaled(clean(place, what="position", example="3"), decimals=0, most=0, what="position", example="3")
    if position not in columns:
        raise Refused(f"worksheet {number} has no position {quoted(place)}.")
    read = _reading(header, position, rest)
    if read.of not in columns[position]:
        raise Refused(f"position {position} has no {read.of.label}.")
    return read


def _reading(header: tuple, position: int, rest: list[str]) -> Read:
    if header == VOLUMES:
        return Read(position, ReadingOf.VOLUME, read_value(ReadingOf.VOLUME, rest[0]))
    if header == IMPURITIES:
        impurity = parse_impurity(*rest)
        if impurity.ppb > PPB:
            raise Refused(f"{impurity.element} is more than the whole.")
        return Read(position, ReadingOf.IMPURITY, impurity.ppb, impurity.element, impurity.undetected)
    name, mg = rest
    masses = (
        ReadingOf.PORTION, ReadingOf.SILVER_ADDED, ReadingOf.BEAD, ReadingOf.CORNET, ReadingOf.CHLORIDE,
    )  # fmt: skip
    of = next((each for each in masses if each.value == name), None)
    if of is None:
        raise Refused(f"{quoted(name)} is no weighing. Write one of: {', '.join(each.value for each in masses)}.")
    return Read(position, of, read_value(of, mg))
