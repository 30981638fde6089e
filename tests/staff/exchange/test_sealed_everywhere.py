"""A result that is sealed is on no page, in no answer to a form and in no examination, whoever of the staff asks."""

import re

import pytest
from django.urls.converters import IntConverter, UUIDConverter

from custody.queries.verify.exchanges import check
from custody.queries.verify.findings import Check
from tests import builders, exchanges, people
from tests.portal.test_doors import OF_KIND, STAFF, answers

FIGURES = {"Au": 901_237, "Ag": 81_459}
#: However a page may write them: parts per thousand, per million, milligrams of the lot, and whose laboratory it was.
TRACES = ("901.237", "901237", "901 237", "81.459", "81459", "81 459", "Tern Bay")


@pytest.fixture
def sealed(db):
    """An exchange in which the customer's result alone is in."""
    exchange = exchanges.opened()
    exchanges.determined(exchange.lot)
    exchanges.customer_in(exchange, **FIGURES)
    return exchange


def addresses(exchange):
    """Every address of the staff's door that can be filled with what belongs to this exchange."""
    lot = exchange.lot
    of_determination = dict.fromkeys(("accept", "assay-certificate", "assay-again"), lot.determinations.get().number)
    desks = (entry.name for _, entry in STAFF if entry.name.startswith("exchange"))
    of_exchange = dict.fromkeys(desks, exchange.number)
    numbers = of_exchange | of_determination | {"exchange-open": lot.number}
    numbers |= dict.fromkeys(("receipt", "settle"), builders.receipt_of(lot).number)
    others = {"code": "P-01", "username": "mona", "direction": "back"}
    for route, entry in STAFF:
        for name, converter in entry.pattern.converters.items():
            value = numbers.get(entry.name, lot.number) if name == "number" else others.get(name, "melt")
            value = OF_KIND[type(converter)] if isinstance(converter, (IntConverter, UUIDConverter)) else value
            route = re.sub(rf"<\w+:{name}>", value, route)
        yield f"/{route}"


def test_a_sealed_result_is_nowhere(sealed):
    seen = 0
    for person in (people.anna_assayer, people.matt_accountant):
        client = people.signed_in(person())
        for address in (*addresses(sealed), f"/find/?code={sealed.number}", f"/find/?code={sealed.lot.number}"):
            for answer in answers(client, address):
                seen += answer.status_code == 200
                shown = b"".join(answer).decode(errors="replace")
                assert not any(trace in shown for trace in TRACES), (address, person)
    assert seen > 60, "most addresses open for somebody"
    check(examined := Check("I12"))
    assert not any(trace in str(examined.rows) for trace in TRACES)
    exchanges.refinery_in(sealed)
    shown = people.signed_in(people.adam_auditor()).get(f"/laboratory/exchanges/{sealed.number}/").content.decode()
    assert all(trace in shown for trace in ("901.237", "81.459", "Tern Bay")), "the control: both are in"
