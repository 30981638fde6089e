"""What the examination finds of exchanges of assays: planted by a superuser, past every trigger."""

import pytest
from django.utils import timezone

from custody.actions.assay import accept, determine
from custody.queries.verify.exchanges import check
from custody.queries.verify.findings import Check
from tests import builders, exchanges, people


@pytest.fixture
def planted(committed_db, superuser_connection):
    """planted(statement, …): what the examination finds afterwards."""
    superuser = superuser_connection()
    superuser.execute("SET session_replication_role = replica")

    def examine(*statements):
        for statement in statements:
            superuser.execute(statement)
        check(found := Check("I12"))
        return [row["what"] for row in found.rows]

    return examine


def test_a_metal_that_gave_way_is_examined_too(planted):
    exchange = exchanges.beyond_the_whole()
    exchanges.accepted(exchanges.settled(exchange, gives_way="Ag"))
    assert planted() == [], "the control"
    came = f"WHERE exchange_id = {exchange.pk}"
    changed = f"UPDATE custody_determination SET ag_ppm = ag_ppm - 1 {came}"
    assert planted(changed) == ["what the exchange came to"]


def test_faults_of_an_exchange_are_found(planted):
    exchanges.opened()
    exchanges.both_in(exchanges.opened(builders.received()[0]))
    done = exchanges.both_in(exchanges.opened(builders.received()[0]), exchanges.OUTSIDE)
    exchanges.umpire_in(done, Au=900_700)
    lot = exchanges.valued(done)
    again = determine(
        lot=lot, ppm={"Au": 900_600, "Ag": 80_000}, method="gravimetry", at=timezone.now(), by=people.anna_assayer()
    )
    accept(determination=again, at=timezone.now(), by=people.mona_manager(), reason="Assayed once more")
    assert planted() == [], "the control"
    came = f"exchange_id = {done.pk}"
    of_lot = f"SELECT id FROM custody_determination WHERE {came}"
    for statement, back, finding in (
        (
            f"UPDATE custody_determination SET au_ppm = au_ppm + 1 WHERE {came}",
            f"UPDATE custody_determination SET au_ppm = au_ppm - 1 WHERE {came}",
            "what the exchange came to",
        ),
        (
            f"UPDATE custody_sealedresult SET ag_ppm = ag_ppm + 2 WHERE side = 'customer' AND {came}",
            f"UPDATE custody_sealedresult SET ag_ppm = ag_ppm - 2 WHERE side = 'customer' AND {came}",
            "what the exchange came to",
        ),
        (
            f"UPDATE custody_acceptance SET by_id = {people.matt_accountant().pk} WHERE determination_id IN ({of_lot})",
            f"UPDATE custody_acceptance SET by_id = {people.mona_manager().pk} WHERE determination_id IN ({of_lot})",
            "accepted by a person who had a part in it",
        ),
        (
            f"UPDATE custody_sealedresult SET by_id = {people.anna_assayer().pk} WHERE side = 'customer' AND {came}",
            f"UPDATE custody_sealedresult SET by_id = {people.cora_customer().pk} WHERE side = 'customer' AND {came}",
            "both results went through one person's hands",
        ),
        (
            f"UPDATE custody_determination SET exchange_id = NULL, method = 'gravimetry' WHERE {came}",
            "SELECT 1",
            "a lot whose assays are exchanged is valued by what they came to",
        ),
    ):
        assert planted(statement) == [finding]
        planted(back)
