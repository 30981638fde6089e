"""Prices past the ORM: what PostgreSQL asks of a row of the table, whoever writes it and whatever it says of itself."""

from datetime import timedelta
from decimal import Decimal
from random import Random

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from custody import errors
from custody.actions import _post
from custody.actions.prices import confirm_prices, enter_price, import_prices, set_price_limit
from custody.calc.file_rows import FileRefused
from custody.calc.price_table import read_prices
from custody.models import Price, PriceConfirmation, PriceImport, PriceLimit
from custody.queries import prices as queries
from custody.queries.verify import verify
from tests import people, prices
from tests.prices import day, entered, file_of

pytestmark = pytest.mark.django_db

COLUMNS = (
    "metal, currency, fixing, day, amount, per, source, replaces_id, reason, before_id, limit_ppm, doubtful, by_id, at"
)


def put(amount="2000", ago=0, *, by=None, **changes):
    """A row written without the application's code, saying that it is not doubtful."""
    row = {
        "metal": "Au", "currency": "USD", "fixing": "daily", "day": day(ago), "amount": Decimal(amount), "per": "ozt",
        "source": "x", "replaces": None, "reason": "", "before": None, "limit_ppm": 1, "doubtful": False,
        "by": (by or people.matt_accountant()).pk, "at": timezone.now(),
    } | changes  # fmt: skip
    marks = ", ".join(["%s"] * len(row))
    with _post.refusals(), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"INSERT INTO custody_price ({COLUMNS}) VALUES ({marks}) RETURNING id", list(row.values()))
        return Price.objects.get(pk=cursor.fetchone()[0])


def confirmed(price, by):
    with _post.refusals(), transaction.atomic():
        return PriceConfirmation.objects.create(price=price, note="x", by=by)


@pytest.mark.parametrize(
    ("amount", "doubtful"), [("2100", False), ("2100.0001", True), ("1900", False), ("1899.9999", True)]
)
def test_a_jump_past_the_limit_is_marked_either_way_whatever_the_row_says(amount, doubtful):
    before = put("2000", 1)
    made = put(amount)
    assert (made.doubtful, made.before, made.limit_ppm) == (doubtful, before, 50_000)


def test_prices_per_gram_and_per_ounce_are_compared_exactly():
    """2000 per ounce are 64.30149… per gram: 67.5165 is 4.9998 % over it, 67.5166 is 5.00003 %."""
    put("2000", 2)
    assert not put("67.5165", 1, per="g", fixing="daily").doubtful
    assert put("67.5166", 0, per="g", currency="EUR").doubtful is False  # another series, judged by nothing
    put("2000", 1, currency="GBP")
    assert put("67.5166", 0, per="g", currency="GBP").doubtful


def test_a_doubtful_price_is_no_measure_for_the_next_until_it_is_confirmed():
    first = put("2000", 3)
    wrong = put("20000", 2)
    assert put("20100", 1).doubtful, "a week of the same slip would pass after its first day"
    assert put("2010").before == first
    confirmed(wrong, people.mona_manager())
    assert put("20200", 0, fixing="daily", replaces=Price.objects.latest("id").pk, reason="x").before == wrong


def test_the_first_of_a_series_is_judged_by_the_one_after_it():
    later = put("2000")
    made = put("20000", 9)
    assert (made.doubtful, made.before) == (True, later)


def test_the_limit_of_the_day_counts():
    set_price_limit(metal="Au", valid_from=day(), jump_ppm=10_000, by=people.mona_manager())
    put("2000", 2)
    assert put("2030", 1).limit_ppm == 50_000
    made = put("2051")
    assert (made.limit_ppm, made.doubtful) == (10_000, True)
    with pytest.raises(errors.PriceLimitAhead), _post.refusals():
        PriceLimit.objects.create(
            metal="Au", valid_from=day(1), jump_ppm=1, set_by=people.matt_accountant(), set_at=timezone.now()
        )


ROWS = {
    "tomorrow": ({"ago": -1}, errors.PriceDay),
    "a second price of the day": ({}, errors.PriceStands),
    "zero": ({"amount": "0", "ago": 5}, errors.PriceOfSomething),
    "negative": ({"amount": "-2000", "ago": 5}, errors.PriceOfSomething),
    "no metal": ({"metal": "Xx", "ago": 5}, errors.PriceOfSomething),
    "no currency": ({"currency": "usd", "ago": 5}, errors.PriceOfSomething),
    "no unit": ({"per": "kg", "ago": 5}, errors.PriceOfSomething),
    "no fixing": ({"fixing": "", "ago": 5}, errors.PriceOfSomething),
    "a fixing in capitals": ({"fixing": "Daily", "ago": 5}, errors.PriceOfSomething),
    "no source": ({"source": "", "ago": 5}, errors.PriceOfSomething),
}


@pytest.mark.parametrize(("changes", "refusal"), ROWS.values(), ids=ROWS.keys())
def test_refused(changes, refusal):
    put()
    with pytest.raises(refusal) as told:
        put(**changes)
    assert type(told.value) is refusal
    assert "{" not in told.value.sentence


@pytest.mark.parametrize("amount", ["NaN", "Infinity"])
def test_what_is_no_number_is_no_price(amount):
    with pytest.raises(errors.Refusal):
        put(amount)


def test_only_the_price_that_stands_is_replaced_and_with_a_reason():
    first = put(ago=1)
    other = put()
    second = put("2001", 1, replaces=first.pk, reason="A slip")
    for replaced in (first, other):
        with pytest.raises(errors.PriceReplaced), _post.refusals():
            put("2002", 1, replaces=replaced.pk, reason="Again")
    with pytest.raises(IntegrityError, match="price_replaced_with_a_reason"):
        put("2002", 1, replaces=second.pk)


def test_another_person_who_may_confirms_a_doubtful_price_that_stands():
    put(ago=1)
    sure, wrong = put(ago=2), put("9")
    for price, who, refusal in (
        (wrong, people.matt_accountant(), errors.PriceConfirmedByAnother),
        (sure, people.mona_manager(), errors.PriceConfirm),
        (wrong, people.adam_auditor(), errors.PriceConfirmRight),
    ):
        with pytest.raises(refusal):
            confirmed(price, who)
    put("2000", 0, replaces=wrong.pk, reason="A slip")
    with pytest.raises(errors.PriceConfirm):
        confirmed(wrong, people.mona_manager())


def test_python_foretells_what_postgresql_says():
    """A hundred random prices in two files, in either unit, some replaced: planned and kept are the same."""
    random = Random(5)
    for round in range(2):
        lines = ["day,metal,currency,fixing,per,amount,source"]
        for ago in random.sample(range(60), 50):
            cents = random.choice([200_000, 205_000, 195_000, 210_500, 400_000])
            per, amount = random.choice([("ozt", f"{cents / 100:.2f}"), ("g", f"{cents / 3110.34768:.4f}")])
            lines.append(f"{day(ago)},Au,USD,daily,{per},{amount},round {round}")
        text = "\n".join(lines)
        plans = queries.planned(read_prices(text, timezone.localdate()))
        kept = import_prices(name=f"{round}.csv", text=text, by=people.matt_accountant(), reason="Read again")
        rows = {price.day: price for price in kept.prices.select_related("before", "replaces")}
        assert len(rows) == len(plans) == 50
        assert {plan.judged.doubtful for plan in plans} == {True, False}
        for plan in plans:
            row = rows[plan.said.day]
            assert (row.doubtful, row.before and row.before.day) == (plan.judged.doubtful, plan.judged.before)
            assert row.replaces == plan.standing
    assert verify().ok, verify().as_document()


# Through the actions


def test_a_price_that_counts_a_missing_one_and_a_doubtful_one():
    said = {"metal": "Au", "currency": "USD", "fixing": "daily"}
    entered("2000.50", 1)
    quote = queries.price_on(**said, day=day(1))
    assert (quote.amount, quote.per, quote.source) == (Decimal("2000.50"), "ozt", prices.SOURCE)
    with pytest.raises(errors.NoPrice, match=f"no price of Au in USD, daily, for {day()}"):
        queries.price_on(**said, day=day())
    wrong = entered("2500")
    with pytest.raises(errors.DoubtfulPrice, match=r"more than 5.00 % from the one before it"):
        queries.price_on(**said, day=day())
    with pytest.raises(errors.PriceConfirmedByAnother):
        confirm_prices(prices=[wrong], note="I am sure", by=people.matt_accountant())
    for _ in range(2):
        confirm_prices(prices=[wrong], note="Seen on the sheet", by=people.mona_manager())
    assert queries.price_on(**said, day=day()).amount == 2500
    assert verify().ok


def test_the_mean_of_days():
    said = {"metal": "Au", "currency": "USD", "fixing": "daily"}
    import_prices(name="x", text=file_of("2000", "2001", "2003.01", ago=3), by=people.matt_accountant())
    assert queries.mean_of_days(**said, days=[day(3), day(2), day(1)]).amount == Decimal("2001.3367")
    with pytest.raises(errors.NoPrice, match=f"{day(5)}, {day()}"):
        queries.mean_of_days(**said, days=[day(5), day(3), day()])
    assert [quote.amount for quote in queries.prices_between(**said, first=day(2), last=day())] == [
        Decimal("2001"), Decimal("2003.01"),
    ]  # fmt: skip
    entered("64.4", per="g")
    with pytest.raises(errors.Refusal, match="one unit"):
        queries.mean_of_days(**said, days=[day(1), day()])


def test_a_wrong_price_is_replaced_and_stays_in_the_record():
    first = entered("2000")
    with pytest.raises(errors.PriceStands):
        entered("2001")
    second = entered("2001", reason="A slip of the keys")
    assert (second.replaces, second.reason) == (first, "A slip of the keys")
    assert list(queries.history_of(second, people.adam_auditor())) == [second, first]
    assert queries.price_on(metal="Au", currency="USD", fixing="daily", day=day()).amount == 2001
    assert not queries.history_of(second, people.stranger())


def test_the_same_file_again_changes_nothing_and_a_bad_line_refuses_all():
    matt = people.matt_accountant()
    text = file_of("2000", "2001", ago=3)
    assert import_prices(name="a.csv", text=text, by=matt).prices.count() == 2
    assert import_prices(name="b.csv", text=text, by=matt) is None
    assert import_prices(name="c.csv", text=text + "\n", by=matt) is None, "other bytes, the same prices"
    with pytest.raises(FileRefused, match="line 2: another price stands for that day"):
        import_prices(name="d.csv", text=file_of("2002", "2001", ago=3), by=matt)
    with pytest.raises(FileRefused) as told:
        import_prices(name="e.csv", text=file_of("2000", "2,001", "-1", ago=9), by=matt)
    assert [fault.split(":")[0] for fault in told.value.faults] == ["line 3", "line 4"]
    assert (Price.objects.count(), PriceImport.objects.count()) == (2, 1)
    assert (
        import_prices(name="d.csv", text=file_of("2002", "2001", ago=3), by=matt, reason="Misread").prices.count() == 1
    )


@pytest.mark.parametrize("who", [person for person in people.EVERYBODY if person is not people.matt_accountant])
def test_only_accountants_enter_and_only_managers_set_limits(who):
    with pytest.raises(errors.NotAllowed):
        entered(by=who())
    with pytest.raises(errors.NotAllowed):
        import_prices(name="x", text=file_of("2000", ago=1), by=who())
    if who is not people.mona_manager:
        with pytest.raises(errors.NotAllowed):
            confirm_prices(prices=[], note="x", by=who())
    with pytest.raises(errors.NotAllowed):
        set_price_limit(metal="Au", valid_from=day(), jump_ppm=1, by=people.matt_accountant())


@pytest.mark.parametrize("amount", [Decimal("NaN"), Decimal("1e400"), Decimal("1.00001"), Decimal(-1), 2000])
def test_a_program_that_gives_no_price(amount):
    with pytest.raises(errors.Refusal):
        enter_price(
            metal="Au", currency="USD", fixing="daily", day=day(), amount=amount, per="ozt", source="x",
            by=people.matt_accountant(),
        )  # fmt: skip


def test_a_price_of_tomorrow_is_told_before_it_is_asked():
    with pytest.raises(errors.PriceDay, match=str(timezone.localdate() + timedelta(days=1))):
        entered(ago=-1)
