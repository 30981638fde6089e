"""Solutions and water: what PostgreSQL asks of the assay of a solution, and of what leaves by the drain."""

from contextlib import contextmanager
from datetime import timedelta

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from custody import errors
from custody.actions import _post
from custody.actions._sign import Signature
from custody.actions.assay import accept, determine
from custody.actions.runs import let_overflow
from custody.actions.solutions import Found, accept_solution, assay_solution, set_effluent_limits
from custody.actions.tanks import set_vessel
from custody.actions.work import Add, Lose, Make, Take, correct_lot, record_step, reverse
from custody.calc.apportion import withdraw
from custody.models import Lot, Operation, SolutionAcceptance, SolutionAssay, SolutionFigure
from custody.queries.verify import verify
from custody.terms import METALS, Addition, Cause, Form, Kind
from tests import builders, people

pytestmark = pytest.mark.django_db

#: 40 CFR 421.262, spent plating solutions, most of one day: 1.900 mg Cu, 1.460 mg Zn, 0.300 mg precious metals a litre.
PUBLISHED = {"Cu": (None, 1_900), "Zn": (None, 1_460), "Au": (None, 300), "pH": (750, 1_000)}
CLEAN = {"Cu": Found(1_900), "Zn": Found(50, below=True), "Au": Found(300), "Ag": Found(50, below=True)}


def charged(grams=1000, water=99_000_000, vessel="VESSEL-1", **ppm):
    """A content in a vessel: a lot dissolved in so much water, milligrams."""
    builders.places()
    (lot,) = builders.ready(grams, **ppm)
    posted = record_step(
        kind=Kind.CHARGE, step=Kind.NEUTRALISE, inputs=[Take(lot.number)], at=timezone.now(),
        by=people.otto_operator(), additions=(Add(Addition.WATER, water),), place=builders.place(vessel),
        outputs=[Make(Form.IN_PROCESS, lot.gross_mg + water, metals_of(lot), vessel=vessel)],
    )  # fmt: skip
    return builders.fresh(posted.lots[0])


def water(grams=1000, **ppm):
    """Treated water: the content of a vessel carried whole to a lot."""
    content = charged(grams, **ppm)
    posted = record_step(
        kind=Kind.FINISH, inputs=[Take(content.number)], at=timezone.now(), by=people.otto_operator(),
        outputs=[Make(Form.SOLUTION, content.gross_mg, metals_of(content), place="TANK-1")],
        reason="Treated water to its tank", countersign=signed(),
    )  # fmt: skip
    return builders.fresh(posted.lots[0])


def metals_of(lot):
    return dict(zip(METALS, lot.metals_mg, strict=True))


def signed():
    return Signature(people.mona_manager(), "Seen")


def assayed(lot, figures=None, *, litres=100, at=None, by=None, **more):
    return assay_solution(
        lot=lot.number, volume_ml=litres * 1000, density_mg_ml=1000, figures=figures or CLEAN, method="ICP",
        at=at or timezone.now(), by=by or people.anna_assayer(), **{"ph_centi": 850} | more,
    )  # fmt: skip


def accepted(assay, by=None):
    return accept_solution(
        assay=assay, at=timezone.now(), by=by or people.ada_assayer(), reason="Assayed", countersign=signed()
    )


def limits(**changes):
    return set_effluent_limits(
        valid_from=timezone.localdate(), limits=PUBLISHED | changes, note="permit", at=timezone.now(),
        by=people.mona_manager(),
    )  # fmt: skip


def discharge(lot, gross_mg=None):
    lot = builders.fresh(lot.number)
    gross = gross_mg or lot.gross_mg
    metals = lot.metals_mg if gross == lot.gross_mg else withdraw(lot.gross_mg, lot.metals_mg, gross)
    return record_step(
        kind=Kind.DISCHARGE, inputs=[Take(lot.number, gross_mg)], outputs=[], at=timezone.now(),
        by=people.otto_operator(), losses=(Lose(Cause.EFFLUENT, gross, dict(zip(METALS, metals, strict=True))),),
    )  # fmt: skip


def test_an_accepted_assay_gives_gross_and_metals_and_posts_the_difference():
    """By hand: 98.5 L × 1.02 g/mL = 100.47 kg; × 8012 mg/L Au = 789.182 g, × 1.5 mg/L = 147.75 mg, half to even 148."""
    content = charged()
    figures = {"Au": Found(8_012_000), "Ag": Found(1_500), "Pt": Found(50, below=True), "Ni": Found(12_000)}
    assay = assay_solution(
        lot=content.number, volume_ml=98_500, density_mg_ml=1020, figures=figures, method="ICP spectrometry",
        at=timezone.now(), by=people.anna_assayer(),
    )  # fmt: skip
    with pytest.raises(errors.CountersignatureNeeded):
        accept_solution(assay=assay, at=timezone.now(), by=people.ada_assayer())
    posted = accepted(assay)
    now = builders.fresh(content.number)
    assert now.columns_mg == (100_470_000, 789_182, 148, 5, 0, 0)
    (loss,) = Operation.objects.get(pk=posted.id).movements.filter(side="loss")
    assert (loss.what, loss.gross_mg, loss.au_mg) == ("measurement difference", -470_000, 800_000 - 789_182)
    assert verify().ok, verify().as_document()


def refuses(refusal, act):
    """PostgreSQL refuses, and nothing is recorded."""
    count = Operation.objects.count()
    with pytest.raises(refusal) as told:
        act()
    assert Operation.objects.count() == count
    return told.value.sentence


def test_who_recorded_an_assay_does_not_accept_it():
    assay = assayed(charged())
    refuses(errors.AcceptedByAnother, lambda: accepted(assay, by=people.anna_assayer()))


def test_an_assay_is_of_its_own_solution_and_accepted_once():
    content = charged()
    assay = assayed(content)
    (gold,) = builders.ready(10)
    asked = {"kind": "value", "at": timezone.now(), "by": people.ada_assayer().pk, "solution": assay.number}
    refuses(errors.SolutionRule, lambda: _post.post(asked | {"lot": gold.number}))
    refuses(errors.SolutionRule, lambda: _post.post(asked | {"lot": content.number, "source": "api"}))
    refuses(errors.SolutionRule, lambda: _post.post(asked | {"lot": content.number, "solution": "TA-NONE"}))
    heavier = SolutionAssay.objects.create(
        number="TA-HEAVY", lot=content, at=timezone.now(), by=people.anna_assayer(), method="ICP", volume_ml=1000,
        density_mg_ml=1000,
    )  # fmt: skip
    heavier.figures.create(substance="Cu", ug_l=1_000_001_000)
    assert "Au is in solution" in refuses(errors.SolutionRule, lambda: accepted(heavier))
    heavier.figures.create(substance="Au", ug_l=1), heavier.figures.create(substance="Ag", ug_l=1)
    assert "weigh more" in refuses(errors.SolutionRule, lambda: accepted(heavier))
    early = {"at": assay.at - timedelta(microseconds=1)}
    assert "later than" in refuses(errors.SolutionRule, lambda: _post.post(asked | {"lot": content.number} | early))
    posted = accepted(assay)
    refuses(errors.SolutionRule, lambda: accepted(assay))
    reverse(operation=Operation.objects.get(pk=posted.id), reason="Wrong tank", at=timezone.now(),
            by=people.mona_manager())  # fmt: skip
    assert "record the assay anew" in refuses(errors.SolutionRule, lambda: accepted(assay))
    accepted(assayed(content, at=assay.at))
    assert SolutionAcceptance.objects.count() == 2


def test_an_assay_of_what_was_worked_since_is_stale():
    content = charged()
    old, newer = assayed(content), assayed(content)
    accepted(newer)
    assert newer.number not in refuses(errors.SolutionStale, lambda: accepted(old)), "a later one stands"
    later = assayed(content)
    content.refresh_from_db()
    record_step(
        kind=Kind.DRAW, inputs=[Take(content.number, 1_000, {})], at=timezone.now(), by=people.otto_operator(),
        outputs=[Make(Form.CAKE, 1_000)],
    )  # fmt: skip
    refuses(errors.SolutionStale, lambda: accepted(later))
    reverse(operation=Operation.objects.latest("id"), reason="Not this tank", at=timezone.now(),
            by=people.otto_operator())  # fmt: skip
    accepted(later)


def test_an_earlier_assay_may_be_accepted_late():
    """Accepting the first after the second was taken, not accepted: the liquor is what it was."""
    content = charged()
    first, second = assayed(content), assayed(content)
    accepted(first)
    accepted(second)
    assert SolutionAcceptance.objects.count() == 2


def test_without_limits_nothing_is_discharged():
    lot = water()
    accepted(assayed(lot))
    refuses(errors.NoEffluentLimits, lambda: discharge(lot))


def test_water_is_discharged_as_it_was_assayed():
    limits()
    lot = water()
    refuses(errors.EffluentUnassayed, lambda: discharge(lot))
    assay = assayed(lot)
    refuses(errors.EffluentUnassayed, lambda: discharge(lot))
    posted = accepted(assay)
    discharge(lot, 40_000_000)
    discharge(lot, 10_000_000)
    correct_lot(
        lot=lot.number, gross_mg=49_000_000, fine_mg=metals_of(builders.fresh(lot.number)), reason="Level read again",
        book_mg=builders.fresh(lot.number).columns_mg, at=timezone.now(), by=people.matt_accountant(),
        countersign=signed(),
    )  # fmt: skip
    refuses(errors.EffluentUnassayed, lambda: discharge(lot))
    assert Operation.objects.get(pk=posted.id).kind == "value"


def test_a_reversed_acceptance_opens_no_drain():
    limits()
    lot = water()
    posted = accepted(assayed(lot))
    reverse(operation=Operation.objects.get(pk=posted.id), reason="Wrong tank", at=timezone.now(),
            by=people.mona_manager())  # fmt: skip
    refuses(errors.EffluentUnassayed, lambda: discharge(lot))


def test_every_limited_substance_is_measured():
    limits()
    lot = water()
    accepted(assayed(lot, {"Cu": Found(100), "Au": Found(100), "Ag": Found(1)}))
    assert refuses(errors.EffluentUnmeasured, lambda: discharge(lot)).startswith("Zn of lot")
    accepted(assayed(lot, ph_centi=None))
    assert refuses(errors.EffluentUnmeasured, lambda: discharge(lot)).startswith("pH of lot")


@pytest.mark.parametrize(
    ("changes", "more", "substance"),
    [
        ({"Cu": Found(1_901)}, {}, "Cu"),
        ({"Zn": Found(1_461, below=True)}, {}, "Zn"),
        ({}, {"ph_centi": 749}, "pH"),
        ({}, {"ph_centi": 1_001}, "pH"),
        ({}, {"ph_centi": 750}, ""),
        ({}, {"ph_centi": 1_000}, ""),
    ],
)
def test_what_is_outside_its_limit_stays(changes, more, substance):
    """The limits of 40 CFR 421.262 (spent plating solutions), at them and one step past them."""
    limits()
    lot = water()
    accepted(assayed(lot, CLEAN | changes, **more))
    if substance:
        assert refuses(errors.EffluentOverLimit, lambda: discharge(lot)).startswith(f"{substance} of lot")
    else:
        discharge(lot)
        lost = Operation.objects.latest("id").movements.get(side="loss")
        assert (lost.what, lost.gross_mg, lost.au_mg, lost.cu_mg) == ("effluent", 100_000_000, 30, 190)
        assert verify().ok, verify().as_document()


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    litres=st.integers(1, 400_000),
    density=st.integers(1, 3_000),
    found=st.fixed_dictionaries({metal: st.integers(0, 30_000_000) for metal in METALS}),
)
def test_random_assays_never_break_the_book(litres, density, found):
    """Any volume, density and figures: refused whole, or taken and every invariant stands."""
    with undone():
        _random_assay(litres, density, found)


@contextmanager
def undone():
    """Each example begins with the same book."""
    before = transaction.savepoint()
    yield
    transaction.savepoint_rollback(before)


def _random_assay(litres, density, found):
    content = charged(20)
    figures = {metal: Found(ug_l) for metal, ug_l in found.items()}
    try:
        assay = assay_solution(
            lot=content.number, volume_ml=litres, density_mg_ml=density, figures=figures, method="ICP spectrometry",
            at=timezone.now(), by=people.anna_assayer(),
        )  # fmt: skip
        accepted(assay)
    except errors.Refusal:
        assert builders.fresh(content.number).columns_mg == content.columns_mg
    assert verify().ok, verify().as_document()


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(parts=st.lists(st.tuples(st.integers(1, 30_000), st.integers(1, 2)), min_size=1, max_size=5))
def test_overflow_along_a_chain_keeps_every_metal_and_origin(parts):
    """Three tanks in a row: so many litres of the first or second go on; every milligram and every origin stays."""
    with undone():
        _overflow_along(parts)


def _overflow_along(parts):
    content = charged(50, Au=500_123, Ag=333_331, Cu=100_007)
    chain = [builders.place(code) for code in ("VESSEL-1", "VESSEL-2", "TANK-1")]
    for one, following in zip(chain, [*chain[1:], None], strict=True):
        set_vessel(place=one, capacity_ml=500_000, overflows_to=following, by=people.mona_manager())
    for millilitres, tank in parts:
        held = Lot.objects.filter(place=chain[tank - 1], form=Form.IN_PROCESS, gross_mg__gt=millilitres * 1000).first()
        if held is None:
            continue
        let_overflow(
            content=held, volume_ml=millilitres, step=Kind.CEMENT_COPPER, at=timezone.now(),
            by=people.otto_operator(),
        )  # fmt: skip
    held = Lot.objects.filter(place__in=chain, gross_mg__gt=0)
    assert tuple(map(sum, zip(*(lot.columns_mg for lot in held), strict=True))) == content.columns_mg
    assert {lot.form for lot in held} == {Form.IN_PROCESS}
    assert verify().ok, verify().as_document()


def test_nothing_is_added_to_an_accepted_assay():
    assay = assayed(charged())
    SolutionFigure.objects.create(assay=assay, substance="Ni", ug_l=10)
    accepted(assay)
    with pytest.raises(errors.SolutionRule, match="nothing is added"), _post.refusals(), transaction.atomic():
        SolutionFigure.objects.create(assay=assay, substance="Pb", ug_l=10)


def test_an_assay_of_a_drawn_lot_moves_nothing_into_a_content_that_was_assayed_since():
    """The tank was measured after the draw: what the sand lacks later is a difference, not more gold in the tank."""
    content = charged()
    drawn = record_step(
        kind=Kind.DRAW, inputs=[Take(content.number, 300_000, {"Au": 200_000})], at=timezone.now(),
        outputs=[Make(Form.GOLD_SAND, 300_000, {"Au": 200_000}, place="VESSEL-1")], by=people.otto_operator(),
    )  # fmt: skip
    sand = builders.fresh(drawn.lots[0])
    accepted(assayed(builders.fresh(content.number), CLEAN))
    measured = builders.fresh(content.number).columns_mg
    found = determine(lot=sand, ppm={"Au": 600_000}, method="fire assay", at=timezone.now(), by=people.anna_assayer())
    accept(determination=found, at=timezone.now(), by=people.ada_assayer(), reason="Wet sand",
           countersign=signed())  # fmt: skip
    assert builders.fresh(sand.number).au_mg == 180_000
    assert builders.fresh(content.number).columns_mg == measured
    assert verify().ok, verify().as_document()


def test_a_discharge_keeps_no_metal_back():
    """Its metal written on a gram of cake, or called a difference, the drain would look clean."""
    limits()
    lot = water()
    accepted(assayed(lot))
    lot = builders.fresh(lot.number)
    kept = Make(Form.CAKE, 1_000, metals_of(lot), place="TANK-1")
    for outputs, losses in (
        ([kept], (Lose(Cause.EFFLUENT, lot.gross_mg - 1_000),)),
        ([], (Lose(Cause.EFFLUENT, lot.gross_mg), Lose(Cause.DIFFERENCE, 0, metals_of(lot)))),
    ):
        refuses(errors.CauseNotAllowed, lambda outputs=outputs, losses=losses: record_step(
            kind=Kind.DISCHARGE, inputs=[Take(lot.number)], outputs=outputs, losses=losses, at=timezone.now(),
            by=people.otto_operator(),
        ))  # fmt: skip


def test_only_a_discharge_lets_metal_leave_with_water():
    """Poured away at the finish, a liquor would need no assay and no permit."""
    content = charged()
    gross, *metals = content.columns_mg
    poured = Lose(Cause.EFFLUENT, gross, dict(zip(METALS, metals, strict=True)))

    def finish(loss, *outputs):
        return record_step(
            kind=Kind.FINISH, inputs=[Take(content.number)], outputs=list(outputs), losses=(loss,), at=timezone.now(),
            by=people.otto_operator(), reason="Poured away", countersign=signed(),
        )  # fmt: skip

    told = refuses(errors.EffluentUndischarged, lambda: finish(poured))
    assert "have it assayed, and discharge it" in told
    kept = Make(Form.SOLUTION, gross - 100_000, dict(zip(METALS, metals, strict=True)), place="VESSEL-1")
    finish(Lose(Cause.EFFLUENT, 100_000), kept)
    assert verify().ok, verify().as_document()


def test_a_draw_is_not_undone_under_an_assay_of_what_it_left():
    """Given back, the drawn gold would stand in the tank besides what was measured there."""
    content = charged()
    drawn = record_step(
        kind=Kind.DRAW, inputs=[Take(content.number, 300_000, {"Au": 200_000})], at=timezone.now(),
        outputs=[Make(Form.GOLD_SAND, 300_000, {"Au": 200_000}, place="VESSEL-1")], by=people.otto_operator(),
    )  # fmt: skip
    measured = accepted(assayed(builders.fresh(content.number), CLEAN))
    draw, value = (Operation.objects.get(pk=posted.id) for posted in (drawn, measured))
    said = {"reason": "Entered twice", "by": people.otto_operator()}
    told = refuses(errors.ReverseFirst, lambda: reverse(operation=draw, at=timezone.now(), **said))
    assert value.number in told
    reverse(operation=value, at=timezone.now(), **said)
    reverse(operation=draw, at=timezone.now(), **said)
    assert builders.fresh(content.number).columns_mg == content.columns_mg
    assert verify().ok, verify().as_document()
