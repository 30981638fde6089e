"""Numbers of the laboratory's records: a letter, the local year, a count."""

from datetime import datetime

from django.db import connection


def next_number(letter: str, sequence: str, at: datetime) -> str:
    """The next number: ``next_number("A", "determination", at)`` is like A26-00001."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(%s::regclass), to_char(custody_local_day(%s), 'YY')", [f"custody_number_{sequence}", at]
        )
        count, year = cursor.fetchone()
    return f"{letter}{year}-{count:05d}"
