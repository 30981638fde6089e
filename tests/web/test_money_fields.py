"""Percentages and money as typed: understood or refused, never guessed."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from custody.web.forms import MoneyField, PercentField


@pytest.mark.parametrize(("typed", "ppm"), [("99.5", 995_000), (" 100 ", 1_000_000), ("0.0001", 1), ("", None)])
def test_a_percentage_is_read(typed, ppm):
    assert PercentField(required=False).clean(typed) == ppm


@pytest.mark.parametrize(("typed", "amount"), [("70.1234", "70.1234"), ("0", "0"), ("999999999", "999999999")])
def test_money_is_read(typed, amount):
    assert MoneyField(decimals=4, zero=True).clean(typed) == Decimal(amount)


@pytest.mark.parametrize(
    "typed", ["99,5", "-1", "1e3", "NaN", "99.5 %", "1.23456", "9" * 1_000_000, "1000000000", "0", "١"]
)
def test_anything_else_is_refused(typed):
    for field in (PercentField(), MoneyField(decimals=4)):
        with pytest.raises(ValidationError):
            field.clean(typed)


def test_what_was_agreed_is_shown_as_it_would_be_typed():
    assert PercentField().prepare_value(990_000) == "99.00"
    assert MoneyField().prepare_value(Decimal("150.00")) == "150.00"
    assert MoneyField().prepare_value("1,5") == "1,5"
