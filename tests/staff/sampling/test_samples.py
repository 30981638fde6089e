"""Samples from the draw to the end: drawn, sealed, consumed, given back; and the board that says what waits."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.assay import assay_again, determine
from custody.actions.samples import draw_samples, melt_on_receipt
from custody.actions.weigh import Weighed
from custody.actions.work import Drawn, Make
from custody.documents.fill_labels import made_sheet
from custody.models import Lot, Operation, SampleSeal
from custody.queries import sampling
from custody.terms import Form, SampleCut, SamplePurpose
from tests import builders, exchanges, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def house(db):
    builders.places()
    builders.scale("BENCH-2")


def in_hand(grams=1000, where="FURNACE-1"):
    return builders.handed_over(builders.received(grams * 1000)[0], people.sam_sampler(), where)


def drawing(*samples, lost=(), **fields):
    lines = [{"purpose": "laboratory", "seal": "", "position": ""} | sample for sample in samples]
    said = {"cut": "drill", "scale": "BENCH-2", "witness": ""} | fields
    return body(rows={"in": [{}], "out": lines, "loss": list(lost)}, **said)


def drawn(lot, *, purpose=SamplePurpose.LABORATORY, mg=10_000, place=""):
    """One pin of a lot in Sam's hands."""
    pin = Make(Form.SAMPLE, mg, place=place, drawn=Drawn(SampleCut.PIN, purpose, seal="S-1"))
    posted = draw_samples(lot=lot.number, samples=[pin], at=timezone.now(), by=people.sam_sampler())
    return builders.fresh(posted.lots[0])


def assayed(grams=1000, mg=10_000):
    """A lot with its assay and a sample of it in the laboratory, both in Sam's hands."""
    lot = in_hand(grams, "LAB")
    sample = drawn(lot, mg=mg)
    return builders.valued(builders.fresh(lot.number)), builders.fresh(sample.number)


def test_samples_say_how_they_were_cut_for_whom_and_under_which_seal():
    lot = in_hand()
    data = drawing(
        {"gross": "6.250", "position": "top"},
        {"gross": "26.5", "tare": "20.25", "purpose": "umpire", "seal": " S-17 ", "position": "bottom"},
        lost=[{"cause": "sample consumed", "gross": "0.125"}],
        witness="Lars Larkspur",
    )
    number = sent(people.signed_in(people.sam_sampler()), f"/laboratory/sample/{lot.number}/", data)
    made = Operation.objects.get(number=number).created_lots.order_by("id")
    assert [
        (each.gross_mg, each.sample.cut, each.sample.purpose, each.sample.seal, each.sample.position) for each in made
    ] == [(6_250, "drill", "laboratory", "", "top"), (6_250, "drill", "umpire", "S-17", "bottom")]
    assert {each.sample.witness for each in made} == {"Lars Larkspur"}
    assert [(each.weighings.get().net_mg, each.weighings.get().purpose) for each in made] == [(6_250, "sample")] * 2
    assert builders.fresh(lot.number).gross_mg == 987_375
    page = people.signed_in(people.adam_auditor()).get(f"/lot/{made[1].number}/").content.decode()
    for said in ("S-17", "umpire", "bottom", "Lars Larkspur", lot.number):
        assert said in page


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"cut": ""}, "Cut is missing"),
        ({"cut": "axe"}, "Select a valid choice"),
        ({"scale": ""}, "Scale is missing"),
        ({"out-0-gross": ""}, "weight of the sample is missing"),
        ({"out-0-gross": "6,25"}, "has a comma"),
        ({"out-0-tare": "7"}, "not less than the gross"),
        ({"out-0-purpose": "umpire"}, "is sealed: write the seal"),
        ({"out-0-purpose": "customer"}, "is sealed: write the seal"),
        ({"out-0-gross": "1000.001"}, "less than asked"),
        ({"loss-0-gross": "-1"}, "Nothing is found again here"),
        ({"scale": "FLOOR-1", "out-0-gross": "1"}, "Scale FLOOR-1 weighs from"),
    ],
)
def test_a_sample_that_cannot_be_is_refused(changes, sentence):
    builders.scale("FLOOR-1")
    lot = in_hand()
    data = drawing({"gross": "6.25", "position": "top"}, lost=[{"cause": "spill", "gross": ""}]) | changes
    answer = people.signed_in(people.sam_sampler()).post(f"/laboratory/sample/{lot.number}/", data)
    assert sentence in faults(answer)
    assert 'value="top"' in answer.content.decode()
    assert builders.fresh(lot.number).gross_mg == 1_000_000


def test_a_held_lot_is_not_offered_for_sampling_on_any_board():
    lot = builders.held(in_hand())
    client = people.signed_in(people.sam_sampler())
    for board in ("/sampling/", "/laboratory/"):
        page = client.get(board).content.decode()
        assert lot.number in page
        assert f"/laboratory/sample/{lot.number}/" not in page
        assert "eld" in page.split(lot.number)[-1], "it says that it is held"
    assert "Compliance holds this lot" in client.get(f"/laboratory/sample/{lot.number}/").content.decode()
    answer = client.post(f"/laboratory/sample/{lot.number}/", drawing({"gross": "6.25"}))
    assert "is held by compliance" in faults(answer)


def test_what_is_left_on_the_scale_says_what_was_consumed():
    sample = drawn(in_hand())
    client = people.signed_in(people.sam_sampler())
    address = f"/laboratory/consume/{sample.number}/"
    heavier = client.post(address, body(scale="BENCH-2", gross="10"))
    assert "nothing of it was consumed" in faults(heavier)
    unlike = client.post(address, body(scale="BENCH-2", gross="8", consumed="3"))
    assert "not the whole sample" in faults(unlike)
    sent(client, address, body(scale="BENCH-2", gross="8.75"))
    left = builders.fresh(sample.number)
    assert left.gross_mg == 8_750
    assert left.weighings.last().net_mg == 8_750
    sent(client, address, body(consumed="0.75"))
    assert builders.fresh(sample.number).gross_mg == 8_000


def test_only_a_sample_is_consumed():
    """Whatever is consumed needs no countersignature: a whole lot must not leave the book by this door."""
    lot = in_hand()
    answer = people.signed_in(people.sam_sampler()).post(f"/laboratory/consume/{lot.number}/", body(consumed="1"))
    assert f"Lot {lot.number} is no sample" in faults(answer)


def test_a_seal_is_recorded_once_and_the_earlier_ones_stay():
    sample = drawn(in_hand())
    client = people.signed_in(people.sam_sampler())
    data = body(seal="S-2", purpose="reserve", note="shelf 4")
    for _ in range(2):
        assert client.post(f"/sampling/seal/{sample.number}/", data).url == "/sampling/"
    client.post(f"/sampling/seal/{sample.number}/", body(seal="S-3", purpose="umpire"))
    assert list(SampleSeal.objects.values_list("seal", "purpose", "note")) == [
        ("S-2", "reserve", "shelf 4"),
        ("S-3", "umpire", ""),
    ]
    page = client.get(f"/lot/{sample.number}/").content.decode()
    assert all(said in page for said in ("S-1", "when it was drawn", "S-2", "S-3", "shelf 4"))
    state = sampling.sample_state(builders.fresh(sample.number), people.sam_sampler())
    assert (state.seal, state.purpose, state.since) == ("S-3", "umpire", SampleSeal.objects.last().at)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"seal": ""}, "Seal is missing"),
        ({"seal": "  "}, "Seal is missing"),
        ({"purpose": "keeps"}, "Select a valid choice"),
        ({"at": "2999-01-01T00:00"}, "in the future"),
    ],
)
def test_a_seal_that_cannot_be_is_refused(changes, sentence):
    sample = drawn(in_hand())
    data = body(seal="S-2", purpose="reserve") | changes
    answer = people.signed_in(people.sam_sampler()).post(f"/sampling/seal/{sample.number}/", data)
    assert sentence in faults(answer)
    assert not SampleSeal.objects.exists()


def test_only_who_holds_a_sample_seals_it():
    sample = drawn(in_hand())
    data = body(seal="S-2", purpose="reserve")
    answer = people.signed_in(people.anna_assayer()).post(f"/sampling/seal/{sample.number}/", data)
    assert "in another person" in faults(answer)


def test_a_remainder_goes_back_to_its_lot_under_a_new_number():
    lot, sample = assayed()
    client = people.signed_in(people.sam_sampler())
    sent(client, f"/laboratory/consume/{sample.number}/", body(consumed="4"))
    data = body()
    number = sent(client, f"/sampling/return/{sample.number}/", data)
    assert sent(client, f"/sampling/return/{sample.number}/", data) == number
    one = Operation.objects.get(number=number).created_lots.get()
    assert (one.form, one.valued, one.receipt_id) == (lot.form, True, lot.receipt_id)
    assert one.columns_mg[:3] == (996_000, 796_800, 149_400)
    assert builders.fresh(sample.number).gross_mg == builders.fresh(lot.number).gross_mg == 0


def test_a_remainder_waits_for_what_its_lot_s_number_is_needed_for():
    lot = in_hand(1000, "LAB")
    sample = drawn(lot)
    client = people.signed_in(people.sam_sampler())

    def told():
        return faults(client.post(f"/sampling/return/{sample.number}/", body()))

    assert "has no accepted assay yet" in told()
    builders.valued(builders.fresh(lot.number))
    again = determine(
        lot=builders.fresh(lot.number),
        ppm={"Au": 801_000},
        method="fire assay",
        at=timezone.now(),
        by=people.anna_assayer(),
    )
    assert f"Determination {again.number} waits for a second person" in told()


def test_a_settled_assay_turned_down_once_keeps_no_remainder_for_ever():
    lot = exchanges.due()
    builders.handed_over(lot, people.sam_sampler(), "LAB")
    sample = drawn(builders.fresh(lot.number))
    exchange = exchanges.both_in(exchanges.opened(builders.fresh(lot.number)))
    first = exchanges.settled(exchange)
    assay_again(determination=first, reason="Wrong sample", at=timezone.now(), by=people.mona_manager())
    exchanges.valued(exchange)
    sent(people.signed_in(people.sam_sampler()), f"/sampling/return/{sample.number}/", body())


def test_nothing_goes_back_to_a_lot_that_is_gone_or_in_other_hands():
    lot, sample = assayed()
    client = people.signed_in(people.sam_sampler())
    builders.handed_over(lot, people.vera_vault(), "VAULT")
    told = faults(client.post(f"/sampling/return/{sample.number}/", body()))
    assert f"Lot {lot.number} is in another person" in told
    whole, little = assayed(1, mg=999)
    drawn(whole, mg=1)
    assert not builders.fresh(whole.number).gross_mg
    assert "holds nothing any more" in faults(client.post(f"/sampling/return/{little.number}/", body()))


def test_the_board_says_what_waits_and_carries_all_samples_at_once():
    lot = in_hand()
    one, two = drawn(lot), drawn(builders.fresh(lot.number))
    reserve = drawn(builders.fresh(lot.number), purpose=SamplePurpose.RESERVE)
    _, assayed_sample = assayed()
    viewer = people.sam_sampler()
    page = people.signed_in(viewer).get("/sampling/")
    shown = {
        name: [row.record.number for row in page.context[name].rows]
        for name in ("to_melt", "to_carry", "remainders", "kept")
    }
    assert shown == {
        "to_melt": [lot.number],
        "to_carry": [one.number, two.number],
        "remainders": [assayed_sample.number],
        "kept": [reserve.number],
    }
    assert page.context["to_melt"].rows[0].record.drawn == 3
    (carry,) = page.context["actions"]
    assert carry.url == f"/vault/handover/?lot={one.number}&lot={two.number}&to_place=LAB"
    assert people.signed_in(viewer).get(carry.url).status_code == 200
    builders.handed_over(one, people.anna_assayer(), "LAB")
    assert [each.number for each in sampling.to_carry(viewer)] == [two.number]


def test_a_sample_whose_lot_was_melted_without_it_waits_for_a_decision():
    """The assay of the melt does not value it: the page says so before, and the desk lists it afterwards."""
    lot = in_hand(where="LAB")
    sample = drawn(lot)
    client = people.signed_in(people.sam_sampler())
    assert f"{lot.number} has 1 sample already" in client.get("/sampling/melt/", {"lot": lot.number}).content.decode()
    assert not sampling.remainders(people.sam_sampler())
    melt_on_receipt(
        weighed={lot.number: Weighed("BENCH-2", 990_000)},
        melt=Make(Form.MELT, 990_000, weighed=Weighed("BENCH-2", 990_000)),
        at=timezone.now(),
        by=people.sam_sampler(),
    )
    assert [each.number for each in sampling.remainders(people.sam_sampler())] == [sample.number]
    page = client.get("/sampling/").content.decode()
    assert f"/sampling/return/{sample.number}/" not in page


def test_a_remainder_kept_for_the_umpire_moves_to_the_kept_ones():
    _, sample = assayed()
    client = people.signed_in(people.sam_sampler())
    client.post(f"/sampling/seal/{sample.number}/", body(seal="U-1", purpose="umpire"))
    viewer = people.sam_sampler()
    assert not sampling.remainders(viewer)
    (kept,) = sampling.kept(viewer)
    assert (kept.number, kept.seal_now, kept.now_for) == (sample.number, "U-1", "umpire")
    assert kept.since == SampleSeal.objects.get().at


def test_labels_of_samples_name_purpose_and_seal():
    sample = drawn(in_hand(), purpose=SamplePurpose.UMPIRE)
    (label,) = made_sheet(sample.created_by).labels
    assert (label.lot, label.form, label.net_mg) == (sample.number, "pin sample, umpire, seal S-1", 10_000)


def test_the_board_asks_as_often_for_one_as_for_three():
    client = people.signed_in(people.sam_sampler())

    def one_more():
        lot = in_hand()
        drawn(lot)
        drawn(builders.fresh(lot.number), purpose=SamplePurpose.RESERVE)
        assayed()

    def asked():
        with CaptureQueriesContext(connection) as queries:
            client.get("/sampling/")
        return len(queries)

    one_more()
    asked()
    once = asked()
    one_more()
    one_more()
    assert asked() == once


@pytest.mark.parametrize("column", ["todo", "of", "seal", "number"])
def test_no_list_of_the_board_breaks_when_a_column_is_asked_for(column):
    assayed()
    query = {f"{prefix}-sort": column for prefix in ("melt", "carry", "left", "kept")}
    assert people.signed_in(people.sam_sampler()).get("/sampling/", query).status_code == 200


def test_who_sees_what():
    lot, sample = assayed()
    staff = {person().username for person in people.STAFF}
    pages = {
        "/sampling/": staff,
        f"/laboratory/sample/{lot.number}/": {"sam", "anna"},
        f"/laboratory/consume/{sample.number}/": {"sam", "anna"},
        f"/sampling/seal/{sample.number}/": {"sam", "anna"},
        f"/sampling/return/{sample.number}/": {"sam", "anna"},
    }
    for person in people.EVERYBODY:
        user = person()
        client = people.signed_in(user)
        for address, who in pages.items():
            assert client.get(address).status_code == (200 if user.username in who else 403), (user, address)
    sampler = people.signed_in(people.sam_sampler())
    for address in ("seal", "return"):
        assert sampler.get(f"/sampling/{address}/L-0/").status_code == 404
        assert sampler.get(f"/sampling/{address}/{lot.number}/").status_code == 404, "no sample"
    assert Lot.objects.filter(form=Form.SAMPLE).count() == 1
