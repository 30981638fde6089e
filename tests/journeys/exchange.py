"""The exchange of assays: terms, two results that nobody sees before both are in, the umpire, the settled assay."""

from tests.journeys.person import Person


def agree(accountant: Person, party: str, *, umpire: str, rule: str, **limits: str) -> None:
    """Exchange terms with a party, by its page; limits in parts per thousand."""
    accountant.desk("Parties")
    accountant.follow(party)
    accountant.follow("Agree exchange of assays")
    accountant.fill_in({f"{metal}, splitting limit": limit for metal, limit in limits.items()})
    accountant.type("Outside the limit counts", rule)
    accountant.shoot("Umpire laboratory", umpire)
    accountant.press("Record the terms")
    (row,) = accountant.table("Exchange of assays agreed")
    assert row["Outside the limits"] == rule


def to_exchanges(person: Person) -> None:
    """The list of exchanges, from the laboratory."""
    person.desk("Laboratory")
    person.follow("Exchanges of assays")


def open_one(assayer: Person, lot: str) -> str:
    """The exchange of a lot that is due; gives its number."""
    to_exchanges(assayer)
    assayer.follow(f"Open the exchange of {lot}")
    assayer.press("Open the exchange")
    return assayer.title


def refinery_in(assayer: Person, exchange: str, determination: str) -> None:
    """The laboratory hands in one of its determinations."""
    to_exchanges(assayer)
    assayer.follow(exchange)
    assayer.follow("Hand in the refinery's result")
    label = assayer.field("Determination").locator("option").filter(has_text=determination).inner_text()
    assayer.type("Determination", label)
    assayer.press("Hand in")
    assert assayer.fact("Refinery's result") == "in, sealed"


def customer_in(customer: Person, exchange: str, laboratory: str, **per_mille: str) -> None:
    """The customer hands in its own result; forgotten to confirm, nothing happens and all is kept."""
    customer.desk("My deliveries")
    customer.follow(exchange)
    assert not customer.main.locator("table").count(), "no figures before both results are in"
    customer.follow("Hand in your result")
    customer.fill_in({"Laboratory": laboratory, **per_mille})
    customer.press("Hand in")
    assert "Confirm that this result is final" in customer.faults
    assert customer.field("Laboratory").input_value() == laboratory
    customer.choose("This result is final")
    customer.press("Hand in")
    assert "Your result is in." in customer.told


def umpire_in(accountant: Person, exchange: str, report: str, **per_mille: str) -> None:
    """The umpire's report is entered: its laboratory stands there, as agreed."""
    to_exchanges(accountant)
    accountant.follow(exchange)
    accountant.follow("Enter the umpire's report")
    accountant.fill_in({"Report number": report, **per_mille})
    accountant.choose("This result is final")
    accountant.press("Record the umpire's result")


def settle(accountant: Person, exchange: str) -> str:
    """What it came to is recorded; gives the determination's number."""
    accountant.follow("Record the settled assay")
    accountant.press("Record the settled assay")
    assert accountant.title == exchange
    return accountant.fact("Settled assay")


def accept(second: Person, exchange: str, determination: str) -> None:
    """Another person accepts, from the page of the exchange."""
    to_exchanges(second)
    second.follow(exchange)
    second.follow(f"Accept {determination}")
    second.press(f"Accept {determination}")
