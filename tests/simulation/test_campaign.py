"""A whole campaign: every gram of gold, silver and copper that was received is found again, by its fate."""

from collections import Counter

import periodictable
import pytest
from django.db import transaction
from scipy import constants

from custody.models import CellReading, Document, Lot, Movement, Operation, Run
from custody.queries import trace
from custody.queries.verify import verify
from custody.terms import METALS
from tests import campaign
from tests.simulation.exact import Graph


@pytest.fixture(scope="module")
def now(django_db_setup, django_db_blocker):
    """One campaign for all questions, in a transaction that is rolled back."""
    with django_db_blocker.unblock():
        block = transaction.atomic()
        block._from_testcase = True
        with block:
            yield campaign.run()
            transaction.set_rollback(True)


def fates(now):
    """Milligrams by metal and fate, of all parcels together."""
    found = Counter()
    for name in campaign.PARCELS:
        for fate in trace.fates_of(Lot.objects.get(number=now.lots[name])):
            found[fate.metal, fate.cause or fate.fate] += fate.mg
    return found


def gains(now):
    """What assays found over book, milligrams by metal: the only metal that no delivery explains."""
    found = Counter()
    for loss in Movement.objects.filter(side="loss", what="measurement difference"):
        for metal, mg in zip(METALS, loss.metals_mg, strict=True):
            found[metal] -= min(mg, 0)
    return found


def test_every_gram_is_found_again_by_its_fate(now):
    by_fate = fates(now)
    for metal, received in campaign.RECEIVED.items():
        found = {fate: mg for (of, fate), mg in by_fate.items() if of == metal}
        assert sum(found.values()) == received, found
        assert min(found.values()) > 0
    assert {fate for metal, fate in by_fate if metal == "Au"} == {
        "bar", "stock", "filter", "furnace lining", "sweepings", "effluent", "measurement difference",
    }  # fmt: skip
    assert {"bar", "effluent", "stock"} <= {fate for metal, fate in by_fate if metal == "Ag"}
    assert {"stock", "effluent"} <= {fate for metal, fate in by_fate if metal == "Cu"}


def test_the_book_s_own_stock_and_losses_are_the_same_grams(now):
    """Summed from lots and lines, without any provenance."""
    lost, stands = Counter(), Counter()
    for loss in Movement.objects.filter(side="loss"):
        lost.update(dict(zip(METALS, loss.metals_mg, strict=True)))
    for lot in Lot.objects.filter(gross_mg__gt=0):
        stands.update(dict(zip(METALS, lot.metals_mg, strict=True)))
    for metal, received in campaign.RECEIVED.items():
        assert stands[metal] + lost[metal] == received, metal
    in_bars = Counter()
    for lot in Lot.objects.filter(form="bar", gross_mg__gt=0):
        in_bars.update(dict(zip(METALS, lot.metals_mg, strict=True)))
    of_differences = {
        metal: sum(s.mg for lot in Lot.objects.filter(form="bar", gross_mg__gt=0) for s in trace.origins_of(lot)
                   if s.metal == metal and s.difference)
        for metal in ("Au", "Ag")
    }  # fmt: skip
    for metal in ("Au", "Ag"):
        assert fates(now)[metal, "bar"] == in_bars[metal] - of_differences[metal]


def test_an_examination_of_the_book_finds_nothing(now):
    findings = verify()
    assert findings.ok, findings.as_document()


def test_a_bar_is_traced_to_its_receipts(now):
    three = {now.lots[name] for name in ("mixed", "silvery", "jewellery")}
    kilobar = trace.origins_of(trace.find_lot("A000002"))
    assert {share.origin for share in kilobar if share.metal == "Au" and not share.difference} == three
    silver = Counter(
        {share.origin: share.mg for share in trace.origins_of(trace.find_lot("A000101")) if share.metal == "Ag"}
    )
    assert max(silver, key=silver.get) == now.lots["house silver"]
    assert three <= set(silver)
    assert three <= set(trace.ancestors_of(trace.find_lot("A000101")))


def test_origins_are_those_of_a_sparse_solve(now):
    """Compositions from the raw lines by scipy; the book may be off by a milligram for each step on the way."""
    graph, nodes = solved()
    shares = graph.solve()
    for lot in Lot.objects.filter(gross_mg__gt=0):
        told = Counter()
        for share in trace.origins_of(lot):
            told[share.metal, share.origin] += share.mg
        steps = len(trace.ancestors_of(lot)) + 1
        for column, metal in enumerate(METALS, start=1):
            for origin, place in graph.origins.items():
                exact = shares[column][nodes[lot.number]][place] * lot.columns_mg[column]
                assert abs(told[metal, origin] - exact) <= steps, (lot.number, metal, origin)


def solved():
    """The graph of compositions, read from operations and their lines alone; nodes by lot."""
    graph, nodes, lining = Graph(), {}, []
    for operation in Operation.objects.order_by("id"):
        lines = list(operation.movements.select_related("lot").order_by("line"))
        ins = [(nodes[line.lot.number], line.columns_mg) for line in lines if line.side == "in" and line.lot_id]
        outs = [line for line in lines if line.side == "out" and line.lot_id]
        gained = [
            ("difference", [max(-mg, 0) for mg in line.columns_mg])
            for line in lines
            if line.side == "loss" and line.what == "measurement difference" and min(line.columns_mg[1:]) < 0
        ]
        came = [line.columns_mg for line in lines if line.side == "add" and line.what == "valuation"]
        if operation.kind in ("receive", "clean out"):
            for line in outs:
                nodes[line.lot.number] = graph.node(sources=[(line.lot.number, line.columns_mg)])
            continue
        if operation.kind == "value" and came:
            (line,) = outs
            # Every lot valued for the first time here is of one parcel alone.
            (origin,) = {share.origin for share in trace.origins_of(line.lot)} or {line.lot.number}
            nodes[line.lot.number] = graph.node(sources=[(origin, line.columns_mg)])
            continue
        found = [line for line in lines if line.side == "loss" and line.what == "furnace lining"]
        if operation.kind == "value" and found:
            pool = graph.node(lining)
        else:
            pool = graph.node(ins, gained)
            lining += [(pool, line.columns_mg) for line in found]
        for line in outs:
            nodes[line.lot.number] = pool
    return graph, nodes


@pytest.mark.parametrize(("step", "metal", "electrons", "drawn"), [
    ("electrolyse gold", "Au", 3, "cathodes"), ("electrolyse silver", "Ag", 1, "crystals"),
])  # fmt: skip
def test_a_cell_deposits_less_than_faraday_allows_and_most_of_it(now, step, metal, electrons, drawn):
    """Charge by CODATA's constants and the atomic weight of a periodic-table package."""
    cell = Run.objects.get(step=step)
    coulombs = sum(
        one.milliampere / 1000 * (one.to_at - one.from_at).total_seconds()
        for one in CellReading.objects.filter(run=cell)
    )
    faraday = constants.physical_constants["Faraday constant"][0]
    expected = coulombs * periodictable.elements.symbol(metal).mass / (electrons * faraday) * 1000
    weighed = Operation.objects.get(run=cell, kind="draw", movements__lot__number=now.lots[drawn])
    (line,) = weighed.movements.filter(side="out")
    assert 0.93 * expected < line.gross_mg < expected


def test_the_water_left_within_its_limits_and_its_metal_is_a_loss(now):
    (left,) = Operation.objects.get(kind="discharge").movements.filter(side="loss")
    litres = left.gross_mg // 1020 / 1000  # of 1.02 g/mL; 0.21 mg/L of silver, 0.9 of copper
    assert (left.ag_mg, left.cu_mg) == (round(litres * 0.21), round(litres * 0.9))
    assert not now.lot("water").gross_mg


def test_steps_stand_beside_the_orders_that_asked_for_them(now):
    for name, stations in (("direct", 5), ("inquarted", 4)):
        order = now.orders[name]
        worked = list(order.works.order_by("id").values_list("station", flat=True))
        assert len(set(worked)) == stations
        assert set(worked) <= set(order.steps)
    assert not Document.objects.exists()
