"""What only the database can promise: one readable file per promise, each with its reverse."""

from pathlib import Path

from django.db.migrations import RunSQL

FOLDER = Path(__file__).parent

#: The order in which the promises are laid; a later file may call an earlier one.
PROMISES = (
    "refusals",
    "append_only",
    "balance",
    "lot_book",
    "lot_graph",
    "unique_bars",
    "closed_periods",
    "spread",
    "origins",
    "trace",
    "mixing",
    "post_lines",
    "bars",
    "vault",
    "post_record",
    "canonical",
    "post_head",
    "titles",
    "post_step",
    "counter",
    "post_receive",
    "post_value",
    "solutions",
    "cells",
    "post_reverse",
    "post",
    "scales",
    "worksheets",
    "exchange",
    "separated_duties",
    "custody_moves",
    "settle",
    "prices",
    "rights",
)


def promise(name: str) -> RunSQL:
    """The migration operation that lays one promise, and takes it away again."""
    return RunSQL((FOLDER / f"{name}.sql").read_text(), reverse_sql=(FOLDER / f"{name}.reverse.sql").read_text())
