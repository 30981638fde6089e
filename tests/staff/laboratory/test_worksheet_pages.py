"""Worksheets on the screen: opened by scanning, keyed or read from a file, reckoned, reported, accepted by another."""

from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from custody.actions.worksheets import Pieces
from custody.models import Acceptance, Determination, ProofMetal, RepeatOrder, Worksheet, WorksheetReading
from custody.queries.today import awaiting_acceptance
from custody.queries.worksheets import book_of
from custody.terms import PieceRole
from tests import builders, charges, people
from tests.charges import A, B, C, P
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot():
    builders.places()
    return builders.received()[0]


@pytest.fixture
def anna():
    return people.signed_in(people.anna_assayer())


def opening(*lots, **changes):
    rows = [{"lot": getattr(lot, "number", lot), "portions": "2", "silver": "0"} for lot in lots]
    rows += [{"lot": "", "portions": "2", "silver": "0"}] * 2
    given = {
        "method": "fire assay by cupellation", "metal": "Au", "balance": "BAL-1", "place": "", "note": "",
        "proof": charges.pure().pk, "proofs": "2", "silver": "", "silvers": "",
    }  # fmt: skip
    return body(rows={"piece": changes.pop("rows", rows)}, **(given | changes))


def test_a_worksheet_is_opened_once_with_its_tray(lot, anna):
    builders.scale("BAL-1")
    other = builders.received()[0]
    data = opening(lot, other)
    for _ in range(2):
        answer = anna.post("/laboratory/worksheets/open/", data)
        assert answer.status_code == 302, faults(answer)
    worksheet = Worksheet.objects.get()
    assert answer.url == f"/laboratory/worksheets/{worksheet.number}/"
    tray = [(piece.position, piece.role, piece.lot) for piece in worksheet.pieces.all()]
    assert tray == [
        (1, "proof", None), (2, "sample", lot), (3, "sample", lot), (4, "sample", other), (5, "sample", other),
        (6, "proof", None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"lots": ["L-0"]}, "There is no lot L-0"),
        ({"lots": []}, "at least one sample"),
        ({"metal": "Pt"}, "does not find Pt"),
        ({"balance": ""}, "Name the balance"),
        ({"proof": ""}, "Choose the metal of the proofs"),
        ({"proofs": "two"}, "is not a plain number"),
        ({"proofs": "70"}, "do not fit"),
        ({"twice": True}, "already"),
    ],
)
def test_an_opening_that_cannot_be_is_refused_and_keeps_what_was_typed(lot, anna, changes, sentence):
    builders.scale("BAL-1")
    lots = changes.pop("lots", [lot, lot] if changes.pop("twice", False) else [lot])
    answer = anna.post("/laboratory/worksheets/open/", opening(*lots, note="night charge", **changes))
    assert sentence in faults(answer), faults(answer)
    assert 'value="night charge"' in answer.content.decode()
    assert not Worksheet.objects.exists()


def address(worksheet, tail=""):
    return f"/laboratory/worksheets/{worksheet.number}/{tail}"


def keyed(worksheet, reason="", seen=None, **cells):
    seen = book_of(worksheet).seen if seen is None else seen
    return {"do": "readings", "seen": seen, "reason": reason, **cells}


def test_readings_are_keyed_into_the_grid_and_the_silver_to_add_follows(lot, anna):
    worksheet = charges.opened(lot, proofs=1)
    page = anna.get(address(worksheet)).content.decode()
    assert 'name="cornet_2"' in page
    assert 'data-down="cornet"' in page
    data = keyed(worksheet, portion_1="200", portion_2="250.000", portion_3=" 250.1 mg"[:6])
    for _ in range(2):
        answer = anna.post(address(worksheet), data)
        assert answer.status_code == 302, faults(answer)
    assert WorksheetReading.objects.count() == 3
    page = anna.get(address(worksheet)).content.decode()
    assert "500.000" in page, "200 mg of proof gold at 2.5 to 1 (Beringer, p. 146)"
    assert page.count(">500.000<") == 2, "and 250 mg declared as 800 per mille"
    assert "may hold 800.0 ‰ Au, as declared" in page


@pytest.mark.parametrize(
    ("cells", "sentence"),
    [
        ({"cornet_2": "229,1"}, "The cornet “229,1” has a comma"),
        ({"cornet_2": "-1"}, "is negative"),
        ({"cornet_2": "NaN"}, "is not a number"),
        ({"cornet_2": "1e400"}, "is written with an exponent"),
        ({"portion_2": "0"}, "The portion is zero"),
        ({"bead_2": "9" * 20}, "more than 1 kg"),
        ({"bead_2": "6000"}, "weighs up to 5000 mg"),
        ({"portion_2": "250.002", "bead_3": "1"}, "portion at position 2 was read before"),
        ({"seen": "0", "bead_3": "1"}, "Readings came in since"),
    ],
)
def test_a_bad_cell_is_refused_and_everything_typed_is_kept(lot, anna, cells, sentence):
    worksheet = charges.opened(lot, proofs=1)
    charges.read(worksheet, PieceRole.SAMPLE, {P: 250_001}, {})
    answer = anna.post(address(worksheet), keyed(worksheet, silver_added_3="570.5") | cells)
    assert sentence in faults(answer), faults(answer)
    assert 'value="570.5"' in answer.content.decode()
    assert WorksheetReading.objects.count() == 1


def test_an_unchecked_balance_is_said_on_the_page_and_refuses(lot, anna):
    worksheet = charges.opened(lot, checked=False)
    assert "Nothing can be weighed on it now" in anna.get(address(worksheet)).content.decode()
    answer = anna.post(address(worksheet), keyed(worksheet, portion_1="250"))
    assert "was not checked that day" in faults(answer)


def file_of(text, name="balance.csv"):
    return {"do": "file", "file-file": SimpleUploadedFile(name, text), "file-lines": "", "file-reason": ""}


def test_a_file_is_read_and_a_bad_one_says_each_line(lot, anna):
    worksheet = charges.opened(lot)
    good = f"worksheet,position,of,mg\n{worksheet.number},1,portion,250.1\n".encode()
    for _ in range(2):
        assert anna.post(address(worksheet), file_of(good)).status_code == 302
    assert "was read before" in anna.get(address(worksheet)).content.decode() or WorksheetReading.objects.count() == 1
    bad = f"worksheet,position,of,mg\n{worksheet.number},7,portion,250\n{worksheet.number},2,portion,1e400\n".encode()
    answer = anna.post(address(worksheet), file_of(bad))
    assert "line 2: worksheet" in faults(answer)
    assert "line 3: The portion" in faults(answer)
    assert "no plain text" in faults(anna.post(address(worksheet), file_of(b"\x89PNG\r\n\xff\xfe")))
    assert "Choose a file" in faults(anna.post(address(worksheet), {"do": "file"}))
    assert WorksheetReading.objects.count() == 1


def test_a_piece_is_discarded_with_a_reason(lot, anna):
    worksheet = charges.opened(lot)
    data = {"do": "discard", "discard-position": "2", "discard-reason": ""}
    assert "What happened is missing" in faults(anna.post(address(worksheet), data))
    assert anna.post(address(worksheet), data | {"discard-reason": "spurted"}).status_code == 302
    page = anna.get(address(worksheet)).content.decode()
    assert "discarded: spurted" in page
    assert 'name="portion_2"' not in page


def reporting(worksheet, *lots, **changes):
    seen = {"seen": book_of(worksheet).seen, "request_key": str(uuid4())}
    return seen | {f"report_{lot.pk}": "on" for lot in lots} | changes


def test_results_show_their_arithmetic_and_are_reported_once(lot, anna):
    worksheet = charges.opened(lot, proofs=1)
    charges.read(worksheet, PieceRole.PROOF, {P: 450_160, C: 450_250})
    charges.read(worksheet, PieceRole.SAMPLE, *[{P: 500_000, C: 450_400}] * 2)
    page = anna.get(address(worksheet, "results/")).content.decode()
    assert "Position 1, PAu-1000000-0: 450.160 mg × 1000.0 ‰ = 450.1600 mg; cornet 450.250 mg: +0.0900 mg" in page
    assert "(450.400 − 0.0900) ÷ 500.000 × 1000 = 900.62 ‰" in page
    assert '<td class="mass">900.620</td>' in page, "a column of results has all three decimals"
    too_much = anna.post(address(worksheet, "results/"), reporting(worksheet, lot, **{f"other_{lot.pk}_Cu": "99.5"}))
    assert list(too_much.context["form"].errors) == [f"other_{lot.pk}_Cu"]
    assert '<details class="fold" open><summary>Other metals' in too_much.content.decode(), (
        "what is to be mended is seen"
    )
    data = reporting(worksheet, lot, **{f"other_{lot.pk}_Cu": "20", f"remark_{lot.pk}": "bright"})
    for _ in range(2):
        answer = anna.post(address(worksheet, "results/"), data)
        assert answer.status_code == 302, faults(answer)
    one = Determination.objects.get()
    assert one.ppm == (900_620, 0, 0, 0, 20_000)
    assert one.note.endswith("bright")
    assert "Reported as" in anna.get(address(worksheet, "results/")).content.decode()


def test_a_method_without_a_limit_asks_for_the_one_agreed(lot, anna):
    worksheet = charges.opened(Pieces(lot, 2), metal="Ag", silver_proofs=0)
    charges.read(worksheet, PieceRole.SILVER_SAMPLE, {P: 500_000, B: 460_000}, {P: 500_000, B: 460_100})
    answer = anna.post(address(worksheet, "results/"), reporting(worksheet, lot))
    assert "No limit is known" in faults(answer)
    assert (
        anna.post(
            address(worksheet, "results/"), reporting(worksheet, lot, **{f"limit_{lot.pk}_Ag": "0.1"})
        ).status_code
        == 302
    )
    assert RepeatOrder.objects.get().allowed_ppm == 100
    assert "To be assayed again" in anna.get("/laboratory/").content.decode()


def test_a_reported_lot_says_what_was_stated_at_its_report(lot, anna):
    worksheet = charges.opened(Pieces(lot, 2), metal="Ag", silver_proofs=0)
    charges.read(worksheet, PieceRole.SILVER_SAMPLE, {P: 500_000, B: 460_000}, {P: 500_000, B: 460_100})
    results = address(worksheet, "results/")
    assert anna.post(results, reporting(worksheet, lot, **{f"limit_{lot.pk}_Ag": "0.5"})).status_code == 302
    page = anna.get(results).content.decode()
    assert "within the 0.5 that they may. Limit for two: limit agreed in the house." in page
    assert "No limit is known" not in page
    one = Determination.objects.get()
    assert f'href="/laboratory/accept/{one.number}/"' in anna.get("/laboratory/").content.decode()


def test_nothing_chosen_is_nothing_reported(lot, anna):
    worksheet = charges.agreeing(lot)
    assert "Choose at least one lot" in faults(anna.post(address(worksheet, "results/"), reporting(worksheet)))


def test_the_acceptor_sees_the_worksheet_and_the_analyst_is_refused(lot, anna):
    worksheet = charges.agreeing(lot, by=people.ada_assayer())
    made = charges.reported(worksheet, lot).determinations[0]
    charges_page = f"/laboratory/accept/{made.number}/"
    ada = people.signed_in(people.ada_assayer())
    assert "You worked on a worksheet of this lot" in ada.get(charges_page).content.decode()
    assert "does not accept it" in faults(ada.post(charges_page, body()))
    assert "does not accept it" in faults(
        ada.post(f"{charges_page}again/", {"again-request_key": str(uuid4()), "again-reason": "x"})
    )
    assert not Acceptance.objects.exists()
    assert f'Accept<span class="visually-hidden"> {made.number}' not in ada.get("/laboratory/").content.decode()
    assert not awaiting_acceptance(people.ada_assayer()), "it does not wait for who may not accept it"
    manager = people.signed_in(people.mona_manager())
    assert [one.number for one in awaiting_acceptance(people.mona_manager())] == [made.number]
    page = manager.get(charges_page).content.decode()
    assert "229.100" in page
    assert "Surcharge, mean of 1" in page
    assert "916.5 ± 0.2" in page
    assert "No limit is known" not in page
    sent(manager, charges_page, body())
    assert builders.fresh(lot.number).au_mg == 916_500


def test_the_acceptor_may_order_another_assay(lot, anna):
    made = charges.reported(charges.agreeing(lot), lot).determinations[0]
    manager = people.signed_in(people.mona_manager())
    where = f"/laboratory/accept/{made.number}/again/"
    assert "is missing" in faults(manager.post(where, {"again-request_key": str(uuid4()), "again-reason": ""}))
    assert manager.post(where, {"again-request_key": str(uuid4()), "again-reason": "too low"}).url == "/laboratory/"
    board = manager.get("/laboratory/").content.decode()
    assert "too low" in board
    assert "not accepted" in manager.get(f"/lot/{lot.number}/").content.decode()
    assert not awaiting_acceptance(people.mona_manager())
    assert f"Accept {made.number}" not in board
    page = manager.get(f"/laboratory/accept/{made.number}/").content.decode()
    assert "Not accepted" in page
    assert "request_key" not in page


def test_proof_metals_are_entered_and_taken_out_of_use(anna):
    data = body(code="PG-7", metal="Au", purity="999.99", uncertainty="0.01", certificate="C 7/26")
    assert anna.post("/laboratory/proof-metals/", data).status_code == 302
    assert "already" in faults(anna.post("/laboratory/proof-metals/", data))
    one = ProofMetal.objects.get()
    assert (one.purity_ppm, one.uncertainty_ppm) == (999_990, 10)
    anna.post(f"/laboratory/proof-metals/{one.pk}/", {"active": "0"})
    assert not ProofMetal.objects.get().active
    assert "Back in use" in anna.get("/laboratory/proof-metals/").content.decode()


def test_who_sees_what(lot):
    worksheet = charges.agreeing(lot)
    metal = charges.pure()
    staff = {"fiona", "sam", "anna", "otto", "vera", "matt", "clara", "mona", "adam"}
    pages = {
        "/laboratory/worksheets/": staff,
        "/laboratory/worksheets/open/": {"anna"},
        address(worksheet): staff,
        address(worksheet, "results/"): staff,
        "/laboratory/proof-metals/": staff,
    }
    writes = [
        "/laboratory/worksheets/open/", address(worksheet), address(worksheet, "results/"), "/laboratory/proof-metals/",
        f"/laboratory/proof-metals/{metal.pk}/",
    ]  # fmt: skip
    for person in people.EVERYBODY:
        user = person()
        client = people.signed_in(user)
        for page, who in pages.items():
            assert client.get(page).status_code == (200 if user.username in who else 403), (user, page)
        for page in writes:
            assert (client.post(page).status_code == 403) == (user.username != "anna"), (user, page)
    assert people.signed_in(people.anna_assayer()).get("/laboratory/worksheets/W0-0/").status_code == 404


def test_pages_ask_as_often_for_one_as_for_three(anna):
    builders.places()

    def count(page):
        anna.get(page)
        with CaptureQueriesContext(connection) as queries:
            assert anna.get(page).status_code == 200
        return len(queries)

    def asked(lots):
        worksheet = charges.opened(*builders.received(*[1_000_000] * lots), proofs=2)
        charges.read(worksheet, PieceRole.PROOF, *[{P: 230_000, A: 575_000, C: 230_000}] * 2)
        charges.read(worksheet, PieceRole.SAMPLE, *[{P: 250_000, A: 500_000, C: 229_000}] * 2 * lots)
        sheet = address(worksheet)
        return [count(page) for page in ("/laboratory/", "/laboratory/worksheets/", sheet, f"{sheet}results/")]

    once = asked(1)
    assert asked(3) == once
