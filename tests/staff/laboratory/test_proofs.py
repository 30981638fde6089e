"""The control chart of proofs: which pieces count, and that a drift is said."""

from fractions import Fraction

import pytest
from django.utils import timezone

from custody.actions.worksheets import discard_piece
from custody.queries.proofs import BASELINE, proof_chart, proof_points
from custody.terms import PieceRole
from tests import builders, charges, people
from tests.charges import B, C, P

pytestmark = pytest.mark.django_db
TAKEN = 200_000


@pytest.fixture
def lot():
    builders.places()
    return builders.received()[0]


def proofs(lot, *cornets_ug, purity_ppm=1_000_000):
    """A worksheet whose proofs weigh so much when they come out of the acid."""
    worksheet = charges.opened(lot, proofs=len(cornets_ug), purity_ppm=purity_ppm)
    charges.read(worksheet, PieceRole.PROOF, *({P: TAKEN, C: cornet} for cornet in cornets_ug))
    return worksheet


def test_a_proof_is_charted_against_the_pure_metal_taken(lot):
    """0.45016 g of proof gold gave 0.45025 g (Beringer, p. 154): 0.09 mg, 0.19993 per mille of what was taken."""
    worksheet = charges.opened(lot, proofs=1)
    charges.read(worksheet, PieceRole.PROOF, {P: 450_160, C: 450_250})
    (point,) = proof_points("Au")
    assert point.surcharge == Fraction(90 * 1000, 450_160)
    assert (point.worksheet, point.taken_ug, point.found_ug) == (worksheet.number, 450_160, 450_250)


def test_impure_proof_metal_is_taken_at_its_purity(lot):
    proofs(lot, 199_900, purity_ppm=999_500)  # 200 mg at 999.5 hold 199.900 mg
    assert [point.surcharge for point in proof_points("Au")] == [0]


def test_discarded_and_unfinished_proofs_are_left_out(lot):
    worksheet = proofs(lot, 200_010, 260_000)
    last = worksheet.pieces.filter(role=PieceRole.PROOF).last()
    discard_piece(
        worksheet=worksheet, position=last.position, reason="lost", at=timezone.now(), by=people.anna_assayer()
    )
    unfinished = charges.opened(lot, proofs=1)
    charges.read(unfinished, PieceRole.PROOF, {P: TAKEN})
    assert [point.found_ug for point in proof_points("Au")] == [200_010]


def test_silver_is_charted_by_its_beads(lot):
    worksheet = charges.opened(lot, metal="Ag", silver_proofs=1)
    charges.read(worksheet, PieceRole.SILVER_PROOF, {P: 400_000, B: 394_000})
    assert [point.surcharge for point in proof_points("Ag")] == [-15]
    assert not proof_points("Au")


def test_a_drift_is_said_and_seen(lot):
    """Twenty proofs that scatter by a few hundredths of a milligram, then a shift of two sigma that no dot shows."""
    steady = [200_010 + step for step in (0, 20, 0, -20, 10, -10, 0, 20, -20, 0) * 2]
    shifted = [200_044] * 10
    for start in range(0, len(steady + shifted), 5):
        proofs(lot, *(steady + shifted)[start : start + 5])
    chart = proof_chart("Au")
    assert len(chart.points) == BASELINE + 10
    assert chart.signals
    assert min(chart.signals) > BASELINE
    assert set(chart.signals.values()) == {"the average drifts high"}
    page = people.signed_in(people.anna_assayer()).get("/laboratory/proofs/").content.decode()
    assert f"Proof {max(chart.signals)} is out of control: the average drifts high" in page
    assert page.count('class="chart-signal"') == len(chart.signals)


def test_a_jump_is_above_the_limits(lot):
    proofs(lot, *(200_010, 200_020, 200_000, 200_010, 200_020) * 2)
    proofs(lot, 200_200)
    assert "above the limits" in proof_chart("Au").signals[11]


def test_two_proofs_have_no_limits_and_the_page_says_so(lot):
    proofs(lot, 200_010, 200_020)
    answer = people.signed_in(people.adam_auditor()).get("/laboratory/proofs/?metal=Au")
    assert "at least three proofs" in answer.content.decode()
    assert proof_chart("Au").individuals is None


@pytest.mark.parametrize("person", [people.cora_customer, people.stranger])
def test_customers_see_none(lot, person):
    assert people.signed_in(person()).get("/laboratory/proofs/").status_code == 403


@pytest.mark.parametrize("metal", ["Zz", "<b>", ""])
def test_another_metal_shows_gold(lot, metal):
    assert (
        "Proofs of Au"
        in people.signed_in(people.anna_assayer()).get(f"/laboratory/proofs/?metal={metal}").content.decode()
    )
