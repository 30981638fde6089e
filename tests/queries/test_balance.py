"""The balance of a span of local days, against the file that was imported and the movements added up by hand."""

import json
from collections import Counter, defaultdict
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.utils import timezone

from custody.actions.history import import_history
from custody.actions.house import describe_refinery
from custody.actions.work import reverse
from custody.management.commands.import_history import read_file
from custody.models import Movement
from custody.queries.balance import balance, balance_document
from custody.terms import COLUMNS, METALS
from tests import builders, people
from tests.queries.past import dispatch, history, lot, operation, receive

pytestmark = pytest.mark.django_db

SAMPLE = settings.BASE_DIR / "fixtures" / "history" / "history-small.jsonl"
EXPECTED = json.loads((SAMPLE.parent / "history-small.expect.json").read_text())
ZONES = ("UTC", "Pacific/Auckland", "America/Los_Angeles")


def house_at(zone: str) -> None:
    describe_refinery(name="Harrow Fell Refinery", address="", mark="HFR", time_zone=zone, receipt_terms="", by=None)


def records() -> list[dict]:
    found = [json.loads(line) for line in SAMPLE.read_text().splitlines()]
    return [record for record in found if record["record"] == "operation"]


def mg(grams: str) -> int:
    whole, _, part = grams.lstrip("-").partition(".")
    return (-1 if grams.startswith("-") else 1) * (int(whole) * 1000 + int(part.ljust(3, "0") or 0))


def row(entry: dict) -> list[int]:
    return [mg(entry["gross_g"]), *(mg(entry.get("fine_g", {}).get(metal, "0")) for metal in METALS)]


def spans(zone: str) -> list[tuple[date, date]]:
    """Every month of the sample, the whole of it, and single days."""
    days = sorted({datetime.fromisoformat(one["at"]).astimezone(ZoneInfo(zone)).date() for one in records()})
    months = sorted({day.replace(day=1) for day in days})
    found = [(month, (month + timedelta(days=31)).replace(day=1) - timedelta(days=1)) for month in months]
    return [*found, (days[0], days[-1]), *((day, day) for day in days[:: len(days) // 5])]


@pytest.mark.parametrize("zone", ZONES)
def test_the_sample_plant_span_by_span(zone):
    """What came and was lost is added up from the file; what was there from the movements, at the local day of each."""
    house_at(zone)
    import_history(lines=read_file(SAMPLE))
    where = ZoneInfo(zone)
    came, lost = defaultdict(Counter), defaultdict(Counter)
    for record in records():
        day = datetime.fromisoformat(record["at"]).astimezone(where).date()
        for name, position in zip(COLUMNS, range(6), strict=True):
            if record["kind"] == "receive":
                came[day]["received", name] += sum(row(one)[position] for one in record["outputs"])
            came[day]["added", name] += sum(row(one)[position] for one in record.get("additions", []))
            for one in record.get("losses", []):
                lost[day][one["cause"], name] += row(one)[position]
    held = defaultdict(Counter)
    for movement in Movement.objects.filter(lot__isnull=False).select_related("operation"):
        for name, amount in zip(COLUMNS, movement.columns_mg, strict=True):
            day = movement.operation.at.astimezone(where).date()
            held[day][name] += amount if movement.side == "out" else -amount

    def total(by_day, key, first, last):
        return sum(counted[key] for day, counted in by_day.items() if first <= day <= last)

    for first, last in spans(zone):
        for name, column in balance(first, last).columns.items():
            assert column.opening == total(held, name, date.min, first - timedelta(days=1)), (first, last, name)
            assert column.closing == total(held, name, date.min, last), (first, last, name)
            assert column.received == total(came, ("received", name), first, last), (first, last, name)
            assert column.added == total(came, ("added", name), first, last), (first, last, name)
            assert column.differences == -total(lost, ("measurement difference", name), first, last)
            causes = {cause for day in lost.values() for cause, _ in day} - {"measurement difference"}
            expected = {cause: total(lost, (cause, name), first, last) for cause in causes}
            assert column.losses == {cause: amount for cause, amount in expected.items() if amount}
            assert column.unexplained == 0


def test_the_end_is_the_stock_that_is_expected():
    import_history(lines=read_file(SAMPLE))
    found = balance(date(2000, 1, 1), timezone.localdate())
    assert found.columns["gross"].closing == sum(one["gross"] for one in EXPECTED["stock"].values())
    for metal in METALS:
        assert found.columns[metal].closing == sum(one["fine"].get(metal, 0) for one in EXPECTED["stock"].values())
        assert found.columns[metal].received == sum(one.get(metal, 0) for one in EXPECTED["origins"].values())


def test_a_month_stays_what_it_was_when_more_is_recorded():
    lines = read_file(SAMPLE)
    first = date(2000, 1, 1)
    cut = len(lines) // 2
    import_history(lines=lines[:cut])
    middle = datetime.fromisoformat(json.loads(lines[cut - 1])["at"]).date() - timedelta(days=1)
    then = balance_document(first, middle)
    assert then["metals"]["Au"]["closing"] > 0
    import_history(lines=lines)
    assert balance_document(first, middle) == then


def test_a_day_is_the_refinerys_own():
    house_at("Pacific/Auckland")  # twelve hours ahead of UTC in winter
    history(receive("L-1", day="2024-06-30T11:59:59+00:00"), receive("L-2", day="2024-06-30T12:00:00+00:00"))
    june, july = balance(date(2024, 6, 1), date(2024, 6, 30)), balance(date(2024, 7, 1), date(2024, 7, 31))
    assert (june.columns["Au"].received, june.columns["Au"].closing) == (900_000, 900_000)
    assert (july.columns["Au"].opening, july.columns["Au"].received) == (900_000, 900_000)


def test_a_reversal_nets_out():
    builders.ready(1000)
    today = timezone.localdate()
    before = balance_document(today, today)
    assert before["metals"]["Au"]["received"] == 800_000
    bar = builders.bar("A1")
    reverse(operation=bar.created_by, reason="weighed twice", at=timezone.now(), by=people.otto_operator())
    after = balance_document(today, today)
    assert after["gross"]["closing"] == before["gross"]["closing"] + 1_000_000  # the bar's own parcel
    assert after["metals"]["Au"]["closing"] == 800_000 + 999_900
    lone = builders.received(500_000)[0]
    assert balance_document(today, today)["unvalued"] == [{"lot": lone.number, "gross_mg": 500_000}]
    reverse(operation=lone.created_by, reason="wrong customer", at=timezone.now(), by=people.mona_manager())
    assert balance_document(today, today) == after


def test_a_reversed_loss_and_dispatch_leave_no_trace_in_the_sums():
    history(
        receive("L-1", day="2024-01-01"),
        operation(
            "OP-M", "melt", day="2024-01-02", inputs=[{"lot": "L-1"}], outputs=[lot("L-2", "999", {"Au": "899"})],
            losses=[{"cause": "slag", "gross_g": "1", "fine_g": {"Au": "1"}}],
        ),
        dispatch("L-2", day="2024-01-03"),
        operation("OP-R1", "reverse", day="2024-01-04", reverses="OUT-L-2", reason="wrong lot"),
        operation("OP-R2", "reverse", day="2024-02-01", reverses="OP-M", reason="wrong weight"),
    )  # fmt: skip
    whole = balance(date(2024, 1, 1), date(2024, 2, 1)).columns["Au"]
    assert (whole.received, whole.losses, whole.dispatched, whole.closing) == (900_000, {}, 0, 900_000)
    january = balance(date(2024, 1, 1), date(2024, 1, 31)).columns["Au"]
    assert (january.losses, january.dispatched, january.closing) == ({"slag": 1_000}, 0, 899_000)
    february = balance(date(2024, 2, 1), date(2024, 2, 29)).columns["Au"]
    assert (february.opening, february.losses, february.closing) == (899_000, {"slag": -1_000}, 900_000)


def test_lots_not_valued_at_the_end_stand_apart():
    history(
        receive("L-1", day="2024-01-01", au=None),
        receive("L-2", day="2024-01-02", au=None, gross="200"),
        operation("OP-V", "value", day="2024-02-01", lot="L-1", fine_g={"Au": "700"}),
    )
    january = balance(date(2024, 1, 1), date(2024, 1, 31))
    assert january.unvalued == {"L-1": 1_000_000, "L-2": 200_000}
    assert january.unvalued_gross == january.columns["gross"].closing == 1_200_000
    assert january.columns["Au"].received == 0
    february = balance(date(2024, 2, 1), date(2024, 2, 29))
    assert february.unvalued == {"L-2": 200_000}
    assert (february.columns["gross"].received, february.columns["Au"].received) == (0, 700_000)  # dated when accepted


def test_an_empty_book_balances():
    assert balance(date(2024, 1, 1), date(2024, 1, 31)).columns["gross"].closing == 0
