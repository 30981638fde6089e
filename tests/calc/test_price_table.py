"""Files of prices: every line understood or the whole file refused; and prices in either unit compared exactly."""

from datetime import date
from decimal import Decimal

import pytest

from custody.calc.currencies import currency_code
from custody.calc.file_rows import MOST_FAULTS, MOST_LINES, FileRefused
from custody.calc.price_table import fixing_words, judge, per_ounce, read_prices, said_price
from custody.calc.refusals import Refused

FIRST = "day,metal,currency,fixing,per,amount,source"
GOOD = "2024-01-31,Au,USD,afternoon,ozt,2034.05,sheet of the day"
TODAY = date(2024, 2, 1)


def faults(*lines, first=FIRST):
    with pytest.raises(FileRefused) as told:
        read_prices("\n".join([first, *lines]), TODAY)
    return told.value.faults


def test_a_file_is_read_in_the_order_of_its_days():
    text = f'\ufeff{FIRST}\r\n{GOOD}\r\n\r\n2024-01-30, Ag ,eur,Daily  noon,g,0.7051,"one, two"\r\n'
    later, earlier = reversed(read_prices(text, TODAY))
    assert (later.day, later.amount, later.per, later.line) == (date(2024, 1, 31), Decimal("2034.05"), "ozt", 2)
    assert (earlier.series, earlier.source) == (("Ag", "EUR", "daily noon"), "one, two")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("2024-01-31,Au,USD,afternoon,ozt,2034,05,sheet", "8 fields instead of 7. The decimal sign is a point"),
        ('2024-01-31,Au,USD,afternoon,ozt,"2034,05",sheet', "has a comma"),
        ("2024-01-31,Au,USD,afternoon,ozt,-1,sheet", "is negative"),
        ("2024-01-31,Au,USD,afternoon,ozt,0,sheet", "is zero"),
        ("2024-01-31,Au,USD,afternoon,ozt,NaN,sheet", "is not a number"),
        ("2024-01-31,Au,USD,afternoon,ozt,1e400,sheet", "is written with an exponent"),
        ("2024-01-31,Au,USD,afternoon,ozt,2034.05 USD,sheet", "not a plain number"),
        ("2024-01-31,Au,USD,afternoon,ozt,2034.05001,sheet", "more than 4 decimals"),
        (f"2024-01-31,Au,USD,afternoon,ozt,{'9' * 100_000},sheet", "100000 characters long"),
        ("2024-01-31,Au,USD,afternoon,ozt,1000000000,sheet", "Check the decimal point"),
        ("2024-01-31,Au,USD,afternoon,oz,2034,sheet", "not per “oz”"),
        ("2024-01-31,gold,USD,afternoon,ozt,2034,sheet", "“gold” is no metal of account"),
        ("2024-01-31,Au,UDS,afternoon,ozt,2034,sheet", "“UDS” is no currency"),
        ("31.01.2024,Au,USD,afternoon,ozt,2034,sheet", "Write it like 2024-01-31"),
        ("2024-02-30,Au,USD,afternoon,ozt,2034,sheet", "is no day"),
        ("2024-02-02,Au,USD,afternoon,ozt,2034,sheet", "is in the future"),
        ("2024-01-31,Au,USD,,ozt,2034,sheet", "The fixing is missing"),
        ("2024-01-31,Au,USD,afternoon,ozt,2034,", "The source is missing"),
        (f"2024-01-31,Au,USD,afternoon,ozt,2034,{'s' * 121}", "at most 120"),
        ("2024-01-31,Au,USD,after\x07noon,ozt,2034,sheet", "printable"),
    ],
)
def test_a_bad_line_is_told_by_its_number(line, said):
    (fault,) = faults(GOOD.replace("31", "30"), line)
    assert fault.startswith("line 3: ")
    assert said in fault


def test_what_is_no_such_file():
    assert "the first line names the columns" in faults(GOOD, first="day;metal;currency")[0]
    assert "the first line names the columns" in faults(GOOD, first="amount,day,metal,currency,fixing,per,source")[0]
    assert faults() == ("line 2: there are no prices.",)
    assert "line 2 has a price of that metal" in faults(GOOD, GOOD.replace("2034", "2035"))[0]
    assert len(faults(*["x"] * 100)) == MOST_FAULTS
    assert "at most" in faults(*[GOOD] * MOST_LINES)[0]
    assert "longer than any price" in faults(f"2024-01-31,Au,USD,daily,ozt,{'9' * 1_000_000},sheet")[0]
    assert "quotation marks" in faults('2024-01-31,Au,USD,daily,ozt,"20"34,sheet')[0]
    with pytest.raises(FileRefused):
        read_prices("", TODAY)


def test_a_gram_is_made_an_ounce_exactly():
    assert per_ounce(Decimal("999999999.9999"), "g") == Decimal("31103476799.99688965232")
    assert per_ounce(Decimal("2034.05"), "ozt") == Decimal("2034.05")


def said(day, amount, per="ozt"):
    return said_price(
        metal="Au", currency="usd", fixing="Daily", day=date(2024, 1, day), amount=Decimal(amount), per=per, source="x"
    )


def test_each_is_judged_by_the_last_that_counts():
    known = {date(2024, 1, 2): Decimal(2000), date(2024, 1, 9): Decimal(1000)}
    entered = [said(1, "2101"), said(3, "2100"), said(4, "2300"), said(5, "2205"), said(2, "9"), said(3, "70.8", "g")]
    judged = judge(known, entered, lambda day: 50_000)
    assert [(one.doubtful, one.before and one.before.day) for one in judged] == [
        (True, 2), (False, 2), (True, 3), (False, 3), (True, 3), (False, 5),
    ]  # fmt: skip
    assert [one.before for one in judge({}, [said(1, "5")], lambda day: 1)] == [None]


def test_words_of_a_fixing_and_letters_of_a_currency():
    assert fixing_words("  After  NOON ") == "after noon"
    assert currency_code(" chf ") == "CHF"
    for text in ("", "US$", "XXXX", "XXY"):
        with pytest.raises(Refused):
            currency_code(text)
