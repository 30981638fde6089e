"""Writers who want the same metal: nothing is overdrawn, nothing deadlocks, everything is recorded once.

Each race has its control: the same race with the guard taken away shows that it would be lost.
"""

from collections import Counter
from random import Random
from uuid import uuid4

import pytest
from django.utils import timezone

from custody.actions._post import post
from custody.models import Lot, Movement, Operation
from tests import builders, people
from tests.concurrency.conftest import posting, recorded, refusals

WRITERS = 16
LOCKS = "custody_lock_lots(text[])"


@pytest.fixture
def hundred_grams(committed_db):
    """A lot of 100 g, of two origins, in Otto's hands."""
    one, two = builders.ready(60, 40, Au=900_000)
    return melted(one, two)


def melted(*lots):
    request = {
        "kind": "melt", "at": timezone.now(), "by": people.otto_operator().pk,
        "inputs": [{"lot": lot.number} for lot in lots],
        "outputs": [{"form": "melt", "gross_mg": sum(lot.gross_mg for lot in lots),
                     "fine_mg": {"Au": sum(lot.au_mg for lot in lots)}}],
    }  # fmt: skip
    return builders.fresh(post(request).lots[0])


def taking(lot, gross, at):
    return posting(
        kind="divide", at=at, by=people.otto_operator().pk, inputs=[{"lot": lot.number, "gross_mg": gross}],
        outputs=[{"form": "granules", "gross_mg": gross, "fine_mg": {"Au": gross * 9 // 10}}],
    )  # fmt: skip


def test_sixteen_writers_each_take_sixty_of_a_hundred_grams(hundred_grams, writers, sound):
    at = timezone.now()
    results = writers([taking(hundred_grams, 60_000, at)] * WRITERS)
    assert len(recorded(results)) == 1
    assert refusals(results) == ["overdraw"] * (WRITERS - 1)
    assert builders.fresh(hundred_grams.number).gross_mg == 40_000


def test_control_without_the_lock_the_lot_is_overdrawn(hundred_grams, writers, rewritten):
    """Read, then write: every writer sees a hundred grams. The CHECK on the row still stands, then not even it."""
    owner = rewritten(LOCKS, " FOR UPDATE", "", "RETURN locked;", "PERFORM pg_sleep(0.3); RETURN locked;")
    at = timezone.now()
    results = writers([taking(hundred_grams, 60_000, at)] * 4)
    assert len(recorded(results)) == 1
    assert set(refusals(results)) <= {"overdraw", "metals_over_gross"}
    owner.execute("ALTER TABLE custody_lot DROP CONSTRAINT overdraw, DROP CONSTRAINT metals_over_gross")
    results = writers([taking(hundred_grams, 30_000, at)] * 4)
    assert len(recorded(results)) == 4
    assert builders.fresh(hundred_grams.number).gross_mg == 40_000 - 120_000


def test_many_small_withdrawals_add_up(hundred_grams, writers, sound):
    """What is taken and what is left is a hundred grams, whoever came first, and of both origins."""
    at = timezone.now()
    rounds = [writers([taking(hundred_grams, 10, at)] * WRITERS) for _ in range(6)]
    assert sum(len(recorded(results)) for results in rounds) == 6 * WRITERS
    assert builders.fresh(hundred_grams.number).gross_mg == 100_000 - 6 * WRITERS * 10


def test_one_form_sent_by_eight_threads_is_recorded_once(hundred_grams, writers, sound):
    key = str(uuid4())
    query, (request,) = taking(hundred_grams, 10_000, timezone.now())
    request.obj.update(request_key=key, request_sha256="ab" * 32)
    results = writers([(query, (request,))] * 8)
    assert len(recorded(results)) == 1
    assert len({(result["id"], result["number"], *result["lots"]) for result in results}) == 1
    assert Operation.objects.filter(request_key=key).count() == 1


def pair(first, second, at, random):
    """Parts of two lots together; some lose a little, some get a little back."""
    take = [random.randint(20, 90), random.randint(20, 90)]
    lost = random.choice((0, 0, 3, -1))
    losses = [{"cause": "slag", "gross_mg": lost, "fine_mg": {"Au": lost}}] if lost else []
    return posting(
        kind="melt", at=at, by=people.otto_operator().pk, source="history",
        inputs=[{"lot": lot.number, "gross_mg": mg * 10} for lot, mg in zip((first, second), take, strict=True)],
        outputs=[
            {"form": "melt", "gross_mg": sum(take) * 10 - lost, "fine_mg": {"Au": sum(take) * 9 - lost}}
        ],
        losses=losses,
    )  # fmt: skip


def pairs(lots, at, rounds):
    random = Random(7)
    chosen = [random.sample(lots, 2) for _ in range(WRITERS * rounds)]
    return [pair(*(two if n % 2 else two[::-1]), at, random) for n, two in enumerate(chosen)]


def plenty(count):
    return [melted(lot) for lot in builders.ready(*[100] * count, Au=900_000)]


def test_pairs_of_lots_in_any_order_do_not_deadlock(committed_db, writers, sound):
    lots = plenty(4)
    calls = pairs(lots, timezone.now(), 8)
    results = [result for n in range(8) for result in writers(calls[n * WRITERS : (n + 1) * WRITERS])]
    assert Counter(refusals(results)) == Counter()
    assert len(recorded(results)) == 8 * WRITERS


def test_control_locks_in_the_order_named_deadlock(committed_db, writers, rewritten):
    one, two = plenty(2)
    rewritten(LOCKS, "ORDER BY id FOR UPDATE LOOP", "ORDER BY id FOR UPDATE LOOP PERFORM pg_sleep(0.3);")
    random = Random(1)
    at = timezone.now()
    calls = [pair(one, two, at, random), pair(two, one, at, random)]
    assert len(recorded(writers(calls))) == 2
    rewritten(LOCKS, "ORDER BY id FOR UPDATE", "ORDER BY array_position(numbers, number::text) FOR UPDATE")
    rewritten(LOCKS, "FOR l IN SELECT * FROM custody_lot WHERE number = ANY (numbers) ORDER BY array_position(numbers,"
              " number::text) FOR UPDATE LOOP",
              "FOR place IN 1..cardinality(numbers) LOOP SELECT * INTO l FROM custody_lot WHERE number = numbers[place]"
              " FOR UPDATE;")  # fmt: skip
    assert refusals(writers(calls)) == ["40P01"]


def test_two_recoveries_bring_no_milligram_back_twice(committed_db, writers, sound):
    """What was lost once comes back once; the rest is a difference."""
    (source, *lots) = plenty(5)
    lossy = posting(
        kind="melt", at=timezone.now(), by=people.otto_operator().pk, inputs=[{"lot": source.number}],
        outputs=[{"form": "melt", "gross_mg": source.gross_mg - 40, "fine_mg": {"Au": source.au_mg - 40}}],
        losses=[{"cause": "fume", "gross_mg": 40, "fine_mg": {"Au": 40}}],
    )  # fmt: skip
    assert len(recorded(writers([lossy]))) == 1
    at = timezone.now()
    results = writers([
        posting(
            kind="recycle", at=at, by=people.otto_operator().pk, inputs=[{"lot": lot.number}],
            outputs=[{"form": "melt", "gross_mg": lot.gross_mg + 40, "fine_mg": {"Au": lot.au_mg + 40}}],
            losses=[{"cause": "fume", "gross_mg": -40, "fine_mg": {"Au": -40}}],
        )
        for lot in lots
    ])  # fmt: skip
    assert len(recorded(results)) == 4
    back = Movement.objects.filter(side="loss", what="fume", au_mg__lt=0)
    assert [line.au_mg for line in back] == [-40]


def test_one_operation_is_reversed_once(hundred_grams, writers, sound):
    made = Operation.objects.get(pk=hundred_grams.created_by_id)
    undo = posting(
        kind="reverse", at=timezone.now(), by=people.otto_operator().pk, reverses=made.number, reason="Twice"
    )
    results = writers([undo] * 8)
    assert len(recorded(results)) == 1
    assert set(refusals(results)) == {"reversed_already"}


def test_one_serial_is_stamped_once(committed_db, writers, sound):
    lots = plenty(4)
    at = timezone.now()
    results = writers([
        posting(
            kind="cast", at=at, by=people.otto_operator().pk, inputs=[{"lot": lot.number}],
            outputs=[{"form": "bar", "serial": "A1", "gross_mg": lot.gross_mg, "fine_mg": {"Au": lot.au_mg}}],
        )
        for lot in lots
    ])  # fmt: skip
    assert len(recorded(results)) == 1
    assert refusals(results) == ["unique_uncancelled_bar"] * 3


def test_one_number_is_given_once(committed_db, writers, sound):
    lots = plenty(4)
    at = timezone.now()
    results = writers([
        posting(
            kind="divide", number=number, at=at, by=people.otto_operator().pk, inputs=[{"lot": lot.number}],
            outputs=[{"lot": made, "form": "granules", "gross_mg": lot.gross_mg, "fine_mg": {"Au": lot.au_mg}}],
        )
        for lot, number, made in zip(lots, ("N-1", "N-1", None, None), ("M-1", "M-2", "M-3", "M-3"), strict=True)
    ])  # fmt: skip
    assert len(recorded(results)) == 2
    assert sorted(refusals(results)) in (
        ["lot_number", "operation_number"], ["lot_number", "number_taken"],
        ["lot_taken", "operation_number"], ["lot_taken", "number_taken"],
    )  # fmt: skip


def test_two_valuations_at_once_receive_the_metal_once(committed_db, writers, sound):
    """The samples that both found are valued by one of them; the other is refused as busy, or corrects the first."""
    (lot,) = builders.received(50_000)
    lot = builders.handed_over(lot, people.otto_operator())
    for _ in range(2):
        post({"kind": "sample", "at": timezone.now(), "by": people.otto_operator().pk,
              "inputs": [{"lot": lot.number, "gross_mg": 500}],
              "outputs": [{"form": "sample", "gross_mg": 500}]})  # fmt: skip
    at = timezone.now()
    results = writers([
        posting(
            kind="value", source="history", at=at, by=people.otto_operator().pk, lot=lot.number, fine_mg={"Au": gold}
        )
        for gold in (40_000, 41_000, 42_000, 43_000)
    ])  # fmt: skip
    assert recorded(results)
    assert set(refusals(results)) <= {"busy"}
    assert Lot.objects.filter(form="sample", valued=True).count() == 2
