"""Readings and reports of one worksheet wait for each other, to the end of the transaction."""

from django.db import connection

from custody.models import Worksheet

#: Advisory locks of worksheets, apart from any others. The application may not lock the rows, which never change.
_LOCKS = 7305


def lock_worksheet(worksheet: Worksheet) -> None:
    """Takes the worksheet's lock inside the caller's transaction."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [_LOCKS, worksheet.pk])
