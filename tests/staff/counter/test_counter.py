"""The counter: a delivery becomes a receipt with lots, weighings and papers, or nothing is recorded, all kept typed."""

import pytest
from django.utils import timezone

from custody.actions.house import close_period
from custody.actions.move import dispatch
from custody.models import Document, Lot, Operation, Party, Weighing
from custody.terms import DocumentKind
from tests import builders, people
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db

PARCEL = {
    "form": "dore",
    "gross": "1002.5",
    "tare": "2.500",
    "scale": "Bench 2",
    "pieces": "3",
    "seal": "S-0042",
    "category": "mined artisanal and small scale",
    "country": "CA",
    "mine": "Upper Claim",
    "declared_gross": "1 kg",
    "declared_ppm": "812.5",
    "custody_model": "mass balance",
}
NEW = {"party": "", "new_code": "P-77", "new_name": "Ashbank Coin Hall", "new_country": "Netherlands"}


@pytest.fixture(autouse=True)
def house():
    builders.places()
    people.party("P-01")


def entry(*parcels, key=None, **fields):
    counter = str(builders.place("COUNTER").pk)
    told = {"party": "P-01", "delivered_by": "Mara Quill", "basis": "toll", "place": counter} | fields
    return body(key=key, rows={"parcel": [PARCEL | parcel for parcel in parcels or ({},)]}, **told)


def record(data, who=people.fiona_frontdesk):
    return people.signed_in(who()).post("/counter/", data)


def nothing_recorded() -> bool:
    return not (Operation.objects.exists() or Weighing.objects.exists() or Document.objects.exists())


def test_a_delivery_becomes_lots_weighings_and_papers():
    scrap = {
        "form": "jewellery",
        "gross": "250.125",
        "tare": "",
        "declared_ppm": "",
        "declared_karat": "18",
        "mine": "",
    }
    answer = record(entry({}, scrap, party="P-01 Tern Valley Placer Cooperative"))
    receipt = Operation.objects.get()
    assert answer.url == f"/receipt/{receipt.number}/"
    assert (receipt.party.code, receipt.basis, receipt.delivered_by) == ("P-01", "toll", "Mara Quill")
    first, second = Lot.objects.select_related("parcel").order_by("id")
    assert (first.form, first.gross_mg, first.valued, first.clearance) == ("dore", 1_000_000, False, "awaiting release")
    assert (first.custodian, first.place.code) == (people.fiona_frontdesk(), "COUNTER")
    assert (first.parcel.declared_gross_mg, first.parcel.declared_au_ppm) == (1_000_000, 812_500)
    assert (first.parcel.seal, first.parcel.pieces, first.parcel.mine) == ("S-0042", 3, "Upper Claim")
    assert (second.gross_mg, second.parcel.declared_au_ppm) == (250_125, 750_000)
    weighed = Weighing.objects.order_by("id").values_list("scale", "gross_mg", "tare_mg", "net_mg")
    assert list(weighed) == [("Bench 2", 1_002_500, 2_500, 1_000_000), ("Bench 2", 250_125, 0, 250_125)]
    kinds = set(Document.objects.filter(operation=receipt).values_list("kind", flat=True))
    assert kinds == {DocumentKind.RECEIPT, DocumentKind.LABELS}


def test_the_next_receipt_begins_with_the_scale_used_last():
    record(entry())
    page = people.signed_in(people.fiona_frontdesk()).get("/counter/?party=P-01").content.decode()
    assert 'value="Bench 2"' in page
    assert 'value="P-01 Tern Valley Placer Cooperative"' in page


def test_a_purchase_passes_title_to_the_house():
    record(entry(basis="purchase"))
    assert Lot.objects.get().owner is None
    record(entry())
    assert Lot.objects.latest("id").owner.code == "P-01"


def test_a_new_party_is_entered_with_its_first_receipt():
    record(entry(**NEW))
    assert Operation.objects.get().party == Party.objects.get(code="P-77", name="Ashbank Coin Hall", country="NL")


def test_a_new_party_is_not_left_behind_by_a_receipt_that_was_refused():
    answer = record(entry(at="2099-01-01T00:00", **NEW))
    assert "in the future" in faults(answer)
    assert "Ashbank Coin Hall" in answer.content.decode()
    assert not Party.objects.filter(code="P-77").exists()
    assert nothing_recorded()


@pytest.mark.parametrize("party", [{}, NEW])
def test_a_form_sent_twice_is_one_receipt_with_one_set_of_papers(party):
    data = entry(**party)
    assert record(data).url == record(data).url
    assert (Operation.objects.count(), Lot.objects.count(), Weighing.objects.count()) == (1, 1, 1)
    assert Document.objects.count() == 2


def test_the_same_form_with_other_figures_is_refused():
    data = entry()
    record(data)
    assert "recorded before with other figures" in faults(record(data | {"parcel-0-gross": "9"}))
    assert Operation.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("gross", "1002,5", "has a comma"),
        ("gross", "1002.5 lb", "has a unit that is not read here"),
        ("gross", "-5", "is negative"),
        ("gross", "0", "is zero"),
        ("gross", "NaN", "is not a number"),
        ("gross", "1e400", "exponent"),
        ("gross", "9" * 1_000_000, "1000000 characters long"),
        ("gross", "", "Gross, g is missing"),
        ("tare", "1002.5", "The tare is not less than the gross"),
        ("tare", "1,5", "has a comma"),
        ("scale", " ", "Scale is missing"),
        ("pieces", "3.5", "has decimals"),
        ("pieces", "٣", "not plain digits"),
        ("pieces", "9999999", "is more than"),
        ("form", "sunshine", "valid choice"),
        ("category", "", "Origin is missing"),
        ("country", "UK", "There is no country"),
        ("country", "", "Country is missing"),
        ("declared_gross", "1kg or so", "not a plain number"),
        ("declared_ppm", "1001", "more than 1000 per mille"),
        ("declared_karat", "18", "not both"),
        ("seal", "x" * 61, "at most 60 characters"),
        ("mine", "a\0b", "Null characters"),
        ("returned_from", "A000009", "no bar A000009"),
    ],
)
def test_a_parcel_that_cannot_be_read_is_refused_and_stays_typed(field, typed, sentence):
    answer = record(entry({}, {field: typed}))
    said = answer.content.decode()
    assert sentence in faults(answer)
    assert "Parcel 2" in faults(answer)
    for kept in ("1002.5", "812.5", "Upper Claim", "Mara Quill", "S-0042"):
        assert kept in said
    assert nothing_recorded()


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"party": ""}, "Party is missing"),
        ({"party": "Tern"}, "There is no one party “Tern”"),
        ({"party": "P-01", "new_name": "Ashbank"}, "Clear one of the two"),
        (NEW | {"new_country": ""}, "Country of the new party is missing"),
        (NEW | {"new_code": "P-01"}, "There is a party P-01 already"),
        (NEW | {"new_name": "tern valley placer cooperative"}, "is known as P-01"),
        ({"delivered_by": ""}, "Delivered by is missing"),
        ({"basis": "loan"}, "valid choice"),
        ({"place": "999999"}, "valid choice"),
        ({"at": "31.12.2026"}, "Give a date and a time"),
        ({"at": ""}, "When is missing"),
        ({"request_key": "nonsense"}, "The page lost its key"),
    ],
)
def test_a_head_that_cannot_be_read_is_refused_and_stays_typed(fields, sentence):
    answer = record(entry(**fields))
    assert sentence in faults(answer)
    assert "Upper Claim" in answer.content.decode()
    assert nothing_recorded()


def test_a_receipt_has_at_least_one_parcel():
    empty = {"gross": "", "tare": "", "scale": "", "pieces": "", "seal": "", "category": "", "country": "", "mine": ""}
    answer = record(entry(empty | {"declared_gross": "", "declared_ppm": ""}))
    assert "Fill in at least one parcel" in faults(answer)
    assert nothing_recorded()


def test_a_closed_month_takes_nothing():
    day = timezone.localdate().replace(day=1) - timezone.timedelta(days=10)
    close_period(month=day.replace(day=1), by=people.matt_accountant())
    assert "is closed" in faults(record(entry(at=f"{day}T10:00")))
    assert nothing_recorded()


def test_a_bar_that_comes_back_names_the_bar_it_was():
    bar = builders.handed_over(builders.bar("A000001"), people.vera_vault(), "VAULT")
    dispatch(lots=[bar.number], party=people.party("P-01"), at=timezone.now(), by=people.vera_vault())
    assert "is received as a bar" in faults(record(entry({"returned_from": "A000001"})))
    record(entry({"form": "bar", "returned_from": "A000001"}))
    assert Lot.objects.latest("id").parcel.returned_from.lot == bar


def test_a_place_that_is_no_counter_receives_nothing():
    assert "valid choice" in faults(record(entry(place=str(builders.place("VAULT").pk))))
    assert nothing_recorded()
