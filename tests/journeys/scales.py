"""Scales and reference weights are entered, checked in the morning, and found faulty."""

from tests.journeys.person import Person


def enter_scale(manager: Person, code: str, name: str, place: str, **plate: str) -> None:
    """By its plate: ``accuracy``, ``e``, ``most`` and, where the display steps finer, ``d``, all in grams."""
    manager.desk("Scales")
    manager.follow("Enter a scale")
    manager.fill_in({"Code": code, "Name": name, "Stands at": place, "Accuracy class": plate["accuracy"]})
    manager.fill_in({"e": plate["e"], "d": plate.get("d", ""), "Max": plate["most"]})
    manager.press("Enter this scale")
    assert f"Scale {code} {name} is entered." in manager.told


def enter_weight(manager: Person, code: str, grams: str, weight_class: str, **certificate: str) -> None:
    """A reference weight by its class; with a certificate: ``Certificate``, ``Deviation, mg``, ``Uncertainty, mg``."""
    manager.desk("Scales")
    manager.follow("Reference weights")
    manager.follow("Enter a weight")
    manager.fill_in({"Code": code, "Nominal": grams, "Class": weight_class} | certificate)
    manager.press("Enter this reference weight")
    assert f"Reference weight {code} is entered." in manager.told


def check_today(person: Person, scale: str, *loads: tuple[str, str], passed: bool = True) -> None:
    """Checks a scale with loads of (codes of weights, what it shows in grams), scanned and typed."""
    person.desk("Scales")
    row = person.main.get_by_role("row").filter(has=person.page.get_by_role("link", name=scale, exact=True))
    person.follow("Check", row)
    rows = person.main.locator("[data-row]")
    while rows.count() < len(loads):
        person.one_more("Add a load")
    while rows.count() > len(loads):
        rows.last.get_by_role("button", name="Remove this load").click()
    for number, (weights, reading) in enumerate(loads, start=1):
        person.field("Reference weights", f"Load {number}").fill("")
        person.shoot("Reference weights", weights, f"Load {number}")
        person.type("Reading", reading, f"Load {number}")
    person.press("Record the check")
    assert person.fact("Result") == ("passed" if passed else "failed")


def find_faulty(person: Person, scale: str, reason: str) -> list[dict[str, str]]:
    """Says that a scale is faulty; gives the list of what it weighed since its last good check."""
    person.desk("Scales")
    person.follow(scale)
    person.follow("It is faulty")
    person.type("What is wrong with it", reason)
    person.press("Record that it is faulty")
    assert "may not be used until it passes a check" in person.told
    return person.table("Weighings since the last good check")
