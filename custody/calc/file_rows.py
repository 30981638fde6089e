"""Files of comma-separated text, UTF-8, decimal point: read whole or not at all, every fault told with its line."""

import csv
from collections.abc import Callable, Sequence
from typing import TypeVar

from custody.calc.refusals import Refused

#: No more faults than these are told at once, and no longer file is read.
MOST_FAULTS = 20
MOST_LINES = 5_000

Made = TypeVar("Made")
Header = tuple[str, ...]


class FileRefused(Refused):
    """A file with faults, a sentence each, beginning with its line."""

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        super().__init__(" ".join(faults), field="file")


def read_rows(
    text: str, headers: Sequence[Header], what: str, read: Callable[[Header, int, list[str]], Made]
) -> list[Made]:
    """What ``read`` makes of each row (header, line, cells); ``what`` one row is: a reading, a price.

    The first line is one of ``headers``; blank lines are passed over. Raises FileRefused with what ``read`` refuses.
    """
    lines = _cells(text, what)
    header = tuple(cell.strip() for cell in lines[0]) if lines else ()
    if header not in headers:
        known = "; ".join(",".join(each) for each in headers)
        raise FileRefused([f"line 1: the first line names the columns{', one of' * (len(headers) > 1)}: {known}."])
    if len(lines) > MOST_LINES:
        raise FileRefused([f"line {MOST_LINES}: a file has at most {MOST_LINES} lines."])
    made, faults = [], []
    for line, row in enumerate(lines[1:], 2):
        cells = [cell.strip() for cell in row]
        if not any(cells):
            continue
        try:
            if len(cells) != len(header):
                raise Refused(
                    f"{len(cells)} fields instead of {len(header)}. The decimal sign is a point, fields are divided by"
                    " commas."
                )
            made.append(read(header, line, cells))
        except Refused as refused:
            faults.append(f"line {line}: {refused.sentence}")
    if not made and not faults:
        faults.append(f"line 2: there are no {what}s.")
    if faults:
        raise FileRefused(faults[:MOST_FAULTS])
    return made


def _cells(text: str, what: str) -> list[list[str]]:
    # strict: of odd quotation marks the reader would otherwise guess what was meant
    reader = csv.reader(text.lstrip("\ufeff").splitlines(), strict=True)
    try:
        return list(reader)
    except csv.Error as error:
        raise FileRefused(
            [f"line {reader.line_num}: a field is longer than any {what}, or its quotation marks are odd."]
        ) from error
