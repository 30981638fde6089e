"""Each promise has its reverse: taken back, nothing of it is left; laid again, it is the same."""

from django.core.management import call_command

from custody.sql import FOLDER, PROMISES

LEFT = """
SELECT 'function ' || proname FROM pg_proc WHERE pronamespace = 'public'::regnamespace
UNION ALL SELECT 'trigger ' || tgname FROM pg_trigger WHERE NOT tgisinternal
UNION ALL SELECT 'sequence ' || relname FROM pg_class WHERE relkind = 'S' AND relname LIKE 'custody\\_number\\_%'
UNION ALL SELECT 'view ' || relname FROM pg_class WHERE relkind = 'v' AND relname LIKE 'custody\\_%'
UNION ALL SELECT 'check ' || conname FROM pg_constraint WHERE contype = 'c' AND conname IN (
    'overdraw', 'metals_over_gross', 'unbroken_custody', 'account_never_negative', 'approved_by_another',
    'countersigned_by_another')
UNION ALL SELECT 'index ' || relname FROM pg_class WHERE relkind = 'i' AND relname = 'one_content_per_vessel'
ORDER BY 1
"""


def test_all_promises_can_be_taken_back_and_laid_again(committed_db, owner_connection):
    owner = owner_connection()
    laid = owner.execute(LEFT).fetchall()
    assert len(laid) > 100
    call_command("migrate", "custody", "0001", verbosity=0, interactive=False)
    assert owner.execute(LEFT).fetchall() == []
    call_command("migrate", "custody", verbosity=0, interactive=False)
    assert owner.execute(LEFT).fetchall() == laid


def test_every_promise_is_a_file_with_its_reverse():
    files = {path.name.removesuffix(".sql") for path in FOLDER.glob("*.sql")}
    assert files == {name for promise in PROMISES for name in (promise, f"{promise}.reverse")}
