"""A table as a CSV file, UTF-8, sent line by line."""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence

from django.http import StreamingHttpResponse
from django.utils.http import content_disposition_header

_NUMBER = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?")


class _Echo:
    """What csv writes to: it gives the line back."""

    def write(self, line: str) -> str:
        return line


def csv_file(name: str, rows: Iterable[Sequence]) -> StreamingHttpResponse:
    """The rows as a file of that name, the head first; rows may be made while they are sent."""
    answer = StreamingHttpResponse(_lines(rows), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = content_disposition_header(True, name)
    return answer


def _lines(rows: Iterable[Sequence]) -> Iterator[str]:
    writer = csv.writer(_Echo())
    for row in rows:
        yield writer.writerow([_plain(cell) for cell in row])


def _plain(cell: object) -> str:
    """A cell that no table program takes for a formula: what somebody typed must not be run where it is opened."""
    text = str(cell)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") and not _NUMBER.fullmatch(text) else text
