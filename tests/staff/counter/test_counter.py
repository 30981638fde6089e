"""The counter: a delivery becomes a receipt with lots, weighings and papers, or nothing is recorded, all kept typed."""

from uuid import uuid4

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from custody.actions.house import close_period
from custody.actions.move import dispatch
from custody.models import Attachment, Document, Lot, Operation, Party, ScaleReading, Weighing
from custody.staff.counter.forms import MOST_PARCELS
from custody.terms import DocumentKind
from tests import builders, files, people
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db

PARCEL = {
    "form": "dore",
    "gross": "1002.5",
    "tare": "2.500",
    "scale": "BENCH-2",
    "pieces": "3",
    "seal": "S-0042",
    "category": "mined artisanal and small scale",
    "country": "CA",
    "mine": "Upper Claim",
    "declared_gross": "1 kg",
    "declared": "812.5",
    "custody_model": "mass balance",
}
NEW = {"party": "", "new_code": "P-77", "new_name": "Ashbank Coin Hall", "new_country": "Netherlands"}


@pytest.fixture(autouse=True)
def house():
    builders.places()
    people.party("P-01")
    builders.scale("BENCH-2")


def entry(*parcels, key=None, **fields):
    counter = str(builders.place("COUNTER").pk)
    told = {"party": "P-01", "delivered_by": "Mara Quill", "basis": "toll", "place": counter} | fields
    rows = [PARCEL | {"seal": f"S-{number:04d}"} | parcel for number, parcel in enumerate(parcels or ({},), start=42)]
    return body(key=key, rows={"parcel": rows}, **told)


def reading(value_ug):
    """What scale BENCH-2 sent by itself."""
    now = timezone.now()
    return ScaleReading.objects.create(
        scale=builders.scale("BENCH-2"), value_ug=value_ug, stable=True, read_at=now, received_at=now,
        by=people.fiona_frontdesk(), request_key=uuid4(), request_sha256=b"",
    )  # fmt: skip


def record(data, who=people.fiona_frontdesk):
    return people.signed_in(who()).post("/counter/", data)


def nothing_recorded() -> bool:
    return not (Operation.objects.exists() or Weighing.objects.exists() or Document.objects.exists())


def test_a_delivery_becomes_lots_weighings_and_papers():
    scrap = {
        "form": "jewellery",
        "gross": "250.125",
        "tare": "",
        "declared": "18k",
        "declared_ag": "12.5 %",
        "export_paper": "EX-1",
        "transport_paper": "WB-2",
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
    assert (second.gross_mg, second.parcel.declared_au_ppm, second.parcel.declared_ag_ppm) == (
        250_125,
        750_000,
        125_000,
    )
    assert (first.parcel.declared_words, second.parcel.declared_words) == ("812.5 per mille", "18 karat")
    assert (second.parcel.export_paper, second.parcel.transport_paper) == ("EX-1", "WB-2")
    weighed = Weighing.objects.order_by("id").values_list("scale__code", "gross_mg", "tare_mg", "net_mg")
    assert list(weighed) == [("BENCH-2", 1_002_500, 2_500, 1_000_000), ("BENCH-2", 250_125, 0, 250_125)]
    kinds = set(Document.objects.filter(operation=receipt).values_list("kind", flat=True))
    assert kinds == {DocumentKind.RECEIPT, DocumentKind.LABELS}


def test_the_next_receipt_begins_with_the_scale_used_last():
    record(entry())
    page = people.signed_in(people.fiona_frontdesk()).get("/counter/?party=P-01").content.decode()
    assert '<option value="BENCH-2" selected>' in page
    assert 'value="P-01 Tern Valley Placer Cooperative"' in page


def test_for_whom_and_by_which_paper_it_was_delivered():
    record(entry(on_behalf_of="Upper Claim Partners", identity_kind="passport", identity_number="X1234567"))
    said = Operation.objects.get().delivery
    assert (said.on_behalf_of, said.identity_kind) == ("Upper Claim Partners", "passport")
    assert said.identity_number == "X1234567"


def test_a_weighing_that_the_scale_sent_says_so_and_a_keyed_one_too():
    sent = reading(1_002_500_000)
    record(entry({"gross_reading": str(sent.pk)}, {"gross_reading": str(sent.pk), "gross": "900"}))
    assert [one.keyed for one in Weighing.objects.order_by("id")] == [False, True]
    assert Weighing.objects.get(gross_reading=sent).gross_mg == 1_002_500


def test_a_scale_that_was_not_checked_is_told_at_the_parcel_weighed_on_it():
    builders.scale("FLOOR-1", checked=False)
    said = faults(record(entry({}, {"scale": "FLOOR-1"})))
    assert "Parcel 2, Scale: Scale FLOOR-1 was not checked" in said or "#id_parcel-1-scale" in said
    assert "#id_parcel-0-scale" not in said
    assert nothing_recorded()


def test_a_row_that_only_repeats_the_one_above_says_nothing():
    blank = dict.fromkeys(PARCEL, "") | {
        name: PARCEL[name] for name in ("form", "category", "country", "mine", "scale")
    }
    blank |= {"custody_model": "mass balance"}
    record(entry({}, blank))
    assert Lot.objects.count() == 1
    assert "Parcel 2" in faults(record(entry({}, blank | {"country": "PE"})))


def test_a_slip_that_is_not_open_is_told_at_its_field():
    answer = record(entry(slip="SL-000009", at=timezone.localtime().strftime("%Y-%m-%dT00:00")))
    assert "SL-000009 is not open" in faults(answer)
    assert nothing_recorded()


def test_photographs_and_papers_come_along_once():
    def data(key):
        files_sent = [SimpleUploadedFile("bags.jpg", files.JPEG), SimpleUploadedFile("bag.png", files.PNG)]
        papers = {"papers": SimpleUploadedFile("permit.pdf", files.PDF), "paper_kind": "export paper"}
        return entry(key=key) | {"photographs": files_sent} | papers

    key = uuid4()
    assert record(data(key)).url == record(data(key)).url
    kept = Attachment.objects.order_by("id").values_list("title", "kind", "content_type")
    assert list(kept) == [
        ("bags.jpg", "photograph", "image/jpeg"),
        ("bag.png", "photograph", "image/png"),
        ("permit.pdf", "export paper", "application/pdf"),
    ]


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("bags.jpg", files.HTML, "is no photograph"),
        ("bags.jpg", b"", "is empty"),
        ("a.pdf", files.JPEG, "its bytes are JPEG"),
    ],
)
def test_a_file_that_lies_is_refused_before_anything_is_recorded(name, content, sentence):
    answer = record(entry() | {"photographs": SimpleUploadedFile(name, content)})
    assert sentence in faults(answer)
    assert "Choose the files again" in answer.content.decode()
    assert nothing_recorded()
    assert not Attachment.objects.exists()


@pytest.mark.parametrize(
    ("typed", "sentences"),
    [
        ({"gross": "1000", "declared": "18k"}, ["Estimate only, from 18 karat as declared: 743.000 to 750.000 g"]),
        ({"gross": "1002.5", "tare": "2.5", "declared": "750"}, ["743.000 to 750.000 g of fine Au"]),
        ({"gross": "1000", "declared": "75 %", "declared_ag": "125"}, ["fine Au", "118.000 to 125.000 g of fine Ag"]),
        ({"gross": "1000", "declared": "7"}, []),
        ({"gross": "2.5", "tare": "2.5", "declared": "750"}, []),
        ({"gross": "1000,5", "declared": "750"}, []),
        ({"gross": "9" * 5000, "declared": "750"}, []),
        ({"gross": "1000", "declared": "a\x01b"}, []),
        ({}, []),
    ],
)
def test_an_estimate_is_words_and_writes_nothing(typed, sentences):
    told = people.signed_in(people.fiona_frontdesk()).get("/counter/estimate/", typed).json()["sentences"]
    assert len(told) == len(sentences)
    assert all(part in sentence for part, sentence in zip(sentences, told, strict=True))
    assert all("The assay decides." in sentence for sentence in told)


@pytest.mark.parametrize("who", [*people.CUSTOMERS, people.sam_sampler, people.adam_auditor, people.mona_manager])
def test_only_who_receives_comes_to_the_counter(who):
    client = people.signed_in(who())
    assert client.get("/counter/").status_code == 403
    assert client.post("/counter/", entry()).status_code == 403
    assert client.get("/counter/estimate/").status_code == 403
    assert nothing_recorded()


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
        ("scale", "", "Scale is missing"),
        ("scale", "Bench 2", "valid choice"),
        ("gross", "9 kg", "The scale weighs from"),
        ("pieces", "3.5", "has decimals"),
        ("pieces", "٣", "not plain digits"),
        ("pieces", "9999999", "is more than"),
        ("form", "sunshine", "valid choice"),
        ("category", "", "Origin is missing"),
        ("country", "UK", "There is no country"),
        ("country", "", "Country is missing"),
        ("declared_gross", "1kg or so", "not a plain number"),
        ("declared", "1001", "more than 1000 per mille"),
        ("declared", "18", "may be karat or per mille"),
        ("declared", "25k", "at most 24 karat"),
        ("declared", "pure", "not a plain number"),
        ("declared_ag", "18k", "Karat is said of gold"),
        ("export_paper", "x" * 121, "at most 120 characters"),
        ("seal", "S-0042", "is that of parcel 1"),
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
        ({"identity_number": "X12"}, "Say which identity paper it was"),
        ({"identity_kind": "passport"}, "The number of the passport is missing"),
        ({"identity_kind": "library card"}, "valid choice"),
        ({"slip": "SL-000001"}, "Give the time that is written on it"),
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
    answer = record(entry(empty | {"declared_gross": "", "declared": ""}))
    assert "Fill in at least one parcel" in faults(answer)
    assert nothing_recorded()


def test_more_fields_than_any_receipt_has_are_told_on_a_page():
    answer = record(
        entry() | {f"parcel-0-more{number}": "x" for number in range(settings.DATA_UPLOAD_MAX_NUMBER_FIELDS)}
    )
    assert answer.status_code == 400
    assert "Nothing was recorded" in answer.content.decode()
    assert nothing_recorded()


def test_the_longest_receipt_is_taken():
    assert record(entry(*({} for _ in range(MOST_PARCELS)))).status_code == 302
    assert Lot.objects.count() == MOST_PARCELS
    assert "No more than 60" in faults(record(entry(*({} for _ in range(MOST_PARCELS + 1)))))


def test_a_closed_month_takes_nothing():
    day = timezone.localdate().replace(day=1) - timezone.timedelta(days=10)
    close_period(month=day.replace(day=1), by=people.matt_accountant())
    assert "is closed" in faults(record(entry(at=f"{day}T10:00")))
    assert nothing_recorded()


def test_a_bar_that_comes_back_names_the_bar_it_was():
    bar = builders.handed_over(builders.bar("A000001"), people.vera_vault(), "VAULT")
    dispatch(
        lots=[bar.number],
        party=people.party("P-01"),
        collected=builders.COLLECTED,
        at=timezone.now(),
        by=people.vera_vault(),
    )
    assert "is received as a bar" in faults(record(entry({"returned_from": "A000001"})))
    record(entry({"form": "bar", "returned_from": "A000001"}))
    assert Lot.objects.latest("id").parcel.returned_from.lot == bar


def test_a_place_that_is_no_counter_receives_nothing():
    assert "valid choice" in faults(record(entry(place=str(builders.place("VAULT").pk))))
    assert nothing_recorded()
