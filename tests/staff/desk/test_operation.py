"""The page of an operation is its balance and its seal; reversing it names what stands in the way."""

import hashlib

import pytest
from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.routes import order_route
from custody.actions.work import ForOrder, Lose, Make, Take, record_step
from custody.calc.route import Step
from custody.models import Operation
from custody.queries import operation_life
from custody.terms import Cause, Form, Kind
from tests import builders, people
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db


def melted(lost_mg: int = 0, **more) -> Operation:
    (lot,) = builders.ready()
    posted = record_step(
        kind=Kind.MELT,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, 999_000 - lost_mg, {"Au": 800_000 - lost_mg, "Ag": 150_000})],
        losses=(Lose(Cause.SLAG, 1_000 + lost_mg, {"Au": lost_mg}),),
        at=timezone.now(),
        by=people.otto_operator(),
        **more,
    )
    return Operation.objects.get(pk=posted.id)


def page(operation, who=people.adam_auditor) -> str:
    return people.signed_in(who()).get(f"/operation/{operation.number}/").content.decode()


def test_the_lines_of_an_operation_balance():
    sides = operation_life.sides_of(melted(lost_mg=20))
    assert [(side.words, side.sum_mg[:3]) for side in sides] == [
        ("In", (1_000_000, 800_000, 150_000)),
        ("Out", (998_980, 799_980, 150_000)),
        ("Declared losses and differences", (1_020, 20, 0)),
    ]
    came, went = operation_life.balance_of(sides)
    assert came == went == (1_000_000, 800_000, 150_000, 0, 0, 0)


def test_the_page_shows_lines_losses_and_the_seal():
    operation = melted(lost_mg=20)
    said = page(operation)
    for words in ("slag", "1\u202f000.000", "998.980", "0.020", "Otto Flux"):
        assert words in said
    assert hashlib.sha256(operation.canonical.encode()).hexdigest() in said


def test_work_on_an_order_leads_to_the_order():
    (lot,) = builders.ready()
    order = order_route(
        lots=[lot.number], steps=(Step.AQUA_REGIA, Step.PRECIPITATE, Step.MELT), note="Tried", wanted_ppm=999_500,
        at=timezone.now(), by=people.otto_operator(),
    )  # fmt: skip
    posted = record_step(
        kind=Kind.GRANULATE,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.GRANULES, 1_000_000, {"Au": 800_000, "Ag": 150_000})],
        at=timezone.now(),
        by=people.otto_operator(),
        for_order=ForOrder(order, "aqua regia"),
    )
    assert f'href="/plant/orders/{order.number}/"' in page(Operation.objects.get(pk=posted.id))


def test_a_countersignature_shows_who_and_what_it_means():
    signed = {"reason": "The crucible cracked", "countersign": Signature(people.mona_manager(), "I saw it")}
    said = page(melted(lost_mg=5_000, **signed))
    for words in ("Mona Ravn", "I saw it", "The crucible cracked", "Over tolerance"):
        assert words in said


def test_the_metal_of_an_unvalued_line_is_not_zero():
    lot = builders.valued(builders.received()[0])
    value = Operation.objects.get(kind=Kind.VALUE)
    came = operation_life.sides_of(value)[0].lines[0]
    assert came.lot == lot.number
    assert came.shown_mg == (1_000_000, None, None, None, None, None)


# Reversing


def reverse(operation, who=people.otto_operator, **fields):
    data = body(**({"reason": "The wrong lot was taken"} | fields))
    return people.signed_in(who()).post(f"/reverse/{operation.number}/", data)


def test_a_reversal_links_both_ways():
    operation = melted()
    answer = reverse(operation)
    undoing = Operation.objects.get(reverses=operation)
    assert answer.url == f"/operation/{undoing.number}/"
    assert f"/operation/{undoing.number}/" in page(operation)
    assert f"/operation/{operation.number}/" in page(undoing)
    assert "/reverse/" not in page(operation, people.otto_operator)


def test_the_refusal_names_and_links_what_to_reverse_first():
    first = melted()
    lot = first.created_lots.get()
    later = record_step(
        kind=Kind.GRANULATE,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.GRANULES, lot.gross_mg, {"Au": lot.au_mg, "Ag": lot.ag_mg})],
        at=timezone.now(),
        by=people.otto_operator(),
    )
    answer = reverse(first)
    assert f"Reverse {later.number} first" in faults(answer)
    said = answer.content.decode()
    assert f'href="/operation/{later.number}/"' in said
    assert "The wrong lot was taken" in said
    assert not Operation.objects.filter(kind=Kind.REVERSE).exists()


def test_a_lot_handed_over_since_is_handed_back_first():
    operation = melted()
    builders.handed_over(operation.created_lots.get(), people.vera_vault(), "VAULT")
    assert "Have it handed back first" in faults(reverse(operation))


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"reason": "  "}, "Reason is missing"),
        ({"at": "2099-01-01T00:00"}, "in the future"),
        ({"at": "yesterday"}, "Give a date and a time"),
        ({"at": "2020-01-01T00:00"}, "Give a time after it"),
    ],
)
def test_a_reversal_that_cannot_be_is_refused(fields, sentence):
    operation = melted()
    answer = reverse(operation, **fields)
    assert sentence in faults(answer)
    assert not Operation.objects.filter(kind=Kind.REVERSE).exists()


def test_a_reversal_sent_twice_is_one():
    operation = melted()
    data = body(reason="Wrong lot")
    client = people.signed_in(people.otto_operator())
    first, second = (client.post(f"/reverse/{operation.number}/", data) for _ in range(2))
    assert first.url == second.url
    assert Operation.objects.filter(kind=Kind.REVERSE).count() == 1
