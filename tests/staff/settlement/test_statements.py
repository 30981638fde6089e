"""The statement of a settlement: read back from the PDF, written again when that failed."""

from decimal import Decimal

import pytest
from django.utils import timezone

from custody.actions.issue_settlement import issue_settlement
from custody.actions.work import Lose, Make, Take, record_step
from custody.terms import Cause, Form, Kind, Outturn
from tests import builders, people, settling
from tests.documents import reading

pytestmark = pytest.mark.django_db


def paper(settlement):
    document = issue_settlement(settlement=settlement, at=timezone.now(), by=people.matt_accountant())
    client = people.signed_in(people.matt_accountant())
    return b"".join(client.get(f"/papers/{document.pk}/"))


def test_every_figure_on_the_paper_is_the_one_issued():
    lot = builders.valued(builders.received()[0])
    one = settling.settled(lot)
    rows = reading.rows(paper(one))
    for wanted in (
        f"Settlement statement {one.number}",
        "Tern Valley Placer Cooperative",
        builders.receipt_of(lot).number,
        f"{lot.number} doré",
        "Au 800.0 800.000",
        "Ag 150.0 150.000",
        "Au 800.000 99.00 792.000 0.000 8.000",
        "70.1234 EUR/g",
        "28.315 EUR/ozt",
        "Treatment lump sum 75.00 EUR charge −75.00",
        "Payable to the customer 55 520.45",
        "Matt Tally",
        "Mona Ravn",
    ):
        assert wanted in rows
    assert reading.codes(paper(one)) == [one.number]


def test_a_sample_drawn_is_told_beside_the_lots():
    (lot,) = builders.received()
    lot = builders.handed_over(lot, people.sam_sampler(), "LAB")
    record_step(
        kind=Kind.SAMPLE,
        inputs=[Take(lot.number, 10_000)],
        outputs=[Make(Form.SAMPLE, 10_000)],
        at=timezone.now(),
        by=people.sam_sampler(),
    )
    one = settling.settled(builders.valued(builders.fresh(lot.number)))
    text = reading.text(paper(one))
    assert "the content counts the samples drawn from them: Au 8.000 g, Ag 1.500 g." in text
    assert one.lines.get(metal="Au").content_mg == 800_000


def test_a_correction_says_so_on_paper():
    lot = builders.valued(builders.received()[0])
    first = settling.settled(lot)
    second = settling.settled(lot, Outturn.METAL, corrects=first, reason="The customer chose metal")
    text = reading.text(paper(second))
    assert f"This statement takes the place of {first.number}" in text
    assert "Reason: The customer chose metal" in text


def test_a_reprint_is_the_same_but_for_its_copy_and_the_first_stays():
    one = settling.settled(builders.valued(builders.received()[0]))
    client = people.signed_in(people.matt_accountant())
    for _ in range(2):
        client.post(f"/settlement/paper/{one.number}/")
    first, second = one.documents.order_by("id")
    assert (first.copy_no, second.copy_no) == (1, 2)
    figures = [reading.figures(b"".join(client.get(f"/papers/{paper.pk}/"))) for paper in (first, second)]
    assert figures[0] == figures[1]
    assert Decimal(figures[0]["total"]) == one.total


def test_a_statement_that_cannot_be_written_leaves_the_settlement_and_is_offered_again(monkeypatch):
    one = settling.settled(builders.valued(builders.received()[0]))
    client = people.signed_in(people.matt_accountant())
    with monkeypatch.context() as broken:
        broken.setattr("custody.actions.issue_settlement.render_settlement", lambda *_, **__: 1 / 0)
        answer = client.post(f"/settlement/paper/{one.number}/", follow=True).content.decode()
    assert "The statement could not be written. The settlement stands; issue its paper again." in answer
    assert "Issue the statement" in answer
    assert not one.documents.exists()
    assert "paper missing" in client.get("/settlement/").content.decode()
    assert "is issued: open it" in client.post(f"/settlement/paper/{one.number}/", follow=True).content.decode()


def test_what_a_later_assay_said_does_not_change_the_paper():
    lot = builders.valued(builders.received()[0])
    one = settling.settled(lot)
    before = reading.figures(paper(one))
    builders.valued(builders.fresh(lot.number), Au=810_000, Ag=150_000)
    assert reading.figures(paper(one)) == before


def test_consumed_samples_are_settled_too():
    (lot,) = builders.received()
    lot = builders.handed_over(lot, people.sam_sampler(), "LAB")
    record_step(
        kind=Kind.SAMPLE,
        inputs=[Take(lot.number, 1_000)],
        outputs=[],
        losses=(Lose(Cause.SAMPLE, 1_000),),
        at=timezone.now(),
        by=people.sam_sampler(),
    )
    one = settling.settled(builders.valued(builders.fresh(lot.number)))
    assert one.lines.get(metal="Au").content_mg == 800_000
    assert "Au 0.800 g" in reading.text(paper(one))
