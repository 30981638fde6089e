"""What a step still has to explain: in + added = out + lost, for gross and for each metal.

A row is six whole milligrams in the order of ``terms.COLUMNS``: gross, Au, Ag, Pt, Pd, Cu.
"""

from collections.abc import Iterable

from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.terms import COLUMNS

Row = tuple[int, ...]


def total(rows: Iterable[Row]) -> Row:
    """The sum of the rows, column by column. Raises Refused for a row without exactly six columns."""
    sums = [0] * len(COLUMNS)
    for row in rows:
        if len(row) != len(COLUMNS):
            raise Refused(f"A line has {len(row)} columns; it must have {len(COLUMNS)}.", field="columns")
        sums = [before + now for before, now in zip(sums, row, strict=True)]
    return tuple(sums)


def missing(inputs: Iterable[Row], additions: Iterable[Row], outputs: Iterable[Row], losses: Iterable[Row]) -> Row:
    """In + added - out - lost, column by column, in milligrams.

    Zero everywhere: balanced. Positive: that much is still to explain. Negative: more came out than went in.
    """
    came = total([*inputs, *additions])
    went = total([*outputs, *losses])
    return tuple(a - b for a, b in zip(came, went, strict=True))


def is_balanced(row: Row) -> bool:
    """Whether nothing is missing and nothing too much."""
    return not any(row)


def missing_sentence(row: Row) -> str:
    """What is missing, in words and grams: ``Still to explain: gross 1.500 g, Au 0.020 g.``

    Columns in which more came out than went in are a second sentence. Empty when the step is balanced.
    """
    open_columns = _listed((name, mg) for name, mg in zip(COLUMNS, row, strict=True) if mg > 0)
    too_much = _listed((name, -mg) for name, mg in zip(COLUMNS, row, strict=True) if mg < 0)
    sentences = []
    if open_columns:
        sentences.append(f"Still to explain: {open_columns}.")
    if too_much:
        sentences.append(f"More out than in: {too_much}.")
    return " ".join(sentences)


def _listed(columns: Iterable[tuple[str, int]]) -> str:
    return ", ".join(f"{name} {format_grams(mg)} g" for name, mg in columns)
