"""What all doors share: signing in and out, papers handed out, numbers looked up, and the pages that refuse."""

from datetime import timedelta

import pytest
from django.conf import settings
from django.test import Client, RequestFactory
from django.utils import timezone
from django.views.defaults import server_error

from custody.actions.issue_receipt import issue_labels, issue_receipt
from custody.queries import papers
from tests import builders, people

pytestmark = pytest.mark.django_db


def sign_in(client: Client, person, password: str = people.PASSWORD, **more):
    return client.post("/sign-in/", {"username": person.username, "password": password, **more})


# In and out


@pytest.mark.parametrize(("who", "page"), [(people.fiona_frontdesk, "/"), (people.cora_customer, "/my/")])
def test_everybody_comes_in_by_their_own_door(who, page):
    assert sign_in(Client(), who()).url == page
    assert people.signed_in(who()).get("/sign-in/").url == page


def test_a_customer_at_the_staff_s_first_page_is_shown_to_their_own():
    assert people.signed_in(people.cora_customer()).get("/").url == "/my/"


def test_signing_in_leads_on_to_the_page_that_was_asked_for_and_to_no_other_site():
    person = people.fiona_frontdesk()
    assert sign_in(Client(), person, next="/book/").url == "/book/"
    assert sign_in(Client(), person, next="https://elsewhere.example/").url == "/"


def test_whoever_tries_passwords_is_locked_out_and_told_so():
    person, client = people.fiona_frontdesk(), Client()
    answers = [sign_in(client, person, f"guess {number}") for number in range(settings.AXES_FAILURE_LIMIT)]
    assert "You are not signed in." in answers[0].content.decode()
    assert answers[-1].status_code == 429
    assert "Too many tries" in answers[-1].content.decode()
    assert sign_in(client, person).status_code == 429  # the right password comes too late
    assert sign_in(Client(REMOTE_ADDR="192.0.2.7"), person).status_code == 302  # elsewhere the name is free


def test_signing_out_is_a_press_of_a_button_not_a_link():
    client = people.signed_in(people.fiona_frontdesk())
    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/").url == "/sign-in/"
    assert client.get("/book/").url == "/sign-in/?next=/book/"


# Papers


@pytest.fixture
def receipt():
    return builders.receipt_of(builders.received()[0])


@pytest.fixture
def paper(receipt):
    return issue_receipt(receipt=receipt, at=timezone.now(), by=people.fiona_frontdesk())


def test_a_paper_is_handed_out_as_it_was_issued(paper):
    for who in (people.cora_customer, people.adam_auditor):
        answer = people.signed_in(who()).get(f"/papers/{paper.pk}/")
        assert answer.content == papers.content_of(paper)
        assert answer.headers["Content-Type"] == "application/pdf"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        number = paper.operation.number.lower()
        assert answer.headers["Content-Disposition"] == f'attachment; filename="delivery-receipt-{number}.pdf"'


def test_somebody_else_s_paper_is_not_there(receipt, paper):
    labels = issue_labels(receipt=receipt, at=timezone.now(), by=people.fiona_frontdesk())
    assert people.signed_in(people.stranger()).get(f"/papers/{paper.pk}/").status_code == 404
    assert people.signed_in(people.cora_customer()).get(f"/papers/{labels.pk}/").status_code == 404  # the house's own
    assert people.signed_in(people.cora_customer()).get("/papers/999999/").status_code == 404
    assert Client().get(f"/papers/{paper.pk}/").url == f"/sign-in/?next=/papers/{paper.pk}/"


def test_a_changed_file_is_not_handed_out(paper):
    path = papers.path_of(paper.sha256)
    path.write_bytes(path.read_bytes().replace(b"%PDF", b"%PDF "))
    answer = people.signed_in(people.cora_customer()).get(f"/papers/{paper.pk}/")
    assert answer.status_code == 500
    assert "was changed since it was issued" in answer.content.decode()
    assert b"%PDF" not in answer.content


# Numbers


def look_up(code: str, who=people.fiona_frontdesk):
    return people.signed_in(who()).get("/find/", {"code": code})


def test_a_number_leads_to_its_page():
    lot = builders.bar("A000001")
    receipt = builders.receipt_of(lot)
    pages = {
        lot.number: f"/lot/{lot.number}/",
        f"  {lot.number.lower()}\r": f"/lot/{lot.number}/",
        "a000001": f"/lot/{lot.number}/",
        f"HFR A000001 {timezone.localdate().year}": f"/lot/{lot.number}/",
        receipt.number: f"/receipt/{receipt.number}/",
        lot.created_by.number: f"/operation/{lot.created_by.number}/",
        "P-01": "/party/P-01/",
    }
    for code, page in pages.items():
        assert look_up(code).url == page


def test_what_a_code_is_fixed_to_is_found_too():
    builders.place("CELL-1")
    builders.place("SHOP")
    builders.scale("BENCH-2")
    assert look_up("cell-1").url == "/plant/tanks/CELL-1/"
    assert look_up("SHOP").url == "/vault/place/SHOP/"
    assert look_up("BENCH-2").url == "/scales/scale/BENCH-2/"


def test_a_serial_on_several_bars_shows_them_all():
    builders.refinery()
    bars = [builders.bar("A000001", at=timezone.now() - timedelta(days=days)) for days in (400, 0)]
    answer = look_up("A000001")
    assert answer.status_code == 200
    for bar in bars:
        assert f'href="/lot/{bar.number}/"' in answer.content.decode()


@pytest.mark.parametrize("code", ["L26-99999", "<script>alert(1)</script>", "9" * 10_000])
def test_an_unknown_number_says_so(code):
    said = look_up(code).content.decode()
    assert "Nothing carries the number" in said
    assert "<script>alert" not in said


@pytest.mark.parametrize(
    "address", ["/lot/%00/", "/laboratory/exchanges/E%00/", "/vault/handover/?lot=%00", "/find/?code=x%00y"]
)
def test_a_null_character_names_nothing(address):
    answer = people.signed_in(people.anna_assayer()).get(address)
    assert answer.status_code == 404
    assert "Nothing under that number" in answer.content.decode()


def test_an_empty_question_says_what_may_be_asked():
    assert "Scan a label, or type" in look_up("").content.decode()


def test_customers_look_nothing_up():
    client = people.signed_in(people.cora_customer())
    assert client.get("/find/", {"code": "P-02"}).status_code == 403
    assert 'id="scan-code"' not in client.get("/my/").content.decode()


# Pages that refuse


def test_refusing_pages_keep_the_frame_and_say_what_to_do():
    builders.refinery()
    client = people.signed_in(people.adam_auditor())
    assert "Nothing under that number" in client.get("/lot/L26-99999/").content.decode()
    assert "Not yours to do" in client.get("/counter/").content.decode()
    assert "Harrow Fell Refinery" in client.get("/nowhere/").content.decode()


def test_the_page_of_a_fault_needs_neither_person_nor_book():
    said = server_error(RequestFactory().get("/")).content.decode()
    assert "Something broke" in said
    assert "recorded whole or not at all" in said
