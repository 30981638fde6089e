"""Loads a generated plant past the poster, and proves on a small one that both give the same rows."""

from itertools import islice

import psycopg
from psycopg.types.json import Jsonb

from tests.bench import home
from tests.bench.measuring import progress
from tests.bench.plant import CELL, Plant
from tests.bench.rows import TABLES, House, RowWriter

SEED = 20_240_105


def load(database: str, lots: int) -> None:
    """A plant of so many lots, written as rows by COPY, indexed and analysed."""
    home.lay_out(database)
    desk = home.desks(database, 1)[0]
    with home.connect(database) as superuser:
        superuser.execute("SET session_replication_role = replica")
        superuser.execute("SET maintenance_work_mem = '512MB'")
        indexes = _drop_indexes(superuser)
        writer = RowWriter(_copier(superuser), _house(superuser, desk))
        plant = Plant(SEED)
        told = 0
        for record in plant.batches(until_lots=lots):
            writer.write(record)
            if plant.lots - told >= 100_000:
                told = plant.lots
                progress(f"{plant.lots:,} lots")
        writer.finish()
        for index in indexes:
            superuser.execute(index)
        superuser.execute("VACUUM ANALYZE")


def check() -> int:
    """Posts a small plant and writes it as rows; gives how many rows are the same. Raises where they differ."""
    records = list(islice(Plant(SEED).batches(until_lots=1_500), 420))
    home.lay_out("posted")
    desk = home.desks("posted", 1)[0]
    with home.connect("posted", "custody_app") as app:
        for record in records:
            request = {**record, "by": desk.by, "place": desk.place, "source": "history"}
            app.execute("SELECT custody_post(%s)", [Jsonb(request)])
    home.lay_out("written")
    desk = home.desks("written", 1)[0]
    with home.connect("written") as superuser:
        superuser.execute("SET session_replication_role = replica")
        writer = RowWriter(_copier(superuser), _house(superuser, desk))
        for record in records:
            writer.write(record)
        writer.finish()
    same = 0
    with home.connect("posted") as posted, home.connect("written") as written:
        for table in TABLES:
            expected, found = _rows(posted, table), _rows(written, table)
            differing = [pair for pair in zip(expected, found, strict=False) if pair[0] != pair[1]]
            if differing or len(expected) != len(found):
                raise AssertionError(f"{table}: {len(expected)} posted, {len(found)} written, first {differing[:1]}")
            same += len(found)
    home.drop("posted")
    home.drop("written")
    return same


def _rows(connection: psycopg.Connection, table: str) -> list[tuple]:
    untold = {"canonical", "sha256", "recorded_at"}
    columns = ", ".join(column for column in TABLES[table] if column not in untold)
    key = "lot_id" if table == "parcel" else "id"
    return connection.execute(f"SELECT {columns} FROM custody_{table} ORDER BY {key}").fetchall()


def _house(superuser: psycopg.Connection, desk: home.Desk) -> House:
    places = dict(superuser.execute("SELECT code, id FROM custody_place").fetchall())
    parties = dict(superuser.execute("SELECT code, id FROM custody_party").fetchall())
    return House(desk.by, places[desk.place], places[CELL], parties)


def _copier(superuser: psycopg.Connection):
    def copy(table: str, columns: tuple[str, ...], lines: list[str]) -> None:
        with superuser.cursor().copy(f"COPY {table} ({', '.join(columns)}) FROM STDIN") as stream:
            for start in range(0, len(lines), 1_000):
                stream.write("\n".join(lines[start : start + 1_000]) + "\n")

    return copy


def _drop_indexes(superuser: psycopg.Connection) -> list[str]:
    """Drops what no constraint stands on; gives how to make it again."""
    found = superuser.execute(
        "SELECT i.indexrelid::regclass::text, pg_get_indexdef(i.indexrelid) FROM pg_index i "
        "JOIN pg_class c ON c.oid = i.indrelid WHERE c.relname = ANY (%s) "
        "AND NOT EXISTS (SELECT FROM pg_constraint k WHERE k.conindid = i.indexrelid)",
        [[f"custody_{table}" for table in TABLES]],
    ).fetchall()
    for name, _ in found:
        superuser.execute(f"DROP INDEX {name}")
    return [definition for _, definition in found]
