"""I5 where it is hard: many origins, ties, tonnes, unvalued lots and their samples, runs, recoveries, reversals.

Every scene is a history through its door; after each the whole book is examined.
"""

import json
from itertools import count

import pytest

from custody.actions.history import LineRefused, import_history
from custody.calc.apportion import withdraw
from custody.models import Lot, Movement, OriginReceipt, Vector
from custody.queries import trace
from custody.queries.verify import verify

HEADER = '{"record":"header","format":"custody-history","version":1}'
PARTY = '{"record":"party","code":"P-01","name":"Tern Valley Placer Cooperative","country":"CA"}'


@pytest.fixture
def post(db):
    """post(kind, …): records one operation, a minute after the last; gives its number."""
    import_history(lines=[HEADER, PARTY])
    numbers = count(1)

    def record(kind, **body):
        number = next(numbers)
        operation = {"record": "operation", "number": f"OP-{number}", "kind": kind}
        operation |= {"at": f"2024-01-02T{9 + number // 60:02}:{number % 60:02}:00+00:00"} | body
        import_history(lines=[HEADER, json.dumps(operation)])
        return operation["number"]

    return record


@pytest.fixture(autouse=True)
def sound(post):
    yield
    findings = verify()
    assert findings.ok, findings.as_document()


def g(mg):
    return f"{'-' if mg < 0 else ''}{abs(mg) // 1000}.{abs(mg) % 1000:03}"


def out(lot, gross, form="melt", /, **fine):
    made = {"lot": lot, "form": form, "gross_g": g(gross)}
    return made | ({"fine_g": {metal: g(mg) for metal, mg in fine.items()}} if fine else {})


def loss(cause, gross, **fine):
    return {"cause": cause, "gross_g": g(gross), "fine_g": {metal: g(mg) for metal, mg in fine.items()}}


def take(lot, gross=None, **fine):
    entry = {"lot": lot} | ({"gross_g": g(gross)} if gross is not None else {})
    return entry | ({"fine_g": {metal: g(mg) for metal, mg in fine.items()}} if fine else {})


def received(post, *outputs):
    return post("receive", party="P-01", outputs=list(outputs))


def back(lot, metal="Au"):
    return {share.origin: share.mg for share in trace.origins_of(Lot.objects.get(number=lot)) if share.metal == metal}


def fates(lot, metal="Au"):
    found = trace.fates_of(Lot.objects.get(number=lot))
    return {(fate.fate, fate.lot or fate.cause): fate.mg for fate in found if fate.metal == metal}


def test_four_hundred_bars_of_two_origins(post):
    """Shares of a third and two thirds of a milligram's fraction: no bar is a milligram off, and all sum."""
    received(post, out("A", 133_333, "dore", Au=133_333), out("B", 266_667, "dore", Au=266_667))
    bars = [out(f"B{n}", 1000, "bar", Au=1000) | {"serial": f"S{n}"} for n in range(400)]
    post("cast", inputs=[take("A"), take("B")], outputs=bars)
    of_a = [back(f"B{n}").get("A", 0) for n in range(400)]
    assert sum(of_a) == 133_333
    assert all(abs(mg - 1000 * 133_333 / 400_000) < 1 for mg in of_a)
    assert all(abs(sum(of_a[: n + 1]) - (n + 1) * 1000 * 133_333 / 400_000) < 1 for n in range(400))
    assert sum(fates("A").values()) == 133_333


def test_more_origins_than_a_chunk_holds(post):
    """300 parcels in one melt: three chunks, split by a withdrawal, found from every parcel."""
    received(post, *(out(f"P{n}", 1000 + n, "nuggets", Au=900 + n, Ag=n % 3) for n in range(300)))
    gold, silver = sum(900 + n for n in range(300)), sum(n % 3 for n in range(300))
    gross = sum(1000 + n for n in range(300))
    post(
        "melt", inputs=[take(f"P{n}") for n in range(300)],
        outputs=[out("M", gross - 500, Au=gold - 77, Ag=silver), out("S", 500, "slag", Au=77)],
    )  # fmt: skip
    assert Vector.objects.filter(line=0, column_no=1).count() == 3
    post("divide", inputs=[take("M", 100_001)], outputs=[out("D", 100_001, "granules", **metals_of("M", 100_001))])
    for number in (0, 127, 128, 255, 256, 299):
        assert sum(fates(f"P{number}").values()) == 900 + number
        assert back("M")[f"P{number}"] + back("D")[f"P{number}"] + back("S").get(f"P{number}", 0) == 900 + number
    assert sum(back("D").values()) == Lot.objects.get(number="D").au_mg


def metals_of(lot, gross):
    book = Lot.objects.get(number=lot)
    return {
        metal: mg for metal, mg in zip(("Au", "Ag"), withdraw(book.gross_mg, book.metals_mg, gross), strict=False) if mg
    }


def test_more_than_three_tonnes(post):
    """The products of milligrams no longer fit 64 bits."""
    received(post, *(out(f"P{n}", 2_000_000_000 + n, "industrial", Ag=1_999_999_999) for n in range(3)))
    post("melt", inputs=[take(f"P{n}") for n in range(3)], outputs=[out("M", 6_000_000_003, Ag=5_999_999_997)])
    post(
        "divide",
        inputs=[take("M", 1_234_567_891)],
        outputs=[out("D", 1_234_567_891, "granules", **metals_of("M", 1_234_567_891))],
    )
    assert sum(back("D", "Ag").values()) == Lot.objects.get(number="D").ag_mg
    assert max(back("D", "Ag").values()) - min(back("D", "Ag").values()) <= 1
    assert sum(fates("P1", "Ag").values()) == 1_999_999_999


def test_ties_go_to_the_origin_received_first(post):
    received(post, *(out(f"P{n}", 1, "nuggets", Au=1) for n in range(4)))
    post(
        "melt",
        inputs=[take(f"P{n}") for n in (3, 1, 2, 0)],
        outputs=[out("X", 2, Au=2), out("Y", 1, Au=1), out("Z", 1, Au=1)],
    )
    assert (back("X"), back("Y"), back("Z")) == ({"P0": 1, "P1": 1}, {"P2": 1}, {"P3": 1})


def test_what_rounds_to_nothing_stays_in_the_graph(post):
    received(post, out("BIG", 1_000_000, "dore", Au=900_000), out("SPECK", 1, "nuggets", Au=1))
    post("melt", inputs=[take("BIG"), take("SPECK")], outputs=[out("X", 999_000, Au=899_500), out("Y", 1_001, Au=501)])
    assert "SPECK" not in back("Y")
    assert trace.ancestors_of(Lot.objects.get(number="Y")) == ["BIG", "SPECK"]


def test_an_unvalued_melt_with_flux_is_valued_later(post):
    """Two parcels of one receipt, unvalued: by gross, flux in proportion; samples before and after, one consumed."""
    received(post, out("A", 60_000, "scrap"), out("B", 30_000, "scrap"))
    post(
        "melt", inputs=[take("A"), take("B")], additions=[{"what": "flux", "gross_g": "9.000"}],
        outputs=[out("M", 90_000), out("S", 6_000, "slag")], losses=[loss("fume", 3_000)],
    )  # fmt: skip
    assert back("M", "gross") == {"A": 60_000, "B": 30_000}
    post("sample", inputs=[take("M", 900)], outputs=[out("T1", 900, "sample")])
    post("sample", inputs=[take("M", 600)], outputs=[out("T2", 600, "sample")])
    post("sample", inputs=[take("T1", 300)], outputs=[out("T3", 300, "sample")])
    post("sample", inputs=[take("T1")], losses=[loss("sample consumed", 600)])
    post("value", lot="M", fine_g={"Au": "59.000"})
    assert Lot.objects.get(number="M").au_mg == 59_000
    assert [Lot.objects.get(number=t).au_mg for t in ("T1", "T2", "T3")] == [0, 400, 200]
    assert back("M") == {"A": 39_333, "B": 19_667}
    assert fates("A")["loss", "sample consumed"] + fates("B")["loss", "sample consumed"] == 400
    assert sum(fates("A").values()) == 40_000
    assert sum(fates("B").values()) == 20_000
    assert not Lot.objects.get(number="S").valued


def test_samples_of_two_parcels_consumed_in_one_step(post):
    """Each parcel's valuation receives and loses its own part."""
    received(post, out("A", 10_000, "scrap"), out("B", 10_000, "scrap"))
    post("sample", inputs=[take("A", 300)], outputs=[out("TA", 300, "sample")])
    post("sample", inputs=[take("B", 100)], outputs=[out("TB", 100, "sample")])
    post("sample", inputs=[take("TA"), take("TB")], losses=[loss("sample consumed", 400)])
    post("value", lot="A", fine_g={"Au": "9.700"})
    post("value", lot="B", fine_g={"Au": "4.950"})
    assert fates("A") == {("stock", "A"): 9_700, ("loss", "sample consumed"): 300}
    assert fates("B") == {("stock", "B"): 4_950, ("loss", "sample consumed"): 50}


def test_a_sample_never_holds_more_metal_than_mass(post):
    received(post, out("A", 1_015, "scrap"))
    post("sample", inputs=[take("A", 15)], outputs=[out("T", 15, "sample")])
    post("value", lot="A", fine_g={"Au": "0.500", "Ag": "0.500"})
    sample = Lot.objects.get(number="T")
    assert (sample.gross_mg, sample.au_mg + sample.ag_mg) == (15, 15)


def test_a_second_assay_corrects_what_was_received(post):
    received(post, out("A", 10_000, "dore", Au=8_000))
    post("melt", inputs=[take("A")], outputs=[out("M", 9_900, Au=7_990), out("S", 100, "slag", Au=10)])
    post("value", lot="M", fine_g={"Au": "8.040", "Pt": "0.003"})
    assert fates("A") == {("stock", "M"): 8_040, ("stock", "S"): 10}
    assert fates("A", "Pt") == {("stock", "M"): 3}


@pytest.mark.parametrize("parcels", [1, 2])
def test_a_second_assay_finds_gold_where_the_first_found_nothing(post, parcels):
    """One parcel received it; of several nobody knows which, and it is a difference."""
    received(post, *(out(f"P{n}", 1_000, "sweeps") for n in range(parcels)))
    post("melt", inputs=[take(f"P{n}") for n in range(parcels)], outputs=[out("M", 1_000 * parcels)])
    post("value", lot="M", fine_g={})
    post("value", lot="M", fine_g={"Au": "0.500"})
    assert back("M") == ({"P0": 500} if parcels == 1 else {"difference": 500})


def test_a_second_assay_after_mixing_is_a_difference(post):
    received(post, out("A", 1_000, "dore", Au=800))
    received(post, out("B", 1_000, "dore", Au=400))
    post("melt", inputs=[take("A"), take("B")], outputs=[out("M", 2_000, Au=1_200)])
    post("value", lot="M", fine_g={"Au": "1.210"})
    assert back("M") == {"A": 800, "B": 400, "difference": 10}
    post("value", lot="M", fine_g={"Au": "1.100"})
    assert sum(mg for fate, mg in fates("A").items()) == 800
    assert fates("A")["loss", "measurement difference"] + fates("B")["loss", "measurement difference"] <= 110


def run(post, gold=1_000):
    received(post, out("A", 10_000, "dore", Au=gold))
    content = out("C", 110_000, "in process", Au=gold) | {"vessel": "TANK"}
    post("charge", inputs=[take("A")], additions=[{"what": "acid", "gross_g": "100.000"}], outputs=[content])
    post("draw", inputs=[take("C", 950, Au=900)], outputs=[out("D", 950, "gold sand", Au=900)])


def test_the_assay_of_a_drawn_lot_moves_metal(post):
    run(post)
    before = OriginReceipt.objects.count()
    post("value", lot="D", fine_g={"Au": "0.940"})
    post("value", lot="D", fine_g={"Au": "0.930"})
    assert (metal("D"), metal("C")) == (930, 70)
    assert OriginReceipt.objects.count() == before
    post("value", lot="D", fine_g={"Au": "0.950"})
    assert back("D") == {"A": 950}
    assert not Movement.objects.filter(side="loss").exists()


def metal(lot):
    return Lot.objects.get(number=lot).au_mg


def test_the_assay_of_a_drawn_lot_richer_than_the_run(post):
    run(post, gold=920)
    post("value", lot="D", fine_g={"Au": "0.940"})
    assert (metal("D"), metal("C")) == (940, 0)
    assert back("D") == {"A": 920, "difference": 20}


def test_what_the_content_cannot_hold_is_a_loss(post):
    """Nearly all mass was drawn; the poor assay would leave the rest more metal than mass."""
    run(post)
    post("draw", inputs=[take("C", 109_000, Au=95)], outputs=[out("W", 109_000, "solution", Au=95)])
    post("reverse", reverses="OP-4", reason="not drawn")
    post("draw", inputs=[take("C", 108_990, Au=95)], outputs=[out("W2", 108_990, "solution", Au=95)])
    post("value", lot="W2", fine_g={"Au": "0.020"})
    assert (metal("C"), Lot.objects.get(number="C").gross_mg) == (60, 60)
    assert fates("A")["loss", "measurement difference"] == 20


def test_the_assay_of_a_drawn_lot_after_its_run_is_a_difference(post):
    """It corrects no receipt: what the run lost was reckoned with the first figure."""
    run(post)
    post("finish", inputs=[take("C")], losses=[loss("effluent", 109_050, Au=100)])
    post("value", lot="D", fine_g={"Au": "0.880"})
    assert fates("A") == {("stock", "D"): 880, ("loss", "effluent"): 100, ("loss", "measurement difference"): 20}


def test_part_of_a_lot_of_many_origins_leaves(post):
    received(post, out("A", 700, "dore", Au=700), out("B", 300, "dore", Au=300))
    post("melt", inputs=[take("A"), take("B")], outputs=[out("M", 1_000, Au=1_000)])
    first = post("dispatch", party="P-01", inputs=[take("M", 401)])
    post("dispatch", party="P-01", inputs=[take("M")])
    gone = trace.fates_of(Lot.objects.get(number="A"))
    assert {(fate.operation, fate.mg) for fate in gone} == {(first, 281), ("OP-4", 419)}
    assert back("M") == {"A": 419, "B": 180}
    post("reverse", reverses=first, reason="came back through the gate")
    assert fates("A") == {("dispatched", "M"): 419, ("stock", "M"): 281}
    assert not Vector.objects.filter(operation__kind="dispatch", line=0).exists()


def recovering(post):
    received(post, out("A", 1_000, "dore", Au=700), out("B", 1_000, "dore", Au=300), out("C", 1_000, "dore", Au=100))
    post("melt", inputs=[take("A"), take("B")], outputs=[out("M", 1_990, Au=990)], losses=[loss("slag", 10, Au=10)])


def test_metal_recovered_carries_the_origins_that_were_lost(post):
    recovering(post)
    post("recycle", inputs=[take("C")], outputs=[out("R", 1_006, Au=106)], losses=[loss("slag", -6, Au=-6)])
    assert back("R") == {"A": 4, "B": 2, "C": 100}
    assert fates("A")["loss", "slag"] == 3
    post("recycle", inputs=[take("R")], outputs=[out("R2", 1_007, Au=107)], losses=[loss("slag", -1, Au=-1)])
    assert back("R2")["difference"] == 1, "nothing was lost since the last recovery"


def test_gold_recovered_while_silver_is_lost(post):
    """One line of both signs keeps a vector of its own."""
    recovering(post)
    received(post, out("X", 500, "dore", Ag=300), out("Y", 500, "dore", Ag=100))
    post(
        "recycle", inputs=[take("X"), take("Y")], outputs=[out("R", 1_000, Au=5, Ag=380)],
        losses=[loss("slag", 0, Au=-5, Ag=20)],
    )  # fmt: skip
    assert (back("R"), back("R", "Ag")) == ({"A": 4, "B": 1}, {"X": 285, "Y": 95})
    assert (fates("X", "Ag")["loss", "slag"], fates("A")["loss", "slag"]) == (15, 3)


def test_more_recovered_than_was_lost_is_a_difference(post):
    recovering(post)
    post("recycle", inputs=[take("C")], outputs=[out("R", 1_015, Au=115)], losses=[loss("slag", -15, Au=-15)])
    assert back("R") == {"A": 7, "B": 3, "C": 100, "difference": 5}
    assert ("loss", "slag") not in fates("A")


def test_a_reversed_melt_is_no_recovery(post):
    """Its losses stand in the book with the sign turned; they bring nothing back and begin nothing anew."""
    recovering(post)
    post("melt", inputs=[take("C")], outputs=[out("X", 995, Au=95)], losses=[loss("slag", 5, Au=5)])
    post("reverse", reverses="OP-3", reason="entered twice")
    post("recycle", inputs=[take("C")], outputs=[out("R", 1_010, Au=110)], losses=[loss("slag", -10, Au=-10)])
    assert back("R") == {"A": 7, "B": 3, "C": 100}


def test_a_recovery_reversed_leaves_the_loss_to_be_recovered(post):
    recovering(post)
    undone = post("recycle", inputs=[take("C")], outputs=[out("R", 1_010, Au=110)], losses=[loss("slag", -10, Au=-10)])
    with pytest.raises(LineRefused, match="was recovered since by OP-3"):
        post("reverse", reverses="OP-2", reason="not melted")
    post("reverse", reverses=undone, reason="wrong dust")
    assert fates("A")["loss", "slag"] == 7
    post("recycle", inputs=[take("C")], outputs=[out("Q", 1_010, Au=110)], losses=[loss("slag", -10, Au=-10)])
    assert back("Q") == {"A": 7, "B": 3, "C": 100}


def test_parts_of_a_lot_given_back_one_after_the_other(post):
    received(post, out("A", 700, "dore", Au=700), out("B", 300, "dore", Au=300))
    post("melt", inputs=[take("A"), take("B")], outputs=[out("M", 1_000, Au=1_000)])
    part = post("divide", inputs=[take("M", 333)], outputs=[out("X", 333, "granules", Au=333)])
    rest = post("divide", inputs=[take("M")], outputs=[out("Y", 667, "granules", Au=667)])
    post("reverse", reverses=part, reason="not divided")
    post("reverse", reverses=rest, reason="not divided")
    assert back("M") == {"A": 700, "B": 300}
    post("reverse", reverses="OP-2", reason="not melted")
    assert fates("A") == {("stock", "A"): 700}


def test_a_part_given_back_to_a_lot_that_gained_since(post):
    """The lot was one origin's alone; the gain made it two, and both stay."""
    received(post, out("A", 1_000, "dore", Au=700))
    part = post("divide", inputs=[take("A", 400)], outputs=[out("X", 400, "granules", Au=280)])
    post(
        "difference", inputs=[take("A")], outputs=[out("A", 600, "dore", Au=425)], reason="count",
        losses=[loss("measurement difference", 0, Au=-5)],
    )  # fmt: skip
    post("reverse", reverses=part, reason="not divided")
    assert back("A") == {"A": 700, "difference": 5}


def test_an_operation_used_and_unused_again_can_be_reversed(post):
    received(post, out("A", 1_000, "dore", Au=700))
    made = post("melt", inputs=[take("A")], outputs=[out("M", 1_000, Au=700)])
    used = post("divide", inputs=[take("M", 500)], outputs=[out("X", 500, "granules", Au=350)])
    with pytest.raises(LineRefused, match=f"{used} used lot M since"):
        post("reverse", reverses=made, reason="not melted")
    post("reverse", reverses=used, reason="not divided")
    post("reverse", reverses=made, reason="not melted")
    assert fates("A") == {("stock", "A"): 700}
    assert back("M") == {"A": 700}, "a cancelled lot traces as it was"


def test_charge_draw_and_finish_are_reversed_in_their_order(post):
    run(post)
    post("finish", inputs=[take("C")], losses=[loss("effluent", 109_050, Au=100)])
    for undone, first in (("OP-3", "OP-4"), ("OP-2", "OP-4")):
        with pytest.raises(LineRefused, match=f"Reverse {first} first"):
            post("reverse", reverses=undone, reason="no run")
    for number in ("OP-4", "OP-3", "OP-2", "OP-1"):
        post("reverse", reverses=number, reason="no run")
    assert not Lot.objects.filter(gross_mg__gt=0).exists()
    assert fates("A") == {}


def test_a_content_charged_again_and_taken_back(post):
    run(post)
    received(post, out("B", 500, "dore", Au=500))
    content = out("C2", 109_550, "in process", Au=600) | {"vessel": "TANK"}
    again = post("charge", inputs=[take("C"), take("B")], outputs=[content])
    assert back("C2") == {"A": 100, "B": 500}
    post("reverse", reverses=again, reason="not charged")
    post("draw", inputs=[take("C", 60, Au=60)], outputs=[out("E", 60, "gold sand", Au=60)])
    assert (back("E"), back("C")) == ({"A": 60}, {"A": 40})


def test_a_valuation_reversed_and_given_again(post):
    received(post, out("A", 1_000, "scrap"))
    post("sample", inputs=[take("A", 100)], outputs=[out("T", 100, "sample")])
    post("sample", inputs=[take("T", 50)], losses=[loss("sample consumed", 50)])
    valued = post("value", lot="A", fine_g={"Au": "0.450"})
    with pytest.raises(LineRefused, match=f"Reverse {valued} first|{valued} used lot"):
        post("reverse", reverses="OP-3", reason="not consumed")
    post("reverse", reverses=valued, reason="wrong sample")
    assert (back("A"), back("A", "gross"), fates("A")) == ({}, {"A": 900}, {})
    post("value", lot="A", fine_g={"Au": "0.900"})
    assert fates("A") == {("stock", "A"): 900, ("stock", "T"): 50, ("loss", "sample consumed"): 50}
