"""I1, I2, I4, I5, I6, I8 and I12, tried by the owner of the tables, past every line of Python."""

import pytest

from refinery import roles

#: A copy of an operation's row under another number, for attacks that need a head of their own.
HEAD = """
INSERT INTO custody_operation SELECT (jsonb_populate_record(o, jsonb_build_object('id', 900000, 'number', 'X-1',
    'request_key', NULL) || %s::jsonb)).* FROM custody_operation o WHERE number = 'OLD-2'
"""
LINE = """
INSERT INTO custody_movement (operation_id, line, side, what, words, gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg,
    valued, whole, spread) VALUES (%s, %s, %s, '', '', %s, %s, 0, 0, 0, 0, true, false, 0)
"""

VECTOR = """
INSERT INTO custody_vector (operation_id, line, column_no, chunk, total_mg, origins, mgs)
VALUES (%s, 0, %s, 0, %s, '{1}', ARRAY[%s::bigint])
"""
BAR = """
INSERT INTO custody_bar (lot_id, mark, serial, year, replaces_id)
SELECT %s, mark, %s, year, %s FROM custody_bar WHERE id = %s
"""


@pytest.fixture
def sealing(refused):
    """sealing(lines, changes): the rule by which an operation of these lines is refused; None when it is taken."""

    def rule_of(lines, changes):
        written = [(LINE, (900000, number, *line)) for number, line in enumerate(lines, start=1)]
        return refused(*written, (HEAD, (changes,)))

    return rule_of


def test_a_balanced_operation_is_taken(sealing):
    """The control: without it the refusals below would prove nothing."""
    assert sealing([("add", 5, 0), ("loss", 5, 0)], '{"movement_count": 2}') is None


@pytest.mark.parametrize(
    ("lines", "count", "rule"),
    [
        ([("add", 5, 0), ("loss", 4, 0)], 2, "balance"),
        ([("add", 5, 1), ("loss", 5, 0)], 2, "balance"),
        ([], 0, "movements_complete"),
        ([("add", 5, 0), ("loss", 5, 0)], 3, "movements_complete"),
        ([("add", 5, 0), ("loss", 5, 0)], 1, "movements_complete"),
        ([("in", -5, 0), ("out", -5, 0)], 2, "negative_amount"),
        ([("in", 5, -1), ("out", 5, -1)], 2, "negative_amount"),
        ([("in", 5, 6), ("out", 5, 6)], 2, "movement_metals_over_gross"),
        ([("by", 5, 0)], 1, "movement_has_a_side"),
    ],
)
def test_an_operation_that_does_not_balance(sealing, lines, count, rule):
    assert sealing(lines, f'{{"movement_count": {count}}}') == rule


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ('{"at": "2999-01-01T00:00:00+00:00", "day": "2999-01-01"}', "future"),
        ('{"day": "2023-03-02"}', "closed_period"),
        ('{"countersigned_by_id": 1, "by_id": 1, "countersigned_at": "2023-03-02", "countersign_meaning": "Seen"}',
         "countersigned_by_another"),
        ('{"countersign_meaning": "Seen"}', "countersigned_in_words"),
        ('{"source": "live", "over_tolerance": true}', "over_tolerance_countersigned"),
        ('{"number": "OLD-1"}', "operation_number"),
    ],
)  # fmt: skip
def test_an_operation_against_its_head(sealing, changes, rule):
    changes = changes[:-1] + ', "movement_count": 2}'
    assert sealing([("add", 5, 0), ("loss", 5, 0)], changes) == rule


def test_a_date_in_a_closed_month(sealing, book):
    moment = book.month.isoformat()
    changes = f'{{"at": "{moment}", "day": "{book.month:%Y-%m-%d}", "movement_count": 2}}'
    assert sealing([("add", 5, 0), ("loss", 5, 0)], changes) == "closed_period"


@pytest.mark.parametrize("pair", [[("add", 5, 0), ("loss", 5, 0)], [("in", 7, 1), ("out", 7, 1)]])
def test_a_balanced_pair_added_late(refused, book, pair):
    assert refused(*((LINE, (book.melt.pk, number, *line)) for number, line in enumerate(pair, start=90))) == "sealed"


def test_a_vector_added_late(refused, book):
    assert refused((VECTOR, (book.melt.pk, 3, 5, 5))) == "sealed"


@pytest.mark.parametrize(("pool", "rule"), [(5, None), (6, "origin_conserved"), (4, "origin_conserved")])
def test_origins_sum_to_what_the_lines_take(refused, pool, rule):
    out = "INSERT INTO custody_movement (operation_id, line, side, what, words, gross_mg, au_mg, ag_mg, pt_mg, pd_mg,"
    out += " cu_mg, valued, whole, spread) VALUES (900000, 2, 'out', '', '', 5, 5, 0, 0, 0, 0, true, false, 1)"
    lines = [(LINE, (900000, 1, "in", 5, 5)), out, (VECTOR, (900000, 1, pool, pool))]
    assert refused(*lines, (HEAD, ('{"movement_count": 2}',))) == rule


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ("gross_mg = -1, au_mg = -1, ag_mg = 0", "overdraw"),
        ("ag_mg = -1", "overdraw"),
        ("au_mg = gross_mg + 1", "metals_over_gross"),
        ("custodian_id = NULL", "unbroken_custody"),
        ("place_id = NULL", "unbroken_custody"),
        ("valued = false", "unvalued_has_no_metal"),
    ],
)
def test_a_lot_past_its_book(refused, book, change, rule):
    assert refused((f"UPDATE custody_lot SET {change} WHERE id = %s", (book.pool.pk,))) == rule


def test_a_second_content_in_a_vessel(refused, book):
    another = (
        "INSERT INTO custody_lot SELECT (jsonb_populate_record(l, jsonb_build_object('id', 900000, 'number', 'X-1'))).*"
        " FROM custody_lot l WHERE id = %s"
    )
    assert refused((another, (book.content.pk,))) == "one_content_per_vessel"


def test_a_stamped_serial_used_again(refused, book):
    stamp = book.bar.bar
    assert refused((BAR, (book.pool.pk, stamp.serial, None, stamp.pk))) == "unique_uncancelled_bar"


def test_a_bar_that_replaces_one_that_stands(refused, book):
    stamp = book.bar.bar
    assert refused((BAR, (book.pool.pk, "HF-NEW", stamp.pk, stamp.pk))) == "bar_replaces"


@pytest.mark.parametrize(("named", "rule"), [(False, "bar_replaces"), (True, None)])
def test_a_cancelled_serial_returns_only_by_name(refused, book, named, rule):
    stamp = book.bar.bar
    cancel = ("UPDATE custody_bar SET cancelled_by_id = %s WHERE id = %s", (book.melt.pk, stamp.pk))
    again = (BAR, (book.pool.pk, stamp.serial, stamp.pk if named else None, stamp.pk))
    assert refused(cancel, again) == rule


@pytest.mark.parametrize("named", [False, True])
def test_a_serial_that_came_back_is_taken_whatever_is_named(refused, book, named):
    stamp = book.bar.bar
    cancel = ("UPDATE custody_bar SET cancelled_by_id = %s WHERE id = %s", (book.melt.pk, stamp.pk))
    again = (BAR, (book.pool.pk, stamp.serial, stamp.pk, stamp.pk))
    third = (BAR, (book.content.pk, stamp.serial, stamp.pk if named else None, stamp.pk))
    assert refused(cancel, again, third) == "unique_uncancelled_bar"


@pytest.mark.parametrize("change", ["serial = 'HF-8'", "year = year + 1", "mark = 'X'", "lot_id = lot_id - 1"])
def test_a_stamp_edited(refused, book, change):
    assert refused((f"UPDATE custody_bar SET {change} WHERE id = %s", (book.bar.bar.pk,))) == "append_only"


def test_a_bar_cancelled_twice(refused, book):
    cancel = ("UPDATE custody_bar SET cancelled_by_id = %s WHERE id = %s", (book.melt.pk, book.bar.bar.pk))
    assert refused(cancel) is None
    assert refused(cancel, cancel) == "append_only"


@pytest.mark.parametrize("role", [roles.OWNER, roles.APP])
def test_a_determination_accepted_by_its_recorder(refused, role):
    own = (
        "INSERT INTO custody_acceptance (determination_id, by_id, at)"
        " SELECT id, by_id, now() FROM custody_determination ORDER BY id LIMIT 1"
    )
    assert refused(own, role=role) == "accepted_by_another"


def test_a_settlement_approved_by_who_prepared_it(refused):
    own = (
        "INSERT INTO custody_settlement SELECT (jsonb_populate_record(s, jsonb_build_object('id', 900000, 'number',"
        " 'X-1', 'request_key', NULL, 'corrects_id', NULL, 'reason', '', 'approved_by_id', s.prepared_by_id))).*"
        " FROM custody_settlement s WHERE corrects_id IS NULL"
    )
    assert refused(own) == "approved_by_another"


def test_a_settlement_line_that_does_not_sum(refused):
    line = (
        "INSERT INTO custody_settlementline SELECT (jsonb_populate_record(s, jsonb_build_object('id', 900000,"
        " 'metal', 'Pd', 'content_mg', 10, 'payable_mg', 4, 'retained_mg', 4, 'returned_mg', 1))).*"
        " FROM custody_settlementline s ORDER BY id LIMIT 1"
    )
    assert refused(line) == "settled_once_and_whole"


def test_an_account_below_zero(refused):
    assert refused("UPDATE custody_metalaccount SET balance_mg = -1") == "account_never_negative"


def test_a_weighing_whose_net_is_not_gross_less_tare(refused):
    wrong = (
        'INSERT INTO custody_weighing SELECT (jsonb_populate_record(w, \'{"id": 900000, "tare_mg": 1}\')).*'
        " FROM custody_weighing w WHERE tare_mg = 0 LIMIT 1"
    )
    assert refused(wrong) == "net_is_gross_less_tare"
    assert refused(wrong, role=roles.APP) == "net_is_gross_less_tare"
