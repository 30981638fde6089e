"""Prices as typed: understood or refused, never guessed."""

from decimal import Decimal

import pytest

from custody.calc.price import parse_price, quoted_price
from custody.calc.refusals import Refused


@pytest.mark.parametrize(
    ("typed", "price"),
    [("2412.50", "2412.50"), ("2412.5", "2412.50"), (" 28.315 ", "28.315"), ("70", "70.00"), ("0.0001", "0.0001")],
)
def test_a_plain_number_is_read(typed, price):
    assert parse_price(typed) == Decimal(price)
    assert str(parse_price(typed)) == price


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("2,412.50", "comma"),
        ("-1", "negative"),
        ("0", "is zero"),
        ("0.0000", "is zero"),
        ("NaN", "not a number"),
        ("1e400", "exponent"),
        ("70.12345", "more than 4 decimals"),  # a fifth would be rounded away in the book
        ("1000000000", "1000000000 or more"),
        ("70 EUR", "not a plain number"),
        ("", "missing"),
        ("9" * 1_000_000, "characters long"),
    ],
)
def test_anything_else_is_refused_with_what_would_be_right(typed, why):
    with pytest.raises(Refused) as refused:
        parse_price(typed, what="price of Au")
    assert why in refused.value.sentence
    assert "price of Au" in refused.value.sentence


def test_a_price_is_quoted_with_the_decimals_that_say_something():
    assert [str(quoted_price(Decimal(price))) for price in ("2412.5000", "28.3150", "70.1234", "1000.0000")] == [
        "2412.50",
        "28.315",
        "70.1234",
        "1000.00",
    ]
