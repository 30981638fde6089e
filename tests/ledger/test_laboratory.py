"""What the laboratory is promised by PostgreSQL itself, tried past every line of Python."""

import pytest

from refinery import roles

READING = """
INSERT INTO custody_worksheetreading (piece_id, of, element, value, undetected, reason, at, by_id)
VALUES ((SELECT min(p.id) FROM custody_worksheetpiece p WHERE p.worksheet_id = {sheet} AND {which}), '{of}', '',
    {value}, false, '', {at}, (SELECT id FROM custody_user WHERE username = 'anna'))
"""
SHEET = "(SELECT max(id) FROM custody_worksheet)"
ON_ANOTHER = "(SELECT id FROM custody_worksheet WHERE number = 'W-X')"
#: The same charge again, which nothing was reported of, on a balance or on none.
ANOTHER = """
INSERT INTO custody_worksheet (number, method, metal, place_id, balance_id, note, at, by_id)
SELECT 'W-X', method, metal, place_id, {balance}, note, at, by_id FROM custody_worksheet ORDER BY id DESC LIMIT 1
"""
PIECE = """
INSERT INTO custody_worksheetpiece (worksheet_id, position, role, lot_id, sample_id, proof_metal_id)
SELECT (SELECT id FROM custody_worksheet WHERE number = 'W-X'), position, {role}, {lot}, sample_id, {metal}
  FROM custody_worksheetpiece WHERE role = 'sample' ORDER BY id LIMIT 1
"""
DETERMINATION = """
INSERT INTO custody_determination (number, lot_id, method, au_ppm, ag_ppm, pt_ppm, pd_ppm, cu_ppm, worksheet_id, note,
    at, by_id)
SELECT 'A-X', lot_id, '{method}', 1, 0, 0, 0, 0, {sheet}, '', now(), m.id
  FROM custody_determination JOIN custody_user m ON m.username = 'mona'
 WHERE worksheet_id IS NOT NULL ORDER BY custody_determination.id DESC LIMIT 1
"""
ACCEPTANCE = """
INSERT INTO custody_acceptance (determination_id, by_id, at)
VALUES ((SELECT id FROM custody_determination WHERE number = {number}),
    (SELECT id FROM custody_user WHERE username = '{who}'), now())
"""
REPORTED = "(SELECT number FROM custody_determination WHERE worksheet_id IS NOT NULL ORDER BY id DESC LIMIT 1)"
TURNED_DOWN = """
INSERT INTO custody_repeatorder (determination_id, lot_id, metal, spread_ppm, allowed_ppm, sentence, at, by_id)
SELECT id, lot_id, '', 0, 0, 'too low', now(), by_id FROM custody_determination WHERE number = {number}
"""


def another(balance="balance_id"):
    return ANOTHER.format(balance=balance)


def piece(role="role", lot="lot_id", metal="NULL"):
    return PIECE.format(role=role, lot=lot, metal=metal)


def reading(of="cornet", value=1, at="now()", sheet=ON_ANOTHER, which="true"):
    return READING.format(of=of, value=value, at=at, sheet=sheet, which=which)


def accepting(who, number=REPORTED):
    return ACCEPTANCE.format(who=who, number=number)


@pytest.mark.parametrize("role", [roles.OWNER, roles.APP])
@pytest.mark.parametrize(
    ("who", "rule"),
    [
        ("anna", "accepted_by_another"),  # reported it, and read weighings
        ("ada", "accepted_by_another"),  # opened the worksheet
        ("mona", None),
    ],
)
def test_whoever_worked_on_a_worksheet_does_not_accept_it(refused, role, who, rule):
    assert refused(accepting(who), role=role) == rule


@pytest.mark.parametrize(("who", "rule"), [("anna", "accepted_by_another"), ("ada", None), ("otto", None)])
def test_whoever_weighed_a_piece_of_the_lot_does_not_accept_what_a_friend_typed(refused, who, rule):
    """Anna read its weighings on another worksheet; Ada only opened that one, which this result does not rest on."""
    typed = DETERMINATION.format(method="gravimetry", sheet="NULL")
    assert refused(typed, accepting(who, "'A-X'")) == rule


@pytest.mark.parametrize("method", ["XRF indication", "density indication", "as declared"])
def test_an_indication_values_nothing(refused, method):
    typed = DETERMINATION.format(method=method, sheet="NULL")
    assert refused(typed, accepting("otto", "'A-X'"), role=roles.APP) == "indication_only"


def test_what_was_turned_down_is_not_accepted(refused):
    down = TURNED_DOWN.format(number=REPORTED)
    assert refused(down, accepting("mona"), role=roles.APP) == "assayed_again"


def test_a_worksheet_reports_a_lot_once(refused):
    assert refused(DETERMINATION.format(method="gravimetry", sheet="worksheet_id")) == "one_report_of_a_lot"


@pytest.mark.parametrize("which", ["p.role = 'proof'", "p.role = 'sample'", "p.position = 4"])
def test_the_readings_under_a_report_stay(refused, which):
    """Of the proofs, of the lot that was determined, and of the lot that is assayed again."""
    assert refused(reading(sheet=SHEET, which=which), role=roles.APP) == "worksheet_reported"


@pytest.mark.parametrize(
    ("before", "written", "rule"),
    [
        ((), reading(), None),
        ((), reading(value=-1), "reading_not_negative"),
        ((), reading(at="now() - interval '3 days'"), "scale_unchecked"),
        ((), reading(value=5_000_001), "worksheet_load"),
        (("UPDATE custody_scale SET active = false",), reading(), "unknown_scale"),
    ],
)
def test_a_worksheet_is_weighed_on_a_checked_balance(refused, before, written, rule):
    assert refused(another(), piece(), *before, written) == rule


def test_a_balance_that_failed_weighs_nothing(refused):
    found = """
        INSERT INTO custody_scalecheck (scale_id, at, day, passed, reason, by_id, recorded_at)
        SELECT s.id, now(), custody_local_day(now()), false, 'drifts', u.id, now()
          FROM custody_scale s, custody_user u WHERE s.code = 'BAL-1' AND u.username = 'anna'
    """
    assert refused(another(), piece(), found, reading(at="now() + interval '1 second'")) == "scale_failed"


def test_a_worksheet_without_a_balance_has_volumes_alone(refused):
    assert refused(another("NULL"), piece(), reading()) == "worksheet_balance"
    assert refused(another("NULL"), piece(), reading(of="volume")) is None


@pytest.mark.parametrize(
    ("what", "rule"),
    [
        ({"lot": "NULL"}, "piece_is_of_a_lot_or_a_proof"),
        ({"role": "'proof'"}, "piece_is_of_a_lot_or_a_proof"),
        ({"metal": "(SELECT min(id) FROM custody_proofmetal)"}, "piece_is_of_a_lot_or_a_proof"),
        ({"role": "'silver sample'"}, None),
    ],
)
def test_a_piece_is_of_a_lot_or_of_a_proof_metal(refused, what, rule):
    assert refused(another(), piece(**what)) == rule


def test_an_order_to_repeat_is_of_something(refused):
    nothing = TURNED_DOWN.format(number=REPORTED).replace("SELECT id,", "SELECT NULL,")
    assert refused(nothing) == "repeat_order_of_something"


def test_the_certificate_of_a_proof_metal_stays(refused):
    assert refused("UPDATE custody_proofmetal SET purity_ppm = purity_ppm - 1", role=roles.APP) == "proof_metal"
    assert refused("UPDATE custody_proofmetal SET active = NOT active", role=roles.APP) is None
