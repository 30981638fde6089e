"""One form sent twice at the same moment is one row, and both are told of it."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from uuid import uuid4

import pytest
from django.db import connections
from django.utils import timezone

from custody.actions.bar_types import set_aside_serials
from custody.actions.solutions import Found, assay_solution
from custody.actions.weigh import Weighed
from custody.actions.weigh_again import weigh_again
from custody.actions.work import Add, Make, Take, record_step
from custody.models import SerialRange, SolutionAssay, Weighing
from custody.terms import Addition, Form, Kind
from tests import builders, people

TIMES = 4


def at_once(act):
    """The same call by several at the same moment; what each was answered, or what stopped it."""
    start = Barrier(TIMES)

    def one(_):
        try:
            start.wait(20)
            return act().pk
        except Exception as stopped:
            return stopped
        finally:
            connections.close_all()

    with ThreadPoolExecutor(TIMES) as people_at_work:
        return list(people_at_work.map(one, range(TIMES)))


def a_range():
    mona, key = people.mona_manager(), uuid4()
    return SerialRange, lambda: set_aside_serials(
        mark="HFR", year=2030, head="Q", width=4, first=1, last=9, at=timezone.now(), by=mona, request_key=key
    )


def an_assay():
    (lot,) = builders.ready(100, Au=995_000)
    step = record_step(
        kind=Kind.CHARGE, step=Kind.DISSOLVE, inputs=[Take(lot.number)], at=timezone.now(), by=people.otto_operator(),
        additions=(Add(Addition.ACID, 900_000),),
        outputs=[Make(Form.IN_PROCESS, 1_000_000, {"Au": lot.au_mg}, vessel="VESSEL-1")],
    )  # fmt: skip
    anna, key = people.anna_assayer(), uuid4()
    return SolutionAssay, lambda: assay_solution(
        lot=step.lots[0], volume_ml=1_000, density_mg_ml=1_000, figures={"Au": Found(99_500_000)}, method="ICP",
        at=timezone.now(), by=anna, request_key=key,
    )  # fmt: skip


def a_weighing():
    builders.scale("BENCH-2")
    lot = builders.handed_over(builders.received(100_000)[0], people.sam_sampler(), "LAB")
    sam, key = people.sam_sampler(), uuid4()
    return Weighing, lambda: weigh_again(
        lot=lot, weighed=Weighed("BENCH-2", 100_000), at=timezone.now(), by=sam, request_key=key
    )


@pytest.mark.parametrize("what", [a_range, an_assay, a_weighing])
def test_each_is_answered_with_the_one_row(committed_db, what):
    builders.places()
    model, act = what()
    before = model.objects.count()
    answers = at_once(act)
    assert model.objects.count() == before + 1
    assert set(answers) == {model.objects.latest("pk").pk}
