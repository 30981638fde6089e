"""Numbers that the application draws: a letter, the year of the refinery's local day, and a running count."""

from datetime import datetime

from django.db import connection


def next_number(sequence: str, prefix: str, at: datetime) -> str:
    """The next number of one of the book's sequences, like A26-00005."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT nextval(%s), to_char(custody_local_day(%s), 'YY')", [sequence, at])
        count, year = cursor.fetchone()
    return f"{prefix}{year}-{count:05d}"
