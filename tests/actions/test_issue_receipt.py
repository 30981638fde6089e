"""The receipt's papers say what the book says, are kept, and tell their copies apart."""

import hashlib
import json

import pytest
from django.utils import timezone

from custody.actions.issue_receipt import issue_labels, issue_receipt
from custody.actions.receive import Said, receive
from custody.actions.work import reverse
from custody.errors import NotAllowed, Refusal
from custody.models import Document, Operation
from custody.queries import papers
from custody.terms import Basis, Form, IdentityKind
from tests import builders, people
from tests.documents import reading

pytestmark = pytest.mark.django_db


@pytest.fixture
def receipt():
    parcels = [
        builders.parcel(1_002_000, tare_mg=2_000, seal="S-7", mine="Upper Claim", declared_gross_mg=1_000_500),
        builders.parcel(250_125, form=Form.JEWELLERY, pieces=12, mine="", declared_au_ppm=None),
    ]
    return builders.receipt_of(builders.received(*parcels, basis=Basis.TOLL)[0])


def issued(action, receipt):
    return action(receipt=receipt, at=timezone.now(), by=people.fiona_frontdesk())


def test_the_receipt_states_declared_and_measured(receipt):
    paper = issued(issue_receipt, receipt)
    content = papers.content_of(paper)
    said = reading.text(content)
    for words in (
        receipt.number, "Tern Valley Placer Cooperative", "Mara Quill", "Fiona Marl", "Front counter", "Upper Claim",
        "BENCH-2", "keyed", "seal S-7", "1 002.000", "2.000", "1 000.000", "1 000.500", "1 250.125",
        "Harrow Fell Refinery",
    ):  # fmt: skip
        assert words in said
    assert (paper.sha256, paper.size) == (hashlib.sha256(content).hexdigest(), len(content))
    assert (paper.party.code, paper.operation, paper.copy_no) == ("P-01", receipt, 1)


def test_the_number_of_an_identity_paper_is_on_no_paper():
    builders.refinery()
    builders.scale()
    posted = receive(
        party=people.party(), parcels=[builders.parcel(declared_words="19 karat", declared_ag_ppm=125_000)],
        basis=Basis.TOLL, delivered_by="Mara Quill", at=timezone.now(), place=builders.place(),
        by=people.fiona_frontdesk(), said=Said("Upper Claim Partners", IdentityKind.PASSPORT, "X1234567"),
    )  # fmt: skip
    content = papers.content_of(issued(issue_receipt, Operation.objects.get(number=posted.number)))
    said = reading.text(content)
    for words in ("Upper Claim Partners", "identity seen: passport", "19 karat", "Ag 125.0"):
        assert words in said
    assert "X1234567" not in said
    assert "X1234567" not in json.dumps(reading.figures(content))
    assert "Estimate" not in said


def test_a_reprint_says_which_copy_it_is(receipt):
    issued(issue_receipt, receipt)
    again = issued(issue_receipt, receipt)
    assert again.copy_no == 2
    assert "reprint, copy 2" in reading.text(papers.content_of(again))
    assert Document.objects.filter(operation=receipt).count() == 2


def test_every_lot_has_a_label(receipt):
    paper = issued(issue_labels, receipt)
    assert "copy 2" in reading.text(papers.content_of(issued(issue_labels, receipt)))
    said = reading.text(papers.content_of(paper))
    for lot in receipt.receipt_lots.all():
        assert lot.number in said
    assert "1 000.000 g" in said
    assert "250.125 g" in said


def test_a_changed_file_is_not_handed_out(receipt):
    paper = issued(issue_labels, receipt)
    path = papers.path_of(paper.sha256)
    path.write_bytes(path.read_bytes() + b" ")
    with pytest.raises(Refusal, match="was changed since"):
        papers.content_of(paper)
    path.unlink()
    with pytest.raises(Refusal, match="is missing"):
        papers.content_of(paper)


def test_a_reversed_receipt_gets_no_paper(receipt):
    reverse(operation=receipt, reason="Wrong party", at=timezone.now(), by=people.mona_manager())
    with pytest.raises(Refusal, match="was reversed by"):
        issued(issue_receipt, receipt)


def test_only_the_front_desk_issues_it(receipt):
    with pytest.raises(NotAllowed):
        issue_receipt(receipt=receipt, at=timezone.now(), by=people.adam_auditor())
