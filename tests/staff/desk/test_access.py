"""Who may open which page of the desk: staff read, strangers and customers do not, and each act has its roles."""

import pytest
from django.test import Client

from tests import builders, people

pytestmark = pytest.mark.django_db

READ = ("/book/", "/parties/", "/party/P-01/", "/lot/{lot}/", "/receipt/{receipt}/", "/operation/{receipt}/")
ACTS = {
    "/counter/": {people.fiona_frontdesk},
    "/parties/new/": {people.fiona_frontdesk, people.clara_compliance, people.mona_manager},
    "/party-change/P-01/": {people.fiona_frontdesk, people.clara_compliance, people.mona_manager},
    "/party-terms/P-01/": {people.matt_accountant},
    "/reverse/{receipt}/": {people.otto_operator, people.matt_accountant, people.mona_manager},
}


@pytest.fixture
def names():
    lot = builders.received()[0]
    return {"lot": lot.number, "receipt": builders.receipt_of(lot).number}


@pytest.mark.parametrize("page", READ)
def test_staff_read_everything_and_customers_nothing(names, page):
    for who in people.STAFF:
        assert people.signed_in(who()).get(page.format(**names)).status_code == 200
    for who in people.CUSTOMERS:
        assert people.signed_in(who()).get(page.format(**names)).status_code == 403
    assert Client().get(page.format(**names)).url.startswith("/sign-in/?next=/")


@pytest.mark.parametrize("page", ACTS)
def test_each_act_has_its_roles(names, page):
    for who in people.EVERYBODY:
        client = people.signed_in(who())
        expected = 200 if who in ACTS[page] else 403
        assert client.get(page.format(**names)).status_code == expected, who.__name__
        if expected == 403:
            assert client.post(page.format(**names), {}).status_code == 403, who.__name__


def test_what_is_not_there_is_not_there():
    client = people.signed_in(people.adam_auditor())
    for page in READ[2:]:
        assert client.get(page.format(lot="L-0", receipt="R-0").replace("P-01", "P-0")).status_code == 404
