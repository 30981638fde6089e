"""Countries as typed at the counter: understood or refused."""

import pytest

from custody.calc.countries import COUNTRIES, country_code
from custody.calc.refusals import Refused


@pytest.mark.parametrize(
    ("typed", "code"), [("CA", "CA"), (" ca ", "CA"), ("Canada", "CA"), ("new  zealand", "NZ"), ("ÅLAND ISLANDS", "AX")]
)
def test_a_country_is_read(typed, code):
    assert country_code(typed) == code


@pytest.mark.parametrize("typed", ["", "XX", "UK", "Canad", "C", "CAN", "12", "C\0"])
def test_anything_else_is_refused(typed):
    with pytest.raises(Refused, match="two letters"):
        country_code(typed)


def test_the_list_is_whole():
    assert len(COUNTRIES) == 249  # as many as ISO 3166-1 assigns officially
    assert all(len(code) == 2 and code.isascii() and code.isupper() for code in COUNTRIES)
