"""The laboratory over the book: samples, determinations, and their acceptance by a second person."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.assay import determine
from custody.models import Acceptance, Determination, Operation
from custody.queries import laboratory
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db


def in_hand(person=people.sam_sampler, *parcels):
    """A lot as received, in this person's hands."""
    builders.places()
    return builders.handed_over(builders.received(*parcels)[0], person(), "LAB")


def sampling(*grams, lost=()):
    out = [{"gross": each, "purpose": "laboratory", "place": "LAB"} for each in grams]
    rows = {"in": [{}], "out": out, "loss": list(lost)}
    return body(rows=rows, cut="drill", scale=builders.scale().code)


def test_a_sample_is_a_lot_and_the_rest_keeps_its_number():
    lot = in_hand()
    lost = [{"cause": "sample consumed", "gross": "0.5"}]
    number = sent(
        people.signed_in(people.sam_sampler()), f"/laboratory/sample/{lot.number}/", sampling("10", "9.5", lost=lost)
    )
    samples = Operation.objects.get(number=number).created_lots.order_by("id")
    assert [(each.form, each.gross_mg, each.place.code) for each in samples] == [
        ("sample", 10_000, "LAB"),
        ("sample", 9_500, "LAB"),
    ]
    assert builders.fresh(lot.number).gross_mg == 980_000


def test_a_sample_of_a_valued_lot_takes_its_share_of_metal():
    (lot,) = builders.ready(1000, by=people.sam_sampler(), where="LAB")
    sent(people.signed_in(people.sam_sampler()), f"/laboratory/sample/{lot.number}/", sampling("10"))
    assert builders.fresh(lot.number).columns_mg[:3] == (990_000, 792_000, 148_500)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [("1000.001", "less than asked"), ("0", "is zero"), ("10,5", "has a comma"), ("", "at least one sample")],
)
def test_a_sample_that_cannot_be_is_refused(typed, sentence):
    lot = in_hand()
    answer = people.signed_in(people.sam_sampler()).post(f"/laboratory/sample/{lot.number}/", sampling(typed))
    assert sentence in faults(answer)
    assert builders.fresh(lot.number).gross_mg == 1_000_000


def drawn(lot, grams="10", by=people.sam_sampler):
    number = sent(people.signed_in(by()), f"/laboratory/sample/{lot.number}/", sampling(grams))
    return Operation.objects.get(number=number).created_lots.get()


def test_the_assay_consumes_a_sample_in_parts():
    sample = drawn(in_hand())
    client = people.signed_in(people.sam_sampler())
    data = body(consumed="4")
    number = sent(client, f"/laboratory/consume/{sample.number}/", data)
    assert sent(client, f"/laboratory/consume/{sample.number}/", data) == number
    assert builders.fresh(sample.number).gross_mg == 6_000
    sent(client, f"/laboratory/consume/{sample.number}/", body(consumed=""))
    assert builders.fresh(sample.number).gross_mg == 0
    gone = client.post(f"/laboratory/consume/{sample.number}/", body(consumed="1"))
    assert "nothing of it is left" in faults(gone)


def finding(**changes):
    given = {"method": "fire assay by cupellation", "sample": "", "note": "", "Au": "801.25"}
    return body(**(given | changes))


def test_a_determination_is_recorded_once_and_changes_nothing_yet():
    lot = in_hand()
    sample = drawn(lot)
    client = people.signed_in(people.anna_assayer())
    data = finding(sample=sample.number, Ag="149.5", note="bright beads")
    for _ in range(2):
        assert client.post(f"/laboratory/determine/{lot.number}/", data).url == "/laboratory/"
    one = Determination.objects.get()
    assert (one.lot, one.sample, one.by) == (builders.fresh(lot.number), sample, people.anna_assayer())
    assert one.ppm == (801_250, 149_500, 0, 0, 0)
    assert not builders.fresh(lot.number).valued
    again = client.post(f"/laboratory/determine/{lot.number}/", data | {"Au": "700"})
    assert f"recorded before with other figures, as {one.number}" in faults(again)


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"Au": "1000.1"}, "Au", "more than 1000"),
        ({"Au": "80,1"}, "Au", "has a comma"),
        ({"Au": "900", "Ag": "100.001"}, "Au", "sum to more than the whole"),
        ({"Au": ""}, "Au", "fineness of at least one metal"),
        ({"method": "XRF indication"}, "method", "Select a valid choice"),
        ({"method": "density indication"}, "method", "Select a valid choice"),
        ({"method": "as declared"}, "method", "Select a valid choice"),
        ({"sample": "L-NONE"}, "sample", "Select a valid choice"),
    ],
)
def test_a_finding_that_cannot_be_is_refused(changes, field, sentence):
    lot = in_hand()
    answer = people.signed_in(people.anna_assayer()).post(f"/laboratory/determine/{lot.number}/", finding(**changes))
    assert sentence in faults(answer), faults(answer)
    assert list(answer.context["form"].errors) == [field]
    assert not Determination.objects.exists()


def determined(lot, by=people.anna_assayer, **ppm):
    return determine(
        lot=lot, ppm=ppm or {"Au": 800_000, "Ag": 150_000}, method="fire assay", at=timezone.now(), by=by()
    )


def test_a_second_person_accepts_and_the_lot_gets_its_metals_with_its_sample():
    lot = in_hand()
    sample = drawn(lot)
    one = determined(builders.fresh(lot.number))
    client = people.signed_in(people.mona_manager())
    page = client.get(f"/laboratory/accept/{one.number}/").content.decode()
    assert "792.000" in page, "990 g at 800 per mille"
    assert sample.number in page
    data = body()
    number = sent(client, f"/laboratory/accept/{one.number}/", data)
    assert sent(client, f"/laboratory/accept/{one.number}/", data) == number
    assert builders.fresh(lot.number).columns_mg[:3] == (990_000, 792_000, 148_500)
    assert builders.fresh(sample.number).au_mg == 8_000
    late = people.signed_in(people.max_manager()).post(f"/laboratory/accept/{one.number}/", body())
    assert f"Determination {one.number} is accepted already" in faults(late)
    assert Operation.objects.filter(kind="value").count() == 1


def test_nobody_accepts_a_determination_of_their_own():
    one = determined(in_hand())
    client = people.signed_in(people.anna_assayer())
    page = client.get(f"/laboratory/accept/{one.number}/").content.decode()
    assert "a second person accepts it" in page
    assert "request_key" not in page
    answer = client.post(f"/laboratory/accept/{one.number}/", body())
    assert "Who records a determination does not accept it" in faults(answer)
    assert not Acceptance.objects.exists()
    assert people.signed_in(people.adam_auditor()).post(f"/laboratory/accept/{one.number}/", body()).status_code == 403


def test_a_revaluation_past_the_tolerance_is_countersigned_by_another_manager():
    one, other = builders.ready(1000)[0], builders.ready(500)[0]
    rows = {
        "in": [{"lot": one.number}, {"lot": other.number}],
        "add": [],
        "out": [{"form": "melt", "gross": "1500", "Au": "1200", "Ag": "225"}],
        "loss": [],
    }
    number = sent(people.signed_in(people.otto_operator()), "/plant/step/melt/", body(rows=rows, reason="Not weighed"))
    melt = Operation.objects.get(number=number).created_lots.get()
    found = determined(melt, Au=790_000, Ag=150_000)
    manager = people.signed_in(people.mona_manager())
    address = f"/laboratory/accept/{found.number}/"
    assert "\u221215.000" in manager.get(address).content.decode(), "1200 g less 1185 g"
    asked = manager.post(address, body(reason="melt was not homogeneous"))
    assert "past the tolerance of this step (value)" in faults(asked)
    page = asked.content.decode()
    assert "melt was not homogeneous" in page
    assert 'name="countersign_password"' in page
    signature = {
        "countersigner": "max",
        "countersign_password": people.PASSWORD,
        "countersign_meaning": "assayed twice",
    }
    people.max_manager()
    number = sent(manager, address, body(reason="melt was not homogeneous", **signature))
    assert Operation.objects.get(number=number).countersigned_by == people.max_manager()
    assert builders.fresh(melt.number).au_mg == 1_185_000


def test_an_accepted_determination_overtakes_the_earlier_ones():
    lot = in_hand()
    first, second = determined(lot), determined(lot)
    third = determined(builders.received()[0])
    sent(people.signed_in(people.mona_manager()), f"/laboratory/accept/{second.number}/", body())
    viewer = people.anna_assayer()
    assert [one.number for one in laboratory.waiting(viewer)] == [third.number]
    assert [one.number for one in laboratory.accepted(viewer)] == [second.number]
    assert first.pk


def test_asked_about_one_lot_the_laboratory_goes_on_with_it():
    lot = in_hand()
    assayer, manager = people.signed_in(people.anna_assayer()), people.signed_in(people.mona_manager())
    asked = {"lot": lot.number}
    assert assayer.get("/laboratory/", asked).url == f"/laboratory/determine/{lot.number}/"
    assert manager.get("/laboratory/", asked).url == "/laboratory/"
    one = determined(lot)
    assert assayer.get("/laboratory/", asked).url == f"/laboratory/determine/{lot.number}/", "not her own to accept"
    assert manager.get("/laboratory/", asked).url == f"/laboratory/accept/{one.number}/"


def test_the_lists_ask_as_often_for_one_as_for_three():
    client = people.signed_in(people.anna_assayer())

    def one_more():
        lot = in_hand()
        drawn(lot)
        determined(builders.fresh(lot.number))
        builders.valued(builders.received()[0])

    def asked():
        with CaptureQueriesContext(
            connection,
        ) as queries:
            page = client.get("/laboratory/")
        assert len(page.context["unvalued"].rows) == laboratory.unvalued(people.anna_assayer()).count()
        return len(queries)

    one_more()
    asked()
    once = asked()
    one_more()
    one_more()
    assert asked() == once


def test_who_sees_what():
    lot = in_hand()
    sample, one = drawn(lot), determined(lot)
    pages = {
        "/laboratory/": {"fiona", "sam", "anna", "otto", "vera", "matt", "clara", "mona", "adam"},
        f"/laboratory/sample/{lot.number}/": {"sam", "anna"},
        f"/laboratory/consume/{sample.number}/": {"sam", "anna"},
        f"/laboratory/determine/{lot.number}/": {"anna"},
        f"/laboratory/accept/{one.number}/": {"fiona", "sam", "anna", "otto", "vera", "matt", "clara", "mona", "adam"},
    }
    for person in people.EVERYBODY:
        user = person()
        client = people.signed_in(user)
        for address, who in pages.items():
            assert client.get(address).status_code == (200 if user.username in who else 403), (user, address)
    for address in ("sample", "consume", "determine", "accept"):
        assert people.signed_in(people.anna_assayer()).get(f"/laboratory/{address}/L-0/").status_code == 404
