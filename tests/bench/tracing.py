"""The milligrams of a trace, back and forward, without the lot graph, against a bare index read of as many rows.

The bare read takes the same answers, written down beforehand in a table with an index on what is asked, by the same
cursor. Both are read warm; of each question the best of three runs counts.
"""

import random

from django.db import connection

from tests.bench import home, loading
from tests.bench.measuring import aim, best, heading, tell

SEED = 3
QUESTIONS = 150
RUNS = 3


def run(sizes: list[int]) -> None:
    heading("3. The milligrams of a trace, without the graph")
    tell(f"a small plant, posted and written as rows: {loading.check():,} rows, all the same")
    costs = {"back": [], "forward": []}
    for size in sizes:
        database = f"plant_{size}"
        loading.load(database, size)
        _tell_size(database)
        for way, of_way in costs.items():
            of_way.append(_measure(database, way))
        home.drop(database)
    for way, (first, *_, last) in ((way, of_way) for way, of_way in costs.items() if len(of_way) > 1):
        aim(f"{way}, a row at {sizes[-1]:,} lots against {sizes[0]:,}", last / first, 1.5, at_most=True)


def _tell_size(database: str) -> None:
    with home.connect(database) as superuser:
        lots, chunks, entries, vectors, codes = superuser.execute(
            "SELECT (SELECT count(*) FROM custody_lot), count(*), sum(cardinality(origins)), "
            "pg_total_relation_size('custody_vector'), (SELECT sum(pg_column_size(codes)) FROM custody_movement) "
            "FROM custody_vector"
        ).fetchone()
    tell(f"{lots:,} lots: {entries:,} provenance entries in {chunks:,} rows")
    tell(f"{lots:,} lots: vectors {vectors / lots:,.0f} and codes {codes / lots:,.0f} bytes a lot")


def _measure(database: str, way: str) -> float:
    """Microseconds a row of the trace, after its comparison with the bare read."""
    from custody.models import Lot
    from custody.queries import trace

    ask = {"back": trace.origins_of, "forward": trace.fates_of}[way]
    home.use(database)
    lots = list(Lot.objects.filter(pk__in=_asked(database, way)).select_related("origin"))
    answers = {lot.pk: ask(lot) for lot in lots}
    _write_down(database, answers)
    rows = sum(map(len, answers.values()))
    traced = sum(best(lambda lot=lot: ask(lot), RUNS) for lot in lots)
    bare = sum(best(lambda lot=lot: _read(lot.pk), RUNS) for lot in lots)
    where = f"{int(database.removeprefix('plant_')):,} lots, {way}"
    tell(f"{where}: {rows / len(lots):,.0f} rows a trace")
    for what, took in (("trace", traced), ("bare read", bare)):
        tell(f"{where}: {what} {took / len(lots) * 1e3:.2f} ms, {took / rows * 1e6:.2f} µs a row")
    aim(f"{where}, times the bare read", traced / bare, 3, at_most=True)
    return traced / rows * 1e6


def _asked(database: str, way: str) -> list[int]:
    """Bars of any age to trace back; parcels of the first half, whose metal had time to spread, to trace forward."""
    wanted = {
        "back": "SELECT id FROM custody_lot WHERE form = 'bar' ORDER BY id",
        "forward": "SELECT lot_id FROM custody_origin WHERE id < (SELECT max(id) / 2 FROM custody_origin) ORDER BY id",
    }[way]
    with home.connect(database) as superuser:
        found = [row[0] for row in superuser.execute(wanted)]
    return random.Random(SEED).sample(found, QUESTIONS)


def _write_down(database: str, answers: dict[int, list]) -> None:
    fields = next(iter(answers.values()))[0]._fields
    with home.connect(database) as superuser:
        superuser.execute("DROP TABLE IF EXISTS bare")
        columns = ", ".join(f"{name} {'bigint' if name == 'mg' else 'text'}" for name in fields)
        superuser.execute(f"CREATE TABLE bare (asked bigint, {columns})")
        with superuser.cursor().copy(f"COPY bare (asked, {', '.join(fields)}) FROM STDIN") as stream:
            for asked, rows in answers.items():
                for row in rows:
                    stream.write_row([asked, *row])
        superuser.execute("CREATE INDEX ON bare (asked)")
        superuser.execute("GRANT SELECT ON bare TO custody_app")
        superuser.execute("VACUUM ANALYZE bare")


def _read(asked: int) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM bare WHERE asked = %s", [asked])
        return cursor.fetchall()
