"""Bars by their types and serials by their ranges, past every line of Python."""

import json
import threading
from types import SimpleNamespace

import psycopg
import pytest
from django.db import connections
from django.utils import timezone

from custody.actions.bar_types import enter_bar_type, retire_bar_type, set_aside_serials, tell_serials
from custody.calc.apportion import withdraw
from custody.calc.bar_types import Making
from custody.models import BarType, SerialRange
from custody.terms import SerialFate
from refinery import embedded, roles
from tests import builders, people
from tests.conftest import HOME

POST = "SELECT custody_post(%s)"
TELL = (
    "INSERT INTO custody_serialevent (mark, year, serial, fate, reason, by_id, at)"
    " VALUES ('HFR', %s, %s, %s, %s, %s, now())"
)
RANGE = (
    "INSERT INTO custody_serialrange (mark, year, head, width, first, last, set_by_id, set_at)"
    " VALUES (%s, %s, %s, %s, %s, %s, %s, now())"
)


@pytest.fixture(scope="module")
def scene(book):
    """Serials K0001 to K0020 for kilobars, A000001 to A000999 for any; 2 kg of fine gold, 2 kg of less fine."""
    mona, otto, now = people.mona_manager(), people.otto_operator(), timezone.now()
    year = timezone.localtime(now).year
    kilo = BarType.objects.get(code="AU-1000")
    gone = enter_bar_type(
        code="AU-OLD", name="Old kilobar", metal="Au", nominal_mg=1_000_000, least_mg=1_000_000, most_mg=1_000_010,
        least_ppm=995_000, making=Making.CAST, by=mona,
    )  # fmt: skip
    retire_bar_type(bar_type=gone, active=False, by=mona)
    (fine,) = builders.ready(2000, Au=999_950)
    (poor,) = builders.ready(2000, Au=999_500)
    said = {"mark": "HFR", "year": year, "at": now, "by": mona}
    set_aside_serials(head="K", width=4, first=1, last=20, bar_type=kilo, **said)
    set_aside_serials(head="A", width=6, first=1, last=999, **said)
    tell_serials(
        mark="HFR", year=year, serials=["A000009"], fate=SerialFate.SPOILED, reason="Struck askew", at=now, by=otto
    )
    return SimpleNamespace(year=year, mona=mona, otto=otto, fine=fine, poor=poor, kilo=kilo)


def bar(scene, serial, *, lot=None, gross=1_000_000, bar_type="", **more):
    """One bar cast from a part of a lot, the metals with it."""
    lot = lot or scene.fine
    metals = withdraw(lot.gross_mg, lot.metals_mg, gross)
    out = {"form": "bar", "gross_mg": gross, "fine_mg": {"Au": metals[0]}, "serial": serial}
    out |= {"bar_type": bar_type} if bar_type else {}
    body = {
        "kind": "cast", "at": timezone.now().isoformat(), "by": scene.otto.pk,
        "inputs": [{"lot": lot.number, "gross_mg": gross}], "outputs": [out],
    }  # fmt: skip
    return POST, [json.dumps(body | more)]


def tell(scene, serial, fate="spoiled", reason="Dropped"):
    return TELL, [scene.year, serial, fate, reason, scene.otto.pk]


def serials(scene, head, width, first, last, mark="HFR"):
    return RANGE, [mark, scene.year, head, width, first, last, scene.mona.pk]


#: What was done before, and the rule that refuses the last statement; None where none does.
BARS = {
    "as its type asks": (lambda s: [bar(s, "K0001", bar_type="AU-1000")], None),
    "the most it may weigh": (lambda s: [bar(s, "K0001", gross=1_000_050, bar_type="AU-1000")], None),
    "a milligram more": (lambda s: [bar(s, "K0001", gross=1_000_051, bar_type="AU-1000")], "bar_weight"),
    "a milligram less": (lambda s: [bar(s, "K0001", gross=999_999, bar_type="AU-1000")], "bar_weight"),
    "less fine": (lambda s: [bar(s, "K0001", lot=s.poor, bar_type="AU-1000")], "bar_fineness"),
    "a type that is not there": (lambda s: [bar(s, "K0001", bar_type="AU-7")], "unknown_bar_type"),
    "a type out of use": (lambda s: [bar(s, "A000001", bar_type="AU-OLD")], "unknown_bar_type"),
    "without a type, any serial of any": (lambda s: [bar(s, "A000001", gross=300_000)], None),
    "a typed bar with a serial of any": (lambda s: [bar(s, "A000001", bar_type="AU-1000")], None),
    "a serial of another type": (lambda s: [bar(s, "K0001", gross=300_000)], "serial_of_type"),
    "outside every range": (lambda s: [bar(s, "A001000")], "serial_range"),
    "with fewer digits": (lambda s: [bar(s, "A00001")], "serial_range"),
    "with letters among the digits": (lambda s: [bar(s, "A00000X")], "serial_range"),
    "spoiled": (lambda s: [bar(s, "A000009")], "serial_spoiled"),
    "spoiled just before": (lambda s: [tell(s, "A000002"), bar(s, "A000002")], "serial_spoiled"),
    "spoiled, of a past record": (lambda s: [bar(s, "A000009", source="history")], "serial_spoiled"),
    "outside every range, of a past record": (lambda s: [bar(s, "A001000", source="history")], None),
    "reserved, for this bar": (lambda s: [tell(s, "A000002", "reserved"), bar(s, "A000002")], None),
    "beside a range set aside just before": (lambda s: [serials(s, "B", 3, 1, 9), bar(s, "B010")], "serial_range"),
}  # fmt: skip

EVENTS = {
    "reserved": (lambda s: [tell(s, "A000003", "reserved")], None),
    "reserved, then freed": (lambda s: [tell(s, "A000003", "reserved"), tell(s, "A000003", "freed")], None),
    "without a reason": (lambda s: [tell(s, "A000003", reason="")], "reason_needed"),
    "in no range": (lambda s: [tell(s, "Z1")], "serial_range"),
    "spoiled stays so": (lambda s: [tell(s, "A000009", "freed")], "serial_spoiled"),
    "stamped": (lambda s: [bar(s, "A000004"), tell(s, "A000004")], "serial_used"),
    "changed": (lambda s: ["UPDATE custody_serialevent SET reason = 'x'"], "append_only"),
    "taken away": (lambda s: ["DELETE FROM custody_serialevent"], "append_only"),
}  # fmt: skip

RANGES = {
    "beside another": (lambda s: [serials(s, "A", 6, 1000, 1999)], None),
    "of another mark": (lambda s: [serials(s, "A", 6, 1, 9, mark="XX")], None),
    "with other digits": (lambda s: [serials(s, "A", 5, 1, 9)], None),
    "over its end": (lambda s: [serials(s, "A", 6, 999, 1999)], "serial_ranges_apart"),
    "within it": (lambda s: [serials(s, "A", 6, 5, 6)], "serial_ranges_apart"),
    "the same serials by a longer head": (lambda s: [serials(s, "A000", 3, 900, 999)], "serial_ranges_apart"),
    "other serials by a longer head": (lambda s: [serials(s, "A001", 3, 0, 999)], None),
    "the same serials by a shorter head": (
        lambda s: [serials(s, "B00", 2, 5, 9), serials(s, "B", 4, 9, 10)], "serial_ranges_apart"),
    "letters in the longer head": (lambda s: [serials(s, "AX", 5, 1, 9)], None),
    "backwards": (lambda s: [serials(s, "C", 3, 9, 1)], "range_of_serials"),
    "changed": (lambda s: ["UPDATE custody_serialrange SET last = last + 1"], "append_only"),
}  # fmt: skip

TYPES = {
    "out of use": (lambda s: ["UPDATE custody_bartype SET active = false WHERE code = 'AU-1000'"], None),
    **{
        f"another {column}": (
            lambda s, to=f"{column} = {value}": [f"UPDATE custody_bartype SET {to} WHERE code = 'AU-1000'"],
            "bar_type_stays",
        )
        for column, value in (("most_mg", "2000000"), ("least_ppm", "1"), ("metal", "'Ag'"), ("code", "'X'"))
    },
    "nominal above least": (
        lambda s: ["INSERT INTO custody_bartype (code, name, metal, nominal_mg, least_mg, most_mg, least_ppm, making,"
                   " marks, active, entered_at) VALUES ('N', 'n', 'Au', 10, 9, 20, 999900, 'cast', '{}', true, now())"],
        "bar_type_weighs_something",
    ),
    "taken away": (lambda s: ["DELETE FROM custody_bartype WHERE code = 'AU-OLD'"], "append_only"),
}  # fmt: skip

CASES = {
    f"{what}: {name}": case
    for what, cases in {"bar": BARS, "event": EVENTS, "range": RANGES, "type": TYPES}.items()
    for name, case in cases.items()
}


@pytest.mark.parametrize(("done", "rule"), CASES.values(), ids=CASES.keys())
def test_what_postgresql_refuses(scene, refused, done, rule):
    role = roles.APP if "custody_post" in str(done(scene)) else roles.OWNER
    assert refused(*done(scene), role=role) == rule


def test_a_range_is_set_aside_when_the_clock_says(scene):
    """Dated back, it would make bars that were stamped before look as if they had ignored it."""
    before = timezone.now()
    made = set_aside_serials(
        mark="HFQ", year=scene.year, head="", width=3, first=1, last=9, at=before.replace(year=2020), by=scene.mona
    )
    assert SerialRange.objects.get(pk=made.pk).set_at >= before


@pytest.fixture
def two(scene):
    """two(first, second): both at once, each in a transaction of its own; the second waits for the first one's end."""

    def run(first, second):
        name = connections["default"].settings_dict["NAME"]
        with embedded.connect(HOME, name, roles.OWNER) as one, embedded.connect(HOME, name, roles.OWNER) as other:
            one.autocommit = other.autocommit = False
            one.execute(*first)
            said = []

            def wait():
                try:
                    other.execute("SET lock_timeout = '20s'")
                    other.execute(*second)
                    said.append(None)
                except psycopg.Error as error:
                    said.append(error.diag.constraint_name)
                finally:
                    other.rollback()

            thread = threading.Thread(target=wait)
            thread.start()
            thread.join(0.5)
            waited = thread.is_alive()
            one.commit()
            thread.join()
            return waited, said[0]

    return run


def test_who_stamps_waits_for_who_spoils(scene, two):
    assert two(tell(scene, "A000500"), bar(scene, "A000500", gross=1_000)) == (True, "serial_spoiled")


def test_who_spoils_waits_for_who_stamps(scene, two):
    assert two(bar(scene, "A000501", gross=1_000), tell(scene, "A000501")) == (True, "serial_used")


def test_two_ranges_at_once(scene, two):
    assert two(serials(scene, "T", 3, 1, 50), serials(scene, "T", 3, 50, 99)) == (True, "serial_ranges_apart")


def test_who_stamps_waits_for_the_first_range_of_a_year(scene, two):
    """Both would find nothing: the bar no range, and the range no bar outside it."""
    outside = bar(scene, "T777", gross=1_000)
    assert two(serials(scene, "U", 3, 1, 50), outside) == (True, "serial_range")
