"""The certificate of an accepted assay: issued from the laboratory, filled from the worksheet, copies numbered."""

import pytest
from django.utils import timezone

from custody.actions.assay import accept, determine
from custody.actions.work import Make, Take, record_step
from custody.actions.worksheets import Pieces, discard_piece
from custody.models import Document
from custody.queries import papers
from custody.terms import Form, Kind, PieceRole
from tests import builders, charges, people
from tests.charges import C, P
from tests.documents import reading

pytestmark = pytest.mark.django_db


def address(determination):
    return f"/laboratory/accept/{determination.number}/certificate/"


@pytest.fixture
def assayed():
    """A lot with an accepted fire assay in triplicate, one of whose pieces was discarded."""
    builders.places()
    (lot,) = builders.received()
    worksheet = charges.opened(Pieces(lot, 3), proofs=2)
    charges.read(worksheet, PieceRole.PROOF, {P: 200_000, C: 200_020}, {P: 200_000, C: 200_040})
    charges.read(
        worksheet, PieceRole.SAMPLE, {P: 250_000, C: 200_030}, {P: 250_000, C: 200_080}, {P: 250_000, C: 150_000}
    )
    spurted = worksheet.pieces.filter(role=PieceRole.SAMPLE).last()
    discard_piece(
        worksheet=worksheet, position=spurted.position, reason="spurted", at=timezone.now(), by=people.anna_assayer()
    )
    one = charges.reported(worksheet, lot).determinations[0]
    accept(determination=one, at=timezone.now(), by=people.mona_manager())
    return one


def issued(determination):
    answer = people.signed_in(people.anna_assayer()).post(address(determination), follow=True)
    assert answer.status_code == 200
    return answer, Document.objects.latest("id")


def test_the_certificate_says_what_was_weighed_and_by_whom(assayed):
    answer, paper = issued(assayed)
    assert f"Assay certificate {assayed.number}" in answer.content.decode()
    said = reading.rows(papers.content_of(paper))
    # Mean surcharge 0.030 mg: (200.030 - 0.030) / 250 = 800.000, (200.080 - 0.030) / 250 = 800.200; their mean 800.100.
    for wanted in (
        "Au 800.100 ±",
        "portion 250.000 200.030 800.000",
        "portion 250.000 200.080 800.200",
        "discarded: spurted",
        "200.000 200.020 —",
        "1 000.000 g",
        "Determined Accepted Anna Bead Mona Ravn",
    ):
        assert wanted in said
    assert reading.codes(papers.content_of(paper)) == [assayed.lot.number]


def test_a_reprint_is_a_copy_and_says_so(assayed):
    issued(assayed)
    _, second = issued(assayed)
    assert second.copy_no == 2
    assert f"{assayed.number}, copy 2" in reading.text(papers.content_of(second))


def test_it_states_the_gross_that_was_valued_not_what_is_left(assayed):
    lot = builders.handed_over(builders.fresh(assayed.lot.number), people.sam_sampler(), "LAB")
    record_step(
        kind=Kind.SAMPLE,
        inputs=[Take(lot.number, 10_000)],
        outputs=[Make(Form.SAMPLE, 10_000, {"Au": 8_001})],
        at=timezone.now(),
        by=people.sam_sampler(),
    )
    assert builders.fresh(assayed.lot.number).gross_mg == 990_000
    _, paper = issued(assayed)
    assert "1 000.000 g" in reading.rows(papers.content_of(paper))


def test_what_nobody_accepted_has_none():
    (lot,) = builders.received()
    one = determine(
        lot=lot, ppm={"Au": 800_000}, method="gravimetry", at=timezone.now(), by=people.anna_assayer(), note="typed"
    )
    answer = people.signed_in(people.anna_assayer()).post(address(one), follow=True)
    assert "is not accepted yet" in answer.content.decode()
    assert not Document.objects.filter(kind="assay certificate").exists()


@pytest.mark.parametrize("person", [people.fiona_frontdesk, people.adam_auditor, people.cora_customer, people.stranger])
def test_who_may_not(assayed, person):
    assert people.signed_in(person()).post(address(assayed)).status_code == 403
    assert not Document.objects.filter(kind="assay certificate").exists()


def test_a_customer_does_not_find_it_before_it_is_given_out(assayed):
    _, paper = issued(assayed)
    assert people.signed_in(people.cora_customer()).get(f"/papers/{paper.pk}/").status_code == 404
