"""Two people who accept the same assay of a tank, and one who draws from it meanwhile: one difference, never two."""

import pytest
from django.utils import timezone

from custody.actions._post import post
from custody.actions.solutions import Found, assay_solution
from custody.models import Movement, SolutionAcceptance
from custody.terms import METALS
from tests import builders, people
from tests.concurrency.conftest import posting, recorded, refusals

WRITERS = 8
LOCKS = "custody_lock_lots(text[])"
VALUES = "custody_post_value(custody_operation,custody_rule,jsonb)"


@pytest.fixture
def tank(committed_db):
    """A content of 10 kg with 800 g of gold, and its assay by Anna that finds 20 mg less."""
    builders.places()
    people.ada_assayer()
    (lot,) = builders.ready()
    fine = dict(zip(METALS, lot.metals_mg, strict=True))
    posted = post({
        "kind": "charge", "step": "precipitate", "at": timezone.now(), "by": people.otto_operator().pk,
        "inputs": [{"lot": lot.number}], "additions": [{"what": "water", "gross_mg": 9_000_000}],
        "outputs": [{"form": "in process", "gross_mg": 10_000_000, "fine_mg": fine, "vessel": "VESSEL-1"}],
    })  # fmt: skip
    content = builders.fresh(posted.lots[0])
    assay = assay_solution(
        lot=content.number, volume_ml=10_000, density_mg_ml=1_000, method="ICP spectrometry", at=timezone.now(),
        figures={"Au": Found(79_998_000), "Ag": Found(15_000_000)}, by=people.anna_assayer(),
    )  # fmt: skip
    return content, assay


def accepting(tank, at):
    content, assay = tank
    return posting(kind="value", at=at, by=people.ada_assayer().pk, lot=content.number, solution=assay.number)


def test_an_assay_is_accepted_once_whoever_comes_first(tank, writers, sound):
    results = writers([accepting(tank, timezone.now())] * WRITERS)
    assert len(recorded(results)) == 1
    assert refusals(results) == ["solution"] * (WRITERS - 1)
    assert SolutionAcceptance.objects.count() == 1
    assert list(Movement.objects.filter(what="measurement difference").values_list("au_mg", flat=True)) == [20]


def test_control_without_the_lock_only_the_row_itself_is_alone(tank, writers, rewritten):
    """Everybody finds the assay free; what refuses them is the unique row, without a sentence of its own."""
    rewritten(LOCKS, " FOR UPDATE", "", "RETURN locked;", "PERFORM pg_sleep(0.3); RETURN locked;")
    rewritten(VALUES, "PERFORM pg_advisory_xact_lock(", "PERFORM (")
    results = writers([accepting(tank, timezone.now())] * 4)
    assert "solution" not in refusals(results)
    assert SolutionAcceptance.objects.count() == 1


def test_what_is_drawn_meanwhile_makes_the_assay_stale_or_follows_it(tank, writers, sound):
    content, _ = tank
    at = timezone.now()
    drawing = posting(
        kind="draw", at=at, by=people.otto_operator().pk,
        inputs=[{"lot": content.number, "gross_mg": 500, "fine_mg": {}}],
        outputs=[{"form": "cake", "gross_mg": 500}],
    )  # fmt: skip
    results = writers([accepting(tank, at), drawing])
    assert refusals(results) in ([], ["solution_stale"])
    assert builders.fresh(content.number).au_mg == (799_980 if SolutionAcceptance.objects.exists() else 800_000)
