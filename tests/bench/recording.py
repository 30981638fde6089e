"""Recording an operation against a bare durable insert of one row in the same database.

Each writer is a process with a connection, a person, a place and lots of its own. Its lots are received before the
clock starts; the same call of custody_post() that the application makes is timed, one transaction an operation.
"""

import multiprocessing
import time
from collections.abc import Iterator
from itertools import islice

from psycopg.types.json import Jsonb

from tests.bench import home
from tests.bench.measuring import aim, heading, tell
from tests.bench.plant import Record

DATABASE = "recording"
AT = "2024-01-02T09:00:00+00:00"
WARM_UP = 30
SIX = 6
KILO = {"gross_mg": 1_000_000, "fine_mg": {"Au": 600_000, "Ag": 300_000}}

#: A statement and what it is given.
Call = tuple[str, list]

INSERT = "INSERT INTO bare (at, mg) VALUES (%s, %s)"
POST = "SELECT custody_post(%s)"


def run(operations: int, writers: list[int]) -> None:
    heading("1. Recording an operation: custody_post() from psycopg, durable, against a bare insert of one row")
    home.lay_out(DATABASE)
    desks = home.desks(DATABASE, max(writers))
    with home.connect(DATABASE) as superuser:
        superuser.execute(
            "CREATE TABLE bare (id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, at timestamptz, mg bigint)"
        )
        superuser.execute("GRANT INSERT ON bare TO custody_app")
    for count in writers:
        bare = _rate([[(INSERT, [AT, 1])] * (2 * operations // count + WARM_UP)] * count)
        whose = f"{count} writer{'s' * (count > 1)}"
        tell(f"{whose}: bare insert: {bare:,.0f} a second")
        for what, plan in (
            ("1 lot in, 2 lots and a loss out", _buttons),
            (f"{SIX} origins in, {SIX} lots out", _mixtures),
        ):
            each = operations // count + WARM_UP
            calls = [_posts(plan(f"{what[0]}-{count}-{i}", each), desk, each) for i, desk in enumerate(desks[:count])]
            rate = _rate(calls)
            tell(f"{whose}: melt, {what}: {rate:,.0f} a second")
            aim(f"{whose}, {what}, of the bare insert", rate / bare, 1 / 3)
    home.drop(DATABASE)


def _posts(records: Iterator[Record], desk: home.Desk, each: int) -> list[Call]:
    """Records what goes before the clock starts, and gives the calls that are timed."""
    said = {"at": AT, "by": desk.by, "place": desk.place, "source": "history"}
    with home.connect(DATABASE, "custody_app") as connection:
        connection.execute(POST, [Jsonb(next(records) | said)])
    return [(POST, [Jsonb(record | said)]) for record in islice(records, each)]


def _rate(calls: list[list[Call]]) -> float:
    """How many calls a second all writers make together, after a warm-up of their sessions."""
    context = multiprocessing.get_context("fork")
    start = context.Barrier(len(calls) + 1)
    queue = context.SimpleQueue()
    writers = [context.Process(target=_write, args=(own, start, queue)) for own in calls]
    for writer in writers:
        writer.start()
    start.wait()
    begun = time.perf_counter()
    for writer in writers:
        writer.join()
        if writer.exitcode:
            raise RuntimeError("A writer failed; what it said stands above.")
    ends = [queue.get() for _ in writers]
    return sum(len(own) - WARM_UP for own in calls) / (max(ends) - begun)


def _write(calls: list[Call], start, queue) -> None:
    with home.connect(DATABASE, "custody_app") as connection:
        for statement, given in calls[:WARM_UP]:
            connection.execute(statement, given)
        start.wait()
        for statement, given in calls[WARM_UP:]:
            connection.execute(statement, given)
        queue.put(time.perf_counter())


def _receipt(name: str, parcels: int, **each) -> Record:
    outputs = [
        {"lot": f"{name}-{i}", "form": "dore", **each, "origin": {"category": "mined", "country": "NO"}}
        for i in range(parcels)
    ]
    return {"kind": "receive", "number": f"R-{name}", "party": "P-00001", "outputs": outputs}


def _buttons(name: str, each: int) -> Iterator[Record]:
    """A receipt; then the melt of its lot into a button and slag, with fume, and of that button again, and so on."""
    gross, gold, silver = 2_000_000_000, 1_200_000_000, 500_000_000
    yield _receipt(name, 1, gross_mg=gross, fine_mg={"Au": gold, "Ag": silver})
    lot = f"{name}-0"
    for step in range(each):
        gross, gold, silver = gross - 1_100, gold - 500, silver - 250
        button = {"lot": f"{name}-B{step}", "form": "melt", "gross_mg": gross, "fine_mg": {"Au": gold, "Ag": silver}}
        slag = {"lot": f"{name}-S{step}", "form": "slag", "gross_mg": 1_000, "fine_mg": {"Au": 500, "Ag": 250}}
        fume = {"cause": "fume", "gross_mg": 100, "fine_mg": {}}
        made = {"inputs": [{"lot": lot}], "outputs": [button, slag], "losses": [fume]}
        yield {"kind": "melt", "number": f"M-{name}-{step}", **made}
        lot = button["lot"]


def _mixtures(name: str, each: int) -> Iterator[Record]:
    """A receipt of six parcels for each of the melts that follow: six parcels into six lots."""
    yield _receipt(name, SIX * each, **KILO)
    for step in range(each):
        inputs = [{"lot": f"{name}-{SIX * step + i}"} for i in range(SIX)]
        outputs = [{"lot": f"{name}-{step}-{i}", "form": "melt", **KILO} for i in range(SIX)]
        yield {"kind": "melt", "number": f"X-{name}-{step}", "inputs": inputs, "outputs": outputs}
