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


SEALED = "sealed, the seal seen unbroken"
BY_SERIAL = "bar counted by its serial"


def hand_over(
    person: Person, to: Person, place: str, weighed: dict[str, str], *, desk: str = "Vault", at_book: str = SEALED
) -> None:
    """Lots are scanned, each with what the scale says; a blank weight passes it at book. Who gives or takes types."""
    person.desk(desk)
    person.follow("Hand over lots")
    person.fill_in({"To": to.name, "Place": place})
    on_the_scale = {lot: grams for lot, grams in weighed.items() if grams}
    if on_the_scale:
        person.type("Scale", "BENCH-2 Bench scale 2")
    for number, (lot, grams) in enumerate(on_the_scale.items(), start=1):
        if number > 1:
            person.one_more("Add a lot")
        person.shoot("Lot", lot, f"Lot {number}")
        person.page.keyboard.type(grams)  # the scanner has moved on to the weight
    for lot in weighed.keys() - on_the_scale.keys():
        person.scan_into("Lots that pass at book", lot)
        person.type("Why they are not weighed", at_book)
    person.press("Record the handover")
    count = f"{len(weighed)} lot{'s' if len(weighed) > 1 else ''}"
    assert f"{count} passed to {to.name}" in person.told


def shift_over(taker: Person, giver: Person, place: str, *labels: str) -> None:
    """The shift changes: the list of a place is scanned, who gives signs beside who takes."""
    taker.desk("Vault")
    taker.follow(place)
    taker.follow("Shift handover")
    for label in labels:
        taker.scan_into("Scan here", label)
    signer = taker.field(f"{giver.name}'s login")
    signer.fill(giver.username)
    taker.type(f"{giver.name}'s password", giver.password)
    taker.press("Record the shift handover")
    assert f"{taker.name} took over {len(labels)} lot" in taker.told
    assert "Both signed" in taker.told
