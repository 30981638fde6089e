"""First melts, samples, determinations and their acceptance."""

from tests.journeys.person import Person


def melt_on_receipt(sampler: Person, lots: list[str], *, flux: str, melt: str, slag: str, fume: str) -> tuple[str, str]:
    """Parcels of one receipt become one melt; grams as typed. Gives the melt's and the slag's numbers."""
    work(sampler, "Melt on receipt", *lots)
    sampler.type("Gross", flux, "Addition 1")
    sampler.type("Gross", melt, "Lot out 1")
    sampler.type("Gross", slag, "Lot out 2")
    assert sampler.still_to_explain() == f"{fume} g gross still to explain"
    sampler.type("Gross", fume, "Loss 1")
    assert sampler.still_to_explain() == "Balanced to the milligram."
    sampler.press("Record the melt")
    made = {row["What"]: row["Line"] for row in sampler.table("Out")}
    return made["melt"], made["slag"]


def work(person: Person, step: str, *lots: str) -> None:
    """To the entry of a step, with the lots ticked on the plant's board."""
    person.desk("Plant")
    for lot in lots:
        person.choose(f"Take {lot}")
    waiting = person.main.locator("form").filter(has=person.page.get_by_label(f"Take {lots[0]}"))
    person.leads(waiting.get_by_role("button").first.click)
    person.follow(step)


def sample(sampler: Person, lot: str, grams: str) -> str:
    """A sample is drawn; gives its number."""
    sampler.desk("Laboratory")
    sampler.follow(f"Sample {lot}")
    sampler.type("Gross", grams, "Sample 1")
    sampler.press("Record the sample")
    return sampler.table("Out")[0]["Line"]


def consume(assayer: Person, sample: str, grams: str) -> None:
    """The assay takes a part of the sample."""
    assayer.desk("Laboratory")
    assayer.follow(f"Consume {sample}")
    assayer.type("Consumed", grams)
    assayer.press("Record what was consumed")


def determine(assayer: Person, lot: str, sample: str = "", **per_mille: str) -> str:
    """What the assay found, metal by metal; gives the determination's number."""
    assayer.desk("Laboratory")
    assayer.follow(f"Determine {lot}")
    if sample:
        assayer.type("Sample", sample)
    assayer.fill_in(per_mille)
    assayer.press("Record the determination")
    return next(row["Determination"] for row in assayer.table("waiting for a second person") if row["Lot"] == lot)


def accept(second: Person, *determinations: str) -> None:
    """A second person accepts."""
    for number in determinations:
        second.desk("Laboratory")
        second.follow(f"Accept {number}")
        second.press(f"Accept {number}")
        assert f"Determination {number} is accepted" in second.told
