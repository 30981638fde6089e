"""What is lost while another reverses a loss: every writer takes the lots first, then the losses, and nobody waits in a
circle."""

import pytest
from django.utils import timezone

from custody.actions._post import post
from refinery import roles
from tests import builders, people
from tests.concurrency.conftest import outcome, posting
from tests.concurrency.test_months_and_vessels import second, waits

LOCKS = "custody_post_reversal(custody_operation,jsonb)"


@pytest.fixture
def loss(committed_db):
    """A melt that lost 20 mg as fume; gives its request, its product and its operation."""
    builders.places()
    (lot,) = builders.ready()
    posted = post(melting(lot, 20))
    return builders.fresh(posted.lots[0]), posted.number


def melting(lot, lost):
    return {
        "kind": "melt", "at": timezone.now(), "by": people.otto_operator().pk, "inputs": [{"lot": lot.number}],
        "outputs": [{"form": "melt", "gross_mg": lot.gross_mg - lost,
                     "fine_mg": {"Au": lot.au_mg - lost, "Ag": lot.ag_mg}}],
        "losses": [{"cause": "fume", "gross_mg": lost, "fine_mg": {"Au": lost}}],
    }  # fmt: skip


def raced(loss, connect_as):
    """A reversal waits for the product of its melt, which a step under way holds; then that step loses something."""
    lot, number = loss
    holder, undoing, monitor = connect_as(roles.APP), connect_as(roles.APP), connect_as("postgres")
    owner = connect_as(roles.OWNER)
    owner.autocommit = False
    owner.execute("SELECT FROM custody_lot WHERE number = %s FOR UPDATE", (lot.number,))
    reversing = posting(
        kind="reverse", at=timezone.now(), by=people.otto_operator().pk, reverses=number, reason="Twice"
    )
    thread, undone = second(undoing, reversing)
    assert waits(monitor, undoing.info.backend_pid)
    holder.execute("SET lock_timeout = '1s'")
    (other,) = builders.ready(10)
    free = outcome(holder, *posting(**melting(other, 5)))
    owner.rollback()
    thread.join()
    return free, undone[0]


def test_a_reversal_that_waits_for_its_lots_holds_up_no_other_loss(loss, connect_as, sound):
    free, undone = raced(loss, connect_as)
    assert free["number"]
    assert undone["number"]


def test_control_with_the_losses_first_a_reversal_holds_up_every_loss(loss, connect_as, rewritten):
    rewritten(LOCKS, "BEGIN\n", "BEGIN\n    PERFORM custody_lock_losses(true);\n")
    free, undone = raced(loss, connect_as)
    assert free == "55P03", "the step waits for a reversal that waits for a lot: a circle, if it is the step's"
    assert undone["number"]
