"""The scales' desk: registers, the daily check, a scale found faulty and what it weighed since its last good check."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.weigh import Weighed
from custody.calc.weights import WeightClass
from custody.models import ReferenceWeight, Scale, ScaleCheck, WorksheetReading
from custody.queries import scales as queries
from tests import builders, charges, counter, people

pytestmark = pytest.mark.django_db

KEY = "6f9619ff-8b86-4d01-b42d-00cf4fc964ff"
SCALE = {
    "request_key": KEY,
    "code": "c-7",
    "name": "Counter scale",
    "accuracy": "II",
    "e": "0.1",
    "d": "0.01",
    "capacity": "6.2 kg",
}
WEIGHT = {
    "request_key": KEY,
    "code": "W-2K",
    "nominal": "2000",
    "weight_class": "F1",
    "certificate": "",
    "deviation": "",
    "uncertainty": "",
    "valid_until": "",
}
WEIGHERS = people.STAFF[:5]


def loads(*rows: tuple[str, str], **more) -> dict:
    data = {"request_key": KEY, "loads-TOTAL_FORMS": len(rows), "loads-INITIAL_FORMS": 0, "note": ""}
    for number, (weights, reading) in enumerate(rows):
        data |= {f"loads-{number}-weights": weights, f"loads-{number}-reading": reading}
    now = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    return data | {"at": now, "initial-at": now} | more


@pytest.fixture
def fiona():
    return people.signed_in(people.fiona_frontdesk())


@pytest.fixture
def mona():
    return people.signed_in(people.mona_manager())


# Who comes in


def test_staff_read_the_desk_and_customers_do_not():
    builders.refinery()
    failed = builders.check(builders.scale(), off_ug=10**6)
    builders.reference_weight()
    pages = (
        "/scales/", "/scales/weights/", "/scales/weights/weight/W-1000-E2/", "/scales/scale/BENCH-2/",
        f"/scales/check/{failed.pk}/", f"/scales/check/{failed.pk}/weighings/",
    )  # fmt: skip
    for page in pages:
        for who in people.EVERYBODY:
            expected = 200 if who in people.STAFF else 403
            assert people.signed_in(who()).get(page).status_code == expected, (page, who.__name__)
        assert Client().get(page).url.startswith("/sign-in/?next=/scales/")


def test_who_weighs_checks_and_who_keeps_the_scales_enters_them():
    builders.scale(checked=False)
    builders.reference_weight()
    for who in people.EVERYBODY:
        client, keeps, weighs = people.signed_in(who()), who is people.mona_manager, who in WEIGHERS
        for page, may in (
            ("/scales/add/", keeps),
            ("/scales/weights/add/", keeps),
            ("/scales/scale/BENCH-2/check/", weighs),
            ("/scales/scale/BENCH-2/faulty/", weighs or keeps),
        ):
            assert client.get(page).status_code == (200 if may else 403), (page, who.__name__)
            if not may:
                assert client.post(page, SCALE).status_code == 403, (page, who.__name__)
        for page in ("/scales/scale/BENCH-2/use/", "/scales/weights/weight/W-1000-E2/use/"):
            assert client.post(page, {"active": "yes"}).status_code == (302 if keeps else 403), who.__name__
    assert Scale.objects.count() == 1
    assert not ScaleCheck.objects.exists()


# The registers


def test_a_scale_is_entered_once_by_its_plate(mona):
    entry = SCALE | {"place": builders.place().pk}
    for _ in range(2):
        assert mona.post("/scales/add/", entry).url == "/scales/scale/C-7/"
    scale = Scale.objects.get()
    assert (scale.code, scale.e_mg, scale.d_ug, scale.min_ug, scale.max_mg) == ("C-7", 100, 10_000, 500_000, 6_200_000)
    page = mona.get("/scales/").content.decode()
    assert "not checked today" in page
    other = mona.post("/scales/add/", entry | {"name": "Another"})
    assert "There is a scale C-7 already" in other.content.decode()


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"code": "C 1"}, "code", "capitals, digits and hyphens"),
        ({"code": ""}, "code", "missing"),
        ({"e": "0.3"}, "e", "1, 2 or 5 times"),
        ({"e": "0,1"}, "e", "comma"),
        ({"e": "0"}, "e", "zero"),
        ({"d": "0.003"}, "d", "a tenth to a half"),
        ({"d": "0.0000001"}, "d", "more than 6 decimals"),
        ({"accuracy": "III", "d": "0.01"}, "d", "steps by e"),
        ({"accuracy": "IIII", "d": ""}, "e", "No scale of class IIII"),
        ({"capacity": "1"}, "capacity", "at least"),
        ({"capacity": "9" * 60}, "capacity", "characters long"),
        ({"accuracy": "V"}, "accuracy", ""),
        ({"place": "999"}, "place", ""),
    ],
)
def test_a_plate_that_no_scale_has_is_refused_at_its_field(mona, changes, field, said):
    answer = mona.post("/scales/add/", SCALE | {"place": builders.place().pk} | changes)
    form = answer.context["form"]
    assert list(form.errors) == [field]
    assert said in form.errors[field][0]
    assert form["name"].value() == "Counter scale"
    assert not Scale.objects.exists()


def test_a_reference_weight_is_entered_once_and_goes_out_of_use(mona):
    certified = {"certificate": "K 7", "deviation": "-0.125", "uncertainty": "0.3", "valid_until": "2099-12-31"}
    for _ in range(2):
        assert mona.post("/scales/weights/add/", WEIGHT | certified).url == "/scales/weights/"
    weight = ReferenceWeight.objects.get()
    assert (weight.nominal_mg, weight.deviation_ug, weight.uncertainty_ug) == (2_000_000, -125, 300)
    assert mona.post("/scales/weights/weight/W-2K/use/", {"active": "no"}).status_code == 302
    assert "out of use" in mona.get("/scales/weights/weight/W-2K/").content.decode()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"nominal": "3"}, "nominal"),
        ({"nominal": "0.001", "weight_class": "M3"}, "weight_class"),
        ({"deviation": "0.1"}, "deviation"),
        ({"uncertainty": "0.1"}, "certificate"),
        ({"certificate": "K 7"}, "uncertainty"),
        ({"certificate": "K 7", "uncertainty": "0"}, "uncertainty"),
        ({"certificate": "K 7", "uncertainty": "0.3", "deviation": "11"}, "deviation"),
        ({"certificate": "K 7", "uncertainty": "0.3", "deviation": "0.0001"}, "deviation"),
        ({"valid_until": "2000-01-01"}, "valid_until"),
        ({"valid_until": "soon"}, "valid_until"),
    ],
)
def test_a_weight_that_the_standard_does_not_know_is_refused_at_its_field(mona, changes, field):
    form = mona.post("/scales/weights/add/", WEIGHT | changes).context["form"]
    assert list(form.errors) == [field]
    assert not ReferenceWeight.objects.exists()


# The daily check


def test_a_check_is_recorded_once_and_says_load_by_load_whether_it_passed(fiona):
    builders.scale(checked=False)
    builders.reference_weight(100)
    builders.reference_weight(2000)
    page = fiona.get("/scales/scale/BENCH-2/check/").content.decode()
    for words in ("1\u202f999.800", "2\u202f000.200", "at 5\u202f000.000 g class F2 or finer"):
        assert words in page, words
    data = loads(("w-100-e2", "100.01"), ("W-2000-E2", "1999.9"))
    urls = {fiona.post("/scales/scale/BENCH-2/check/", data).url for _ in range(2)}
    check = ScaleCheck.objects.get()
    assert urls == {f"/scales/check/{check.pk}/"}
    assert check.passed
    page = fiona.get(urls.pop()).content.decode()
    assert "+0.010" in page
    assert "−0.100" in page
    assert "It may be used today." in page
    # The next day's check begins with the same weights.
    assert queries.last_weights(check.scale) == [["W-100-E2"], ["W-2000-E2"]]


def test_a_check_that_one_load_fails_bars_the_scale_and_says_so(fiona):
    builders.scale()
    builders.reference_weight(2000)
    url = fiona.post("/scales/scale/BENCH-2/check/", loads(("W-1000-E2", "1000"), ("W-2000-E2", "2000.21"))).url
    page = fiona.get(url).content.decode()
    assert "It may not be used until it passes a check." in page
    assert "What it weighed since its last good check" in page
    assert "failed its check" in fiona.get("/scales/").content.decode()


@pytest.mark.parametrize(
    ("row", "field", "said"),
    [
        (("W-9", "1000"), "weights", "no reference weight W-9"),
        (("W-1000-E2 W-1000-E2", "2000"), "weights", "named twice"),
        (("W-5000-M3", "5000"), "weights", "finer class"),
        (("W-10-E2 W-1000-E2 W-5000-M3", "6010"), "weights", "finer class"),
        (("W-10000-E2", "10000"), "weights", "Use another scale"),
        (("W-1000-E2", "1000,0"), "reading", "comma"),
        (("W-1000-E2", ""), "reading", "missing"),
        (("W-1000-E2", "-1"), "reading", "negative"),
        (("W-1000-E2", "1e400"), "reading", "exponent"),
        (("", "1000"), "weights", "Scan the reference weight"),
    ],
)
def test_a_load_that_proves_nothing_is_refused_at_its_field(fiona, row, field, said):
    builders.scale(checked=False)
    for grams, made in ((10, "E2"), (1000, "E2"), (5000, "M3"), (10000, "E2")):
        builders.reference_weight(grams, WeightClass(made))
    answer = fiona.post("/scales/scale/BENCH-2/check/", loads(row))
    (form,) = answer.context["row_sets"][0].forms
    assert list(form.errors) == [field]
    assert said in form.errors[field][0]
    assert form[field].value() == row[("weights", "reading").index(field)]
    assert not ScaleCheck.objects.exists()


def test_a_certificate_that_ran_out_checks_nothing(fiona):
    builders.scale(checked=False)
    weight = builders.reference_weight()
    ReferenceWeight.objects.filter(pk=weight.pk).update(valid_until=timezone.localdate() - timedelta(days=1))
    answer = fiona.post("/scales/scale/BENCH-2/check/", loads((weight.code, "1000")))
    assert "ran out" in answer.content.decode()
    assert not ScaleCheck.objects.exists()


def test_a_check_of_nothing_or_of_tomorrow_is_refused(fiona):
    builders.scale(checked=False)
    builders.reference_weight()
    tomorrow = (timezone.localtime() + timedelta(days=1)).strftime("%Y-%m-%dT%H:%M")
    for data in (loads(("", "")), loads(("W-1000-E2", "1000"), at=tomorrow)):
        assert fiona.post("/scales/scale/BENCH-2/check/", data).status_code == 200
    assert not ScaleCheck.objects.exists()


# Found faulty


def fault(client, code="BENCH-2", **more):
    return client.post(f"/scales/scale/{code}/faulty/", loads(reason="It was dropped") | more)


def test_a_fault_is_recorded_once_with_its_reason(fiona):
    builders.scale()
    assert "missing" in fault(fiona, reason=" ").content.decode()
    urls = {fault(fiona).url for _ in range(2)}
    found = ScaleCheck.objects.get(passed=False)
    assert urls == {f"/scales/check/{found.pk}/weighings/"}
    assert queries.usable_now().count() == 0


def test_a_fault_lists_every_weighing_since_the_last_good_check_and_where_each_lot_is(fiona):
    builders.places()
    (before,) = builders.received(500_000)
    builders.check(Scale.objects.get(code="BENCH-2"))
    (stays, elsewhere) = builders.received(1_000_000, builders.parcel(700_000, scale="FLOOR-1"))
    melted = builders.bar()
    page = fiona.get(fault(fiona).url).content.decode()
    parcel = melted.parent_edges.get().parent
    doubted = queries.doubted(ScaleCheck.objects.get(passed=False), people.fiona_frontdesk())
    assert [each.lot for each in doubted][:2] == [stays, parcel]
    assert before.number not in page
    assert elsewhere.number not in page
    assert "Front counter, held by Fiona Marl" in page
    assert re.search(rf"nothing left: cast\s+<[^>]+>{melted.created_by.number}<", page)
    assert "Tern Valley Placer Cooperative" in page


def test_a_faulty_balance_lists_what_the_laboratory_read_on_it_and_what_was_reported(fiona):
    (lot,) = builders.received(60_000)
    worksheet = charges.agreeing(lot)
    charges.reported(worksheet, lot)
    found = lot.determinations.get().number
    page = fiona.get(fault(fiona, code="BAL-1").url)
    rows = page.context["tables"][0].rows
    masses = WorksheetReading.objects.filter(piece__worksheet=worksheet)
    assert len(page.context["tables"]) == 1
    assert [row.record.pk for row in rows] == [reading.pk for reading in masses.order_by("at", "id")]
    text = page.content.decode()
    assert "0.229100" in text
    assert f"/laboratory/worksheets/{worksheet.number}/" in text
    assert f"/laboratory/accept/{found}/" in text
    assert "a proof" in text
    for address in (f"/laboratory/worksheets/{worksheet.number}/", f"/laboratory/accept/{found}/"):
        assert fiona.get(address).status_code == 200


def test_a_fault_lists_the_refused_parcels_that_it_weighed(fiona):
    scale = builders.scale()
    counter.refused(weighed=Weighed("BENCH-2", 12_100))
    builders.check(scale)
    builders.received(1_000)
    later = counter.refused(weighed=Weighed("BENCH-2", 12_200))
    page = fiona.get(fault(fiona).url)
    assert [row.record for row in page.context["tables"][1].rows] == [later]
    assert "12.200" in page.content.decode()
    assert "12.100" not in page.content.decode()


def test_a_check_entered_afterwards_takes_no_weighing_off_the_list(fiona):
    scale = builders.scale(at=timezone.now() - timedelta(minutes=50))
    (lot,) = builders.received(1_000_000, at=timezone.now() - timedelta(minutes=40))
    fault(fiona)
    found = ScaleCheck.objects.get(passed=False)
    builders.check(scale, at=timezone.now() - timedelta(minutes=30))
    assert [each.lot for each in queries.doubted(found, people.fiona_frontdesk())] == [lot]
    # Repaired and checked, it weighs again; that is another chapter.
    builders.check(scale)
    builders.received(2_000_000)
    assert [each.lot for each in queries.doubted(found, people.fiona_frontdesk())] == [lot]


def test_a_good_check_has_no_list_of_doubts(fiona):
    builders.scale()
    assert fiona.get(f"/scales/check/{ScaleCheck.objects.get().pk}/weighings/").status_code == 404


# Out of use, and what a page costs


def test_out_of_use_and_back(mona, fiona):
    builders.scale()
    mona.post("/scales/scale/BENCH-2/use/", {"active": "no"})
    for page in ("check", "faulty"):
        assert fiona.get(f"/scales/scale/BENCH-2/{page}/").status_code == 404
    assert "out of use" in fiona.get("/scales/").content.decode()
    mona.post("/scales/scale/BENCH-2/use/", {"active": "yes"})
    assert fiona.get("/scales/scale/BENCH-2/check/").status_code == 200


def cost(client, page: str) -> int:
    with CaptureQueriesContext(connection) as asked:
        assert client.get(page).status_code == 200
    return len(asked)


def test_lists_cost_the_same_however_long_they_are(fiona):
    builders.places()
    pages = ["/scales/", "/scales/weights/", "/scales/scale/BENCH-2/", "/scales/scale/BENCH-2/check/"]
    scale, seen = builders.scale(), []
    for parcels in ((1_000_000,), (2_000_000, 3_000_000, builders.parcel(4_000_000, scale="FLOOR-1"))):
        builders.check(scale)
        builders.received(*parcels, of=people.party("P-02" if seen else "P-01"))
        found = builders.check(scale, off_ug=10**6)
        doubts = f"/scales/check/{found.pk}/weighings/"
        seen.append([*(cost(fiona, page) for page in pages), cost(fiona, doubts)])
        builders.reference_weight(2000)
    assert queries.doubted(found, people.fiona_frontdesk()).count() == 2
    assert seen[0] == seen[1]


def test_the_first_page_counts_the_scales_that_may_not_weigh_yet(fiona, mona):
    builders.scale()
    builders.scale("FLOOR-1", checked=False)
    builders.check(builders.scale("SHOP-1"), off_ug=10**6)
    assert re.search(r"Not to be used before a check.*?2 scales", fiona.get("/").content.decode(), re.DOTALL)
    assert "Not to be used" not in mona.get("/").content.decode()
