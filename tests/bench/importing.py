"""Import of a history file against raw bulk inserts of the very rows that it recorded.

The raw tables are durable copies of the ledger's with its keys, checks and indexes, without triggers, references and
functions. COPY is the fastest that PostgreSQL has; executemany is what a program does that inserts rows.
"""

import time

from tests.bench import home
from tests.bench.measuring import aim, heading, seconds, tell
from tests.bench.plant import history_lines

DATABASE = "importing"
SEED = 7
TABLES = ("operation", "movement", "lot", "vector", "origin", "originreceipt", "parcel", "bar", "run")


def run(operations: int) -> None:
    heading(f"2. Import of a history file of {operations:,} operations")
    home.lay_out(DATABASE)
    lines = history_lines(operations, SEED)
    took, reading = _import(lines)
    rows, copied, inserted = _raw()
    tell(f"import: {took:.2f} s, {operations / took:,.0f} operations a second, {rows / took:,.0f} rows a second")
    tell(f"of which reading the file's lines: {reading:.2f} s")
    tell(f"raw COPY of the same {rows:,} rows: {copied:.2f} s; raw executemany: {inserted:.2f} s")
    aim("import, of raw COPY", copied / took, 1 / 4)
    tell(f"for comparison, of raw executemany: {inserted / took:.2f}")
    home.drop(DATABASE)


def _import(lines: list[str]) -> tuple[float, float]:
    from custody.actions.history import import_history
    from custody.calc.history import read_line

    reading = seconds(lambda: [read_line(line) for line in lines])
    return seconds(lambda: import_history(lines=lines)), reading


def _raw() -> tuple[int, float, float]:
    """How many rows the import made, and how long COPY and executemany take for them."""
    with home.connect(DATABASE) as superuser:
        rows = {}
        for table in TABLES:
            for raw in (f"raw_copy_{table}", f"raw_insert_{table}"):
                superuser.execute(f"CREATE TABLE {raw} (LIKE custody_{table} INCLUDING ALL)")
            rows[table] = superuser.execute(f"SELECT * FROM custody_{table}").fetchall()
        streams = {}
        for table in TABLES:
            with superuser.cursor().copy(f"COPY custody_{table} TO STDOUT") as stream:
                streams[table] = b"".join(bytes(block) for block in stream)
        start = time.perf_counter()
        with superuser.transaction():
            for table, stream in streams.items():
                with superuser.cursor().copy(f"COPY raw_copy_{table} FROM STDIN") as copy:
                    copy.write(stream)
        copied = time.perf_counter() - start
        start = time.perf_counter()
        with superuser.transaction():
            for table, of_table in rows.items():
                if of_table:
                    marks = ", ".join(["%s"] * len(of_table[0]))
                    superuser.cursor().executemany(
                        f"INSERT INTO raw_insert_{table} OVERRIDING SYSTEM VALUE VALUES ({marks})", of_table
                    )
        inserted = time.perf_counter() - start
    return sum(map(len, rows.values())), copied, inserted
