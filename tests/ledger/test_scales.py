"""Scales past every line of Python: no weighing on one that was not checked that day, or failed; no reading twice."""

import json
from datetime import timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from custody.actions.readings import keep_reading
from custody.actions.scales import enter_scale, set_scale_in_use
from custody.calc import scales as calc
from custody.calc.refusals import Refused
from refinery import roles
from tests import builders, people

PLATE = calc.Scale(calc.Accuracy.II, 100, 6_200_000, 10_000)
FINE = calc.Scale(calc.Accuracy.I, 1, 5_000, 1)
WEIGHING = """
INSERT INTO custody_weighing (lot_id, scale_id, gross_mg, tare_mg, net_mg, gross_reading_id, tare_reading_id, purpose,
    at, by_id) VALUES """
VALUES = "(%s, %s, %s, %s, %s, %s, %s, 'weighed again', %s, %s)"
CHECK = "SELECT custody_check_scale(%s)"
PERMISSIBLE = "SELECT custody_permissible_ug(%s, %s)"


@pytest.fixture(scope="module")
def scene(book):
    """A scale that was never checked, another, a balance, one out of use; a lot; and what the first one sent."""
    mona, fiona, place = people.mona_manager(), people.fiona_frontdesk(), builders.place()
    t1, t2, fine, gone = (
        enter_scale(code=code, name="Of the test", place=place, plate=plate, by=mona)
        for code, plate in (("T-1", PLATE), ("T-2", PLATE), ("T-3", FINE), ("T-4", PLATE))
    )
    set_scale_in_use(scale=gone, active=False, by=mona)
    now = timezone.now()
    if _local_day(now) != _local_day(now - timedelta(seconds=9)):
        now -= timedelta(seconds=9)  # midnight: the seconds before are to be the same day
    made = SimpleNamespace(t1=t1, t2=t2, fine=fine, gone=gone, now=now, fiona=fiona, lot=builders.received()[0])

    def sent(scale, value_ug, stable=True):
        return keep_reading(
            scale=scale, value_ug=value_ug, stable=stable, line="", read_at=now, by=fiona,
            key=f"{scale}-{value_ug}-{stable}",
        ).pk  # fmt: skip

    made.kilogram, made.tare = sent(t1, 1_000_000_000), sent(t1, 2_000_000)
    made.halves, made.shaking = sent(t1, 1_000_000_500), sent(t1, 1_000_000_000, stable=False)
    made.elsewhere = sent(t2, 1_000_000_000)
    return made


def weighing(scene, **changes):
    """A weighing of a kilogram on the first scale, now, unless told otherwise."""
    said = {"scale": scene.t1, "gross": 1_000_000, "tare": 0, "net": None, "read": None, "tare_read": None, "ago": 0}
    said |= changes
    net = said["gross"] - said["tare"] if said["net"] is None else said["net"]
    at = scene.now - timedelta(seconds=said["ago"])
    return (scene.lot.pk, said["scale"].pk, said["gross"], said["tare"], net, said["read"], said["tare_read"], at,
            scene.fiona.pk)  # fmt: skip


def weighings(*rows):
    """One statement that inserts these weighings."""
    return WEIGHING + ", ".join([VALUES] * len(rows)), [value for row in rows for value in row]


def check(scene, *, off_ug=0, ago=1, scale=None, **changes):
    """A check with a kilogram, a second ago, that the scale shows so many micrograms off."""
    load = {"weights": "W", "load_mg": 1_000_000, "reference_ug": 10**9, "reading_ug": 10**9 + off_ug}
    at = scene.now - timedelta(seconds=ago)
    asked = {"scale": (scale or scene.t1).code, "at": at.isoformat(), "by": scene.fiona.pk, "loads": [load]}
    return CHECK, [json.dumps(asked | changes)]


def fault(scene, **changes):
    return check(scene, **({"loads": [], "reason": "It was dropped"} | changes))


YESTERDAY = 24 * 3600

#: What was done to the scales before, the weighing, the rule that refuses it.
WEIGHINGS = {
    "checked": (lambda s: [check(s)], {}, None),
    "never checked": (lambda s: [], {}, "scale_unchecked"),
    "another scale checked": (lambda s: [check(s, scale=s.t2)], {}, "scale_unchecked"),
    "checked yesterday": (lambda s: [check(s, ago=YESTERDAY)], {}, "scale_unchecked"),
    "checked afterwards": (lambda s: [check(s, ago=1)], {"ago": 2}, "scale_unchecked"),
    "off by what is permitted": (lambda s: [check(s, off_ug=-200_000)], {}, None),
    "off by a microgram more": (lambda s: [check(s, off_ug=-200_001)], {}, "scale_failed"),
    "failed after it passed": (lambda s: [check(s, ago=3), check(s, off_ug=10**6, ago=2)], {}, "scale_failed"),
    "weighed before it failed": (lambda s: [check(s, ago=3), check(s, off_ug=10**6, ago=1)], {"ago": 2}, None),
    "passed after it failed": (lambda s: [check(s, off_ug=10**6, ago=3), check(s, ago=2)], {}, None),
    "entered late, failed in between": (lambda s: [check(s, ago=1), fault(s, ago=2)], {}, None),
    "failed at the same moment": (lambda s: [check(s, ago=1), fault(s, ago=1)], {}, "scale_failed"),
    "found faulty": (lambda s: [check(s, ago=3), fault(s, ago=2)], {}, "scale_failed"),
    "as much as Max": (lambda s: [check(s)], {"gross": 6_200_000}, None),
    "more than Max": (lambda s: [check(s)], {"gross": 6_200_001}, "scale_load"),
    "as little as Min": (lambda s: [check(s)], {"gross": 500}, None),
    "less than Min": (lambda s: [check(s)], {"gross": 499}, "scale_load"),
    "a net of its own": (lambda s: [check(s)], {"net": 5}, "net_is_gross_less_tare"),
    "less than its container": (lambda s: [check(s)], {"tare": 1_000_001}, "net_is_gross_less_tare"),
}


@pytest.mark.parametrize(("before", "changes", "rule"), WEIGHINGS.values(), ids=WEIGHINGS)
def test_a_weighing_stands_on_the_last_check_of_its_day(scene, refused, before, changes, rule):
    assert refused(*before(scene), weighings(weighing(scene, **changes))) == rule


def test_a_scale_out_of_use_weighs_nothing(scene, refused):
    assert refused(weighings(weighing(scene, scale=scene.gone))) == "unknown_scale"


def _local_day(moment):
    return moment.astimezone(ZoneInfo(builders.refinery().time_zone)).date()


# Readings


def used(scene, **changes):
    """A weighing that the scale sent itself, tare and all."""
    said = {"gross": 1_000_000, "read": scene.kilogram, "tare": 2_000, "tare_read": scene.tare}
    return weighing(scene, **(said | changes))


READINGS = {
    "its own": (lambda s: [used(s)], None),
    "of another mass": (lambda s: [used(s, gross=1_000_001)], "reading"),
    "a tare of another mass": (lambda s: [used(s, tare=2_001)], "reading"),
    "of another scale": (lambda s: [used(s, read=s.elsewhere)], "reading"),
    "not at rest": (lambda s: [used(s, read=s.shaking)], "reading"),
    "of nothing": (lambda s: [used(s, read=10**15)], "reading"),
    "half a milligram, to the even one": (lambda s: [used(s, read=s.halves)], None),
    "half a milligram, to the odd one": (lambda s: [used(s, read=s.halves, gross=1_000_001)], "reading"),
    "gross and tare at once": (lambda s: [used(s, tare=1_000_000, tare_read=s.kilogram)], "reading"),
    "gross twice": (lambda s: [used(s), used(s, tare_read=None)], "reading"),
    "tare twice": (lambda s: [used(s), used(s, read=None)], "reading"),
    "a gross as another's tare": (
        lambda s: [used(s), weighing(s, gross=3_000_000, tare=1_000_000, tare_read=s.kilogram)], "reading"),
}  # fmt: skip


@pytest.mark.parametrize(("rows", "rule"), READINGS.values(), ids=READINGS)
@pytest.mark.parametrize("at_once", [True, False])
def test_a_reading_is_used_as_it_was_sent_and_once(scene, refused, rows, rule, at_once):
    made = rows(scene)
    statements = [weighings(*made)] if at_once else [weighings(row) for row in made]
    assert refused(check(scene), *statements) == rule
    assert refused(check(scene), *statements, role=roles.APP) == rule


# Checks and plates


CHECKS = {
    "a scale that there is not": (lambda s: (CHECK, [json.dumps({"scale": "NONE"})]), "unknown_scale"),
    "a scale out of use": (lambda s: check(s, scale=s.gone), "unknown_scale"),
    "tomorrow": (lambda s: check(s, ago=-YESTERDAY), "future"),
    "neither load nor reason": (lambda s: check(s, loads=[]), "scale_check"),
    "a load that weighs nothing known": (lambda s: check(s, loads=[{"weights": "W"}]), "23502"),
}


@pytest.mark.parametrize(("statement", "rule"), CHECKS.values(), ids=CHECKS)
def test_a_check_that_proves_nothing_is_refused(scene, refused, statement, rule):
    assert refused(statement(scene)) == rule


def test_nobody_types_in_that_a_scale_passed(scene, refused):
    passed = (
        "INSERT INTO custody_scalecheck (scale_id, at, day, passed, reason, by_id, recorded_at)"
        " VALUES (%s, now(), current_date, true, '', %s, now())",
        [scene.t1.pk, scene.fiona.pk],
    )
    assert refused(passed, role=roles.APP) == "42501"


def test_one_load_of_several_is_enough_to_fail(scene, attack):
    good = {"weights": "W", "load_mg": 1_000_000, "reference_ug": 10**9, "reading_ug": 10**9}
    bad = good | {"load_mg": 2_000_001, "reading_ug": 10**9 + 300_001}
    with attack(roles.APP) as connection:
        for loads, passed in (([good], True), ([good, bad], False), ([bad, good], False)):
            made = connection.execute(*check(scene, loads=loads)).fetchone()[0]
            found = connection.execute("SELECT passed FROM custody_scalecheck WHERE id = %s", [made]).fetchone()[0]
            assert found is passed


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ("e_mg = 200", "scale_plate"),
        ("d_ug = 20000", "scale_plate"),
        ("min_ug = 1", "scale_plate"),
        ("max_mg = 9000000", "scale_plate"),
        ("accuracy = 'III'", "scale_plate"),
        ("code = 'T-9'", "scale_plate"),
        ("name = 'Another', active = false", None),
    ],
)
def test_the_plate_stays(scene, refused, change, rule):
    assert refused((f"UPDATE custody_scale SET {change} WHERE id = %s", [scene.t1.pk])) == rule


# The errors of R 76 in PostgreSQL, against those of Python


@st.composite
def plates(draw) -> calc.Scale:
    """A scale of any class that R 76 knows."""
    accuracy = draw(st.sampled_from(list(calc.Accuracy)))
    e_mg = draw(st.sampled_from([1, 2, 5])) * 10 ** draw(st.integers(0, 5))
    try:
        return calc.Scale(accuracy, e_mg, e_mg * draw(st.integers(100, 300_000)))
    except Refused:
        assume(False)
        raise


def test_postgresql_permits_what_the_standard_permits(scene, attack):
    with attack(roles.OWNER) as connection:

        @settings(max_examples=300)
        @given(plates(), st.data())
        def agree(plate, data):
            edge = data.draw(st.sampled_from([50, 200, 500, 2_000, 5_000, 20_000, 50_000, 200_000])) * plate.e_mg
            load = min(plate.max_mg, data.draw(st.integers(0, plate.max_mg) | st.integers(edge - 1, edge + 1)))
            row = connection.execute(
                "INSERT INTO custody_scale (code, name, place_id, accuracy, e_mg, d_ug, min_ug, max_mg, active,"
                " entered_at) VALUES (gen_random_uuid()::text::varchar(30), '', %s, %s, %s, %s, %s, %s, true, now())"
                " RETURNING id",
                [scene.t1.place_id, str(plate.accuracy), plate.e_mg, plate.step_ug, plate.minimum_ug, plate.max_mg],
            ).fetchone()
            found = connection.execute(PERMISSIBLE, [row[0], load]).fetchone()[0]
            assert found == calc.permissible_error_ug(plate, load)

        agree()
