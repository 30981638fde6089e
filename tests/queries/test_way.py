"""The way of a metal into a lot: a picture that loses no milligram, in as few queries as it has generations."""

import json
from collections import Counter, defaultdict

import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.history import import_history
from custody.actions.work import Lose, Make, Take, correct_lot, record_step, reverse
from custody.documents import flow
from custody.documents.fill_trace import picture_of
from custody.management.commands.import_history import read_file
from custody.models import Lot
from custody.queries import trace, way
from custody.terms import Cause, Form, Kind
from tests import builders, people
from tests.queries.past import history, lot, operation, receive

pytestmark = pytest.mark.django_db

FOLDER = settings.BASE_DIR / "fixtures" / "history"
SAMPLE = FOLDER / "history-small.jsonl"
BARS = json.loads((FOLDER / "history-small.expect.json").read_text())["bars"]


def carried(found: way.Way) -> tuple[Counter, Counter]:
    """Milligrams into and out of each station, by the first line in its box."""
    names = {station.key: station.lines[0] for station in found.stations}
    into, out = Counter(), Counter()
    for leg in found.legs:
        into[names[leg.target]] += leg.mg
        out[names[leg.source]] += leg.mg
    return into, out


def test_the_sample_plant_loses_nothing_on_the_way():
    import_history(lines=read_file(SAMPLE))
    for serial in list(BARS)[::7]:
        bar = trace.find_lot(serial)
        origins = {share.origin: share.mg for share in trace.origins_of(bar) if share.metal == "Au"}
        found = way.way_into(bar, "Au")
        assert found.whole
        into, out = carried(found)
        assert into[str(bar.bar)] == sum(origins.values())
        for station in found.stations:
            name = station.lines[0]
            if into[name] and out[name]:
                assert into[name] == out[name], (serial, name)
        told = Counter()
        for name in out.keys() - into.keys():
            told[name if name.startswith("L-") else "difference"] += out[name]
        assert told.keys() >= {origin for origin, mg in origins.items() if mg > len(found.legs)}
        for origin in told | Counter(origins):
            # The picture rounds once a leg, the record once an operation.
            assert abs(told[origin] - origins.get(origin, 0)) <= len(found.legs), (serial, origin)
        flow.layout(*picture_of(found))  # every band runs to the right


def test_the_picture_goes_through_what_was_melted_before_it_was_valued():
    heavy, light = builders.received(*(builders.parcel(mg, mine="One pit") for mg in (900_000, 100_000)))
    heavy, light = (builders.handed_over(one, people.otto_operator()) for one in (heavy, light))
    posted = record_step(
        kind=Kind.MELT,
        inputs=[Take(heavy.number), Take(light.number)],
        outputs=[Make(Form.MELT, 990_000)],
        losses=(Lose(Cause.SLAG, 10_000),),
        at=timezone.now(),
        by=people.otto_operator(),
    )
    melt = builders.valued(builders.fresh(posted.lots[0]), Au=500_000)
    _, out = carried(way.way_into(melt, "Au"))
    assert out == {heavy.number: 445_500, light.number: 49_500}  # 495 g of gold, nine to one as the gross


def corrected(one: Lot, gold_mg: int) -> Lot:
    correct_lot(
        lot=one.number,
        gross_mg=one.gross_mg,
        fine_mg={"Au": gold_mg, "Ag": one.ag_mg},
        book_mg=one.columns_mg,
        at=timezone.now(),
        reason="assayed again",
        countersign=Signature(people.max_manager(), "I saw both assays"),
        by=people.mona_manager(),
    )
    return builders.fresh(one.number)


def divided(one: Lot, gross_mg: int) -> Lot:
    share = {"Au": one.au_mg * gross_mg // one.gross_mg, "Ag": one.ag_mg * gross_mg // one.gross_mg}
    posted = record_step(
        kind=Kind.DIVIDE,
        inputs=[Take(one.number, gross_mg)],
        outputs=[Make(Form.DORE, gross_mg, share)],
        at=timezone.now(),
        by=people.otto_operator(),
    )
    return builders.fresh(posted.lots[0])


def test_a_gain_found_later_stands_on_the_way_of_what_was_taken_after_it_and_of_nothing_before():
    (parcel,) = builders.ready()
    before = divided(parcel, 400_000)
    parcel = corrected(builders.fresh(parcel.number), 486_000)  # 480 g in the book
    after = divided(parcel, 300_000)
    assert carried(way.way_into(before, "Au"))[1] == {parcel.number: 320_000}
    into, out = carried(way.way_into(after, "Au"))
    assert into == {after.number: 243_000, parcel.number: 3_000}
    assert out == {parcel.number: 243_000, "gain over book": 3_000}  # 6 of 486 g, of half of it
    assert {share.origin: share.mg for share in trace.origins_of(after) if share.metal == "Au"} == {
        parcel.number: 240_000,
        "difference": 3_000,
    }


def recycling(wide: int, deep: int) -> Lot:
    """Each generation is melted of the one before, in as many pieces as it is wide."""
    lines = [receive(f"P-{n}", day="2024-01-01") for n in range(wide)]
    before = [f"P-{n}" for n in range(wide)]
    for generation in range(deep):
        now = [f"L-{generation}-{n}" for n in range(wide)]
        made = [lot(number, "1000", {"Au": "900"}) for number in now]
        day = f"2024-02-{generation + 1:02d}"
        taken = [{"lot": number} for number in before]
        lines.append(operation(f"OP-{generation}", "melt", day=day, inputs=taken, outputs=made))
        before = now
    history(*lines)
    return Lot.objects.get(number=before[0])


@pytest.mark.parametrize(("wide", "deep"), [(2, 4), (12, 4)])
def test_a_generation_costs_three_queries_however_wide(wide, deep):
    last = recycling(wide, deep)
    with CaptureQueriesContext(
        connection,
    ) as queries:
        found = way.way_into(last, "Au")
    assert len(found.stations) == 1 + wide * deep
    assert len(queries) <= 3 * (deep + 1) + 2, [query["sql"][:80] for query in queries]


def test_a_way_that_is_too_long_says_so_and_still_adds_up(monkeypatch):
    monkeypatch.setattr(way, "MOST_LOTS", 10)
    last = recycling(4, 8)
    found = way.way_into(last, "Au")
    assert not found.whole
    into, out = carried(found)
    assert sum(out[name] for name in out.keys() - into.keys()) == 900_000
    assert len(found.stations) < 20
    flow.layout(*picture_of(found))


def test_numbers_that_look_like_keys_are_kept_apart():
    history(
        receive("book", day="2024-01-01"),
        receive("others", day="2024-01-01"),
        operation(
            "OP-M", "melt", day="2024-01-02", inputs=[{"lot": "book"}, {"lot": "others"}],
            outputs=[lot("0", "2000", {"Au": "1800.5"})],
            losses=[{"cause": "measurement difference", "gross_g": "0", "fine_g": {"Au": "-0.5"}}],
        ),
    )  # fmt: skip
    picture = flow.layout(*picture_of(way.way_into(Lot.objects.get(number="0"), "Au")))
    assert len(picture.nodes) == 4


def test_what_holds_none_has_no_way():
    (parcel,) = builders.ready()
    assert way.way_into(parcel, "Pt") == way.Way()
    assert way.way_into(builders.received()[0], "Au") == way.Way()
    assert picture_of(way.way_into(parcel, "Au")) == ((), ())  # it is its own origin


def test_losses_on_the_way_are_those_of_the_operations_that_it_went_through():
    import_history(lines=read_file(SAMPLE))
    records = [json.loads(line) for line in SAMPLE.read_text().splitlines()]
    made_by = {one["lot"]: record["number"] for record in records for one in record.get("outputs", [])}
    lost = defaultdict(list)
    for record in records:
        for loss in record.get("losses", []):
            if any(int(grams.replace(".", "")) for grams in loss["fine_g"].values()):
                lost[record["number"]].append((record["number"], loss["cause"]))
    for serial in list(BARS)[::9]:
        bar = trace.find_lot(serial)
        ancestors = trace.ancestors_of(bar)
        went_through = {made_by[number] for number in [*ancestors, bar.number]}
        expected = sorted(one for number in went_through for one in lost[number])
        found = way.losses_on_way(bar, ancestors, most=1000)
        assert sorted((loss.operation, loss.cause) for loss in found.latest) == expected
        assert found.count == len(expected) > 3
        assert found.sums_mg == tuple(map(sum, zip(*(loss.metals_mg for loss in found.latest), strict=True)))
        few = way.losses_on_way(bar, ancestors, most=2)
        assert (few.latest, few.count, few.sums_mg) == (found.latest[-2:], found.count, found.sums_mg)


def test_losses_and_handovers_after_a_bar_was_made_are_not_on_its_way():
    (parcel,) = builders.ready()
    early = divided(parcel, 400_000)
    corrected(builders.fresh(parcel.number), 479_000)  # a gram less than the book
    builders.handed_over(builders.fresh(parcel.number), people.vera_vault(), "VAULT")
    late = builders.handed_over(early, people.vera_vault(), "VAULT")
    assert way.losses_on_way(late, [parcel.number], most=9).count == 0
    assert way.losses_on_way(builders.fresh(parcel.number), [], most=9).sums_mg == (1_000, 0, 0, 0, 0)
    passed, count = way.handovers_on_way(late, [parcel.number], most=9)
    assert [(one.lot.number, str(one.to_person)) for one in passed] == [
        (parcel.number, "Otto Flux"),
        (early.number, "Vera Lock"),
    ]
    assert (len(passed), count) == (2, 2)
    last, count = way.handovers_on_way(late, [parcel.number], most=1)
    assert ([one.lot.number for one in last], count) == ([early.number], 2)


def test_a_reversed_loss_is_no_loss():
    (parcel,) = builders.ready()
    posted = record_step(
        kind=Kind.MELT,
        inputs=[Take(parcel.number)],
        outputs=[Make(Form.MELT, 999_900, {"Au": 799_900, "Ag": 150_000})],
        losses=(Lose(Cause.FUME, 100, {"Au": 100}),),
        at=timezone.now(),
        by=people.otto_operator(),
    )
    melt = builders.fresh(posted.lots[0])
    assert way.losses_on_way(melt, [parcel.number], most=9).sums_mg[0] == 100
    reverse(operation=melt.created_by, reason="spilt", at=timezone.now(), by=people.otto_operator())
    assert way.losses_on_way(builders.fresh(melt.number), [parcel.number], most=9).count == 0
