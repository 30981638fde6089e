"""The plant: a batch, bars, and what the running balance says while they are typed."""

from tests.journeys.laboratory import BENCH, work
from tests.journeys.person import Person

BALANCED = "Balanced to the milligram."


def batch(operator: Person, *lots: str) -> dict[str, str]:
    """Several lots dissolved in one operation; gives the products' numbers by their form.

    In by the book: 2875.500 g with 2379.925 g Au, 307.310 g Ag, 136.695 g Cu; 7000 g of acid and water are added.
    """
    work(operator, "Refine a batch", *lots)
    assert operator.still_to_explain() == (
        "2 875.500 g gross still to explain; 2 379.925 g Au still to explain; 307.310 g Ag still to explain;"
        " 136.695 g Cu still to explain"
    )
    operator.type("Reason", "Weights of the wet side from the batch sheet")
    operator.fill_in({"Gross": "5 kg"}, "Addition 1")
    operator.fill_in({"Gross": "2 kg"}, "Addition 2")
    operator.fill_in({"Gross": "2372", "Au": "2368", "Ag": "0.6"}, "Lot out 1")
    operator.fill_in({"Gross": "402", "Au": "0.15", "Ag": "301.5"}, "Lot out 2")
    operator.fill_in({"Gross": "32", "Au": "9", "Ag": "3.7"}, "Lot out 3")
    operator.fill_in({"Gross": "6900", "Cu": "136"}, "Lot out 4")
    operator.fill_in({"Gross": "70"}, "Loss 1")
    open_words = (
        "99.500 g gross still to explain; 2.775 g Au still to explain; 1.510 g Ag still to explain;"
        " 0.695 g Cu still to explain"
    )
    assert operator.still_to_explain() == open_words
    operator.press("Record the batch")
    assert "2.775 g of Au still to explain" in operator.faults
    assert operator.still_to_explain() == open_words, "everything typed is kept"
    assert operator.field("Gross", "Addition 1").input_value() == "5 kg"
    operator.fill_in({"Gross": "99.5", "Au": "2.775", "Ag": "1.51", "Cu": "0.695"}, "Loss 2")
    assert operator.still_to_explain() == BALANCED
    operator.press("Record the batch")
    return {row["What"]: row["Line"] for row in operator.table("Out")}


def held_is_refused(sampler: Person, lot: str) -> None:
    """A lot that compliance holds is not offered for work; scanned all the same, it is refused and says why."""
    sampler.desk("Sampling")
    (row,) = [row for row in sampler.table("Lots without an assay") if row["Lot"] == lot]
    assert (row["Clearance"], row["Next"]) == ("held", "Held: wait for its release")
    sampler.desk("Plant")
    assert not sampler.page.get_by_label(f"Take {lot}").count()
    sampler.follow("Record a step")
    sampler.follow("Melt")
    sampler.shoot("Lot", lot, "Lot in 1")
    sampler.type("Reason", "Weighed at the furnace")
    sampler.type("Gross", "119", "Lot out 1")
    sampler.type("Gross", "1", "Loss 1")
    sampler.press("Record the step")
    assert f"Lot {lot} is held by compliance: nobody may work it until it is released with a reason." in sampler.faults
    assert sampler.field("Gross", "Lot out 1").input_value() == "119", "what was typed is kept"


def cast(operator: Person, manager: Person, sand: str) -> list[str]:
    """Two bars of 1 kg, one of 250 g, one of 100 g; a spill past the tolerance. Gives the serials.

    The sand holds 2372.000 g with 2367.968 g Au, the bars 2346.005 g; 20.000 g go back to stock.
    """
    work(operator, "Cast bars", sand)
    operator.fill_in({"Scale": BENCH, "How many bars": "4", "Fineness of each": "998.3"})
    operator.press("Lay out the bars")
    for number, weighed in enumerate(("1000", "1000", "250", "100"), start=1):
        operator.type("Weighed", weighed, f"Bar {number}")
    assert operator.field("Serial", "Bar 4").input_value() == "A000004"
    operator.type("Gross", "20", "Remainder")
    assert operator.still_to_explain() == "2.000 g gross still to explain; 1.963 g Au still to explain"
    operator.fill_in({"Cause": "spill", "Gross": "2", "Au": "2"}, "Loss 1")
    assert operator.still_to_explain() == BALANCED
    operator.press("Record the cast")
    assert "past the tolerance of this step (cast): a manager countersigns it" in operator.faults
    operator.fill_in(
        {
            "Reason": "The mould tipped; the floor was swept",
            "Second person's login": operator.username,
            "Second person's password": operator.password,
            "What the signature means": "I saw it",
        }
    )
    operator.press("Record the cast")
    assert "may not countersign" in operator.faults
    operator.fill_in({"Second person's login": manager.username, "Second person's password": manager.password})
    operator.press("Record the cast")
    assert operator.fact("Signed by") == manager.name
    return [row["What"].split()[2] for row in operator.table("Out") if row["What"].startswith("bar")]
