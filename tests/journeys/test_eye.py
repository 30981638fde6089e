"""The eye sees what it is there to see."""

import pytest

from tests.journeys.eye import Eye

NO_WORDS = "document.querySelector('main').innerHTML += '<img src=\"data:,\">'"
TOO_WIDE = "document.querySelector('main').innerHTML += '<pre>' + 'x'.repeat(400) + '</pre>'"


@pytest.mark.parametrize(("fault", "said"), [(NO_WORDS, "image-alt"), (TOO_WIDE, "390")])
def test_a_fault_is_seen_once_it_is_there(page, fault, said):
    page.goto("/sign-in/")
    Eye().look(page)
    page.evaluate(fault)
    with pytest.raises(AssertionError, match=said):
        Eye().look(page)
