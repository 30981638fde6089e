"""The four measurements of make bench."""

import threading
import time
from collections.abc import Callable
from contextlib import contextmanager

from django.conf import settings
from django.db import connection
from django.template.loader import render_to_string
from psycopg.types.json import Jsonb
from weasyprint import CSS, HTML

from custody.actions.history import import_history
from custody.documents.certificate import render_certificate
from custody.documents.render import SHEETS
from custody.models import Lot, User
from custody.queries import trace
from refinery import embedded, roles
from tests.bench.plant import history_lines
from tests.documents import samples

ROUNDS = 300
TABLES = ("movement", "operation", "lot", "vector", "origin", "originreceipt", "parcel")


def tell(what: str, ours: float, raw: float, aim: float, *, less_is_better: bool = False) -> None:
    """One line: the figure, the baseline, the ratio and the aim."""
    ratio = ours / raw if raw else 0.0
    met = ratio <= aim if less_is_better else ratio >= aim
    print(f"  {what:58} {ours:11.1f} {raw:11.1f}   ratio {ratio:6.2f}   aim {aim:.2f}: {'met' if met else 'missed'}")


def connect(role: str = roles.APP):
    return embedded.connect(settings.CUSTODY_HOME, roles.DATABASE, role)


def rate(writers: int, work: Callable[[object, int, int], None]) -> float:
    """Calls a second of ``work(connection, writer, round)`` by so many writers at once."""
    connections = [connect(roles.OWNER) for _ in range(writers)]
    gate = threading.Barrier(writers + 1)

    def writer(number: int) -> None:
        gate.wait()
        for turn in range(ROUNDS):
            work(connections[number], number, turn)

    threads = [threading.Thread(target=writer, args=(number,)) for number in range(writers)]
    for thread in threads:
        thread.start()
    gate.wait()
    started = time.perf_counter()
    for thread in threads:
        thread.join()
    taken = time.perf_counter() - started
    for opened in connections:
        opened.close()
    return writers * ROUNDS / taken


def recording() -> None:
    """A melt (one lot in, two out, a loss) and its receipt through custody_post, against a bare durable insert."""
    print("\nRecording an operation, per second: through the poster, bare durable single-row insert")
    import_history(lines=history_lines(1, seed=1))
    keeper = User.objects.get(username="imported-history").pk
    with connect(roles.OWNER) as owner:
        owner.execute("CREATE TABLE bench_bare (id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, body text)")

    def post(opened, request: dict) -> None:
        opened.execute("SELECT custody_post(%s)", [Jsonb(request | {"by": keeper, "source": "history"})])

    for writers in (1, 8):
        raw = rate(
            writers, lambda opened, *_: opened.execute("INSERT INTO bench_bare (body) VALUES (repeat('x', 200))")
        )
        stem = f"B{writers}"
        received = rate(writers, lambda opened, n, turn, stem=stem: post(opened, receipt(f"{stem}-{n}-{turn}")))
        melted = rate(writers, lambda opened, n, turn, stem=stem: post(opened, melt(f"{stem}-{n}-{turn}")))
        tell(f"receipt of a parcel, {writers} writer(s)", received, raw, 1 / 3)
        tell(f"melt: 1 in, 2 out, 1 loss, {writers} writer(s)", melted, raw, 1 / 3)


def receipt(name: str) -> dict:
    return {
        "kind": "receive",
        "number": f"R-{name}",
        "at": "2024-01-02T09:00:00+00:00",
        "party": "P-00001",
        "place": "HISTORY",
        "outputs": [
            {"lot": f"P-{name}", "form": "dore", "gross_mg": 1_000_000, "fine_mg": {"Au": 800_000, "Ag": 90_000}}
        ],
    }


def melt(name: str) -> dict:
    return {
        "kind": "melt",
        "number": f"M-{name}",
        "at": "2024-01-02T10:00:00+00:00",
        "place": "HISTORY",
        "inputs": [{"lot": f"P-{name}"}],
        "additions": [{"what": "flux", "gross_mg": 10_000}],
        "outputs": [
            {"lot": f"N-{name}", "form": "melt", "gross_mg": 998_000, "fine_mg": {"Au": 799_900, "Ag": 89_900}},
            {"lot": f"S-{name}", "form": "slag", "gross_mg": 10_500, "fine_mg": {"Au": 100, "Ag": 50}},
        ],
        "losses": [{"cause": "fume", "gross_mg": 1_500, "fine_mg": {"Ag": 50}}],
    }


def importing(operations: int) -> None:
    """A history of so many operations, against a bulk COPY of the same rows into bare durable tables."""
    print("\nImport of a history, operations per second: import_history, COPY of the same rows")
    lines = history_lines(operations, seed=7)
    before = {table: _highest(table) for table in TABLES}
    started = time.perf_counter()
    import_history(lines=[line.replace('"L-', '"IM-').replace('"OP-', '"IMO-') for line in lines])
    ours = operations / (time.perf_counter() - started)
    with connect(roles.OWNER) as owner:
        rows = 0
        taken = 0.0
        for table in TABLES:
            key = "lot_id" if table == "parcel" else "id"
            owner.execute(f"CREATE TABLE bench_{table} AS SELECT * FROM custody_{table} WITH NO DATA")
            query = f"COPY (SELECT * FROM custody_{table} WHERE {key} > {before[table]}) TO STDOUT"
            with owner.cursor().copy(query) as source:
                data = b"".join(bytes(part) for part in source)
            began = time.perf_counter()
            with owner.cursor().copy(f"COPY bench_{table} FROM STDIN") as target:
                target.write(data)
            taken += time.perf_counter() - began
            rows += data.count(b"\n")
    tell(f"{operations} operations, {rows} rows", ours, operations / taken, 1 / 4)


def _highest(table: str) -> int:
    key = "lot_id" if table == "parcel" else "id"
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT coalesce(max({key}), 0) FROM custody_{table}")
        return cursor.fetchone()[0]


@contextmanager
def clock(times: list[float]):
    started = time.perf_counter()
    yield
    times.append(time.perf_counter() - started)


def tracing(sizes: list[int]) -> None:
    """Milligrams of a trace, microseconds a row, against a bare index read of as many rows; at growing sizes."""
    print("\nTrace without the graph, microseconds a row: ours, bare index read of as many rows")
    per_row = {}
    for step, size in enumerate(sizes):
        _grow(size, step)
        with connect(roles.OWNER) as owner:
            owner.execute("ANALYZE custody_vector, custody_movement, custody_lot")
        for way, lots, ask in (
            ("back", list(Lot.objects.filter(form="bar").order_by("-id")[:40]), trace.origins_of),
            (
                "forward",
                list(Lot.objects.filter(form="dore", origin__isnull=False).order_by("id")[:40]),
                trace.fates_of,
            ),
        ):
            ours, raw = _timed(lots, ask)
            per_row.setdefault(way, []).append(ours)
            tell(f"{way}, plant of {size} lots", ours, raw, 3, less_is_better=True)
    for way, figures in per_row.items():
        tell(f"{way}: largest plant against smallest, µs a row", figures[-1], figures[0], 1.5, less_is_better=True)
    _space()


def _grow(size: int, step: int) -> None:
    lines = history_lines(size // 8, seed=11 + step)
    prefix = f"T{step}"
    import_history(
        lines=[
            line.replace('"L-', f'"{prefix}L-')
            .replace('"OP-', f'"{prefix}O-')
            .replace('"B', f'"{prefix}B')
            .replace("CELL-1", f"CELL-{prefix}")
            for line in lines
        ]
    )


def _timed(lots: list[Lot], ask: Callable) -> tuple[float, float]:
    ours, bare, rows = [], [], 0
    for lot in lots:
        ask(lot)
        with clock(ours):
            found = len(ask(lot))
        rows += found
        with connection.cursor() as cursor, clock(bare):
            cursor.execute("SELECT * FROM custody_movement WHERE id > %s ORDER BY id LIMIT %s", [lot.pk, found])
            cursor.fetchall()
    return 1e6 * sum(ours) / max(rows, 1), 1e6 * sum(bare) / max(rows, 1)


def _space() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT (SELECT count(*) FROM custody_lot), (SELECT count(*) FROM custody_vector),"
            " (SELECT coalesce(sum(cardinality(origins)), 0) FROM custody_vector),"
            " pg_total_relation_size('custody_vector') + (SELECT coalesce(sum(pg_column_size(codes)), 0)"
            " FROM custody_movement)"
        )
        lots, chunks, entries, size = cursor.fetchone()
    print(f"  {lots} lots: {chunks} chunks, {entries} origins in them, {size / lots:.0f} bytes of provenance a lot")


def certificate() -> None:
    """A bar certificate, milliseconds, against a bare render of the same page without code, tags or attachment."""
    print("\nA certificate, milliseconds: issued, the same page rendered bare")
    paper = samples.certificate()
    sheets = [CSS(filename=SHEETS / name) for name in ("paper.css", "certificate.css")]
    whole, bare = [], []
    for _ in range(8):
        with clock(whole):
            render_certificate(paper, identifier=samples.IDENTIFIER, created=samples.NOON)
        with clock(bare):
            page = render_to_string("documents/certificate.html", {"paper": paper, "title": "bare"})
            HTML(string=page).write_pdf(stylesheets=sheets)
    tell("bar certificate", 1e3 * min(whole), 1e3 * min(bare), 1.5, less_is_better=True)
