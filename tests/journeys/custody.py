"""Clearance, and metal passing from hand to hand."""

from tests.journeys.person import Person


def decide(officer: Person, decision: str, reason: str, *lots: str) -> None:
    """Compliance ticks lots of the list and releases or holds them, with the reason."""
    officer.desk("Clearance")
    for lot in lots:
        officer.choose(f"Decide on {lot}")
    officer.choose(decision)
    officer.type("Reason", reason)
    officer.press("Record the decision")
    assert all(lot in officer.told for lot in lots)


def hand_over(person: Person, to: Person, place: str, weighed: dict[str, str], *, desk: str = "Vault") -> None:
    """Lots are scanned, each with what the scale says; a blank weight passes it at book. Who gives or takes types."""
    person.desk(desk)
    person.follow("Hand over lots")
    person.fill_in({"To": to.name, "Place": place})
    for number, (lot, grams) in enumerate(weighed.items(), start=1):
        if number > 1:
            person.one_more("Add a lot")
        person.shoot("Lot", lot, f"Lot {number}")
        person.page.keyboard.type(grams)  # the scanner has moved on to the weight
    person.press("Record the handover")
    count = f"{len(weighed)} lot{'s' if len(weighed) > 1 else ''}"
    assert f"{count} passed to {to.name}" in person.told
