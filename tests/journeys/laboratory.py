"""First melts, samples, determinations and their acceptance."""

from tests.journeys.person import Person


def melt_on_receipt(sampler: Person, lots: list[str], *, flux: str, melt: str, slag: str, fume: str) -> str:
    """Parcels of one receipt become one melt; grams as typed. Gives the melt's number."""
    work(sampler, "Melt on receipt", *lots)
    sampler.type("Gross", flux, "Addition 1")
    sampler.type("Gross", melt, "Lot out 1")
    sampler.type("Gross", slag, "Lot out 2")
    assert sampler.still_to_explain() == f"{float(fume):.3f} g gross still to explain"
    sampler.type("Gross", fume, "Loss 1")
    assert sampler.still_to_explain() == "Balanced to the milligram."
    sampler.press("Record the melt")
    made = {row["What"]: row["Line"] for row in sampler.table("Out")}
    return made["melt"]


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
    say_found(assayer, lot, sample, per_mille)
    return record(assayer, lot)


def determine_by_fire(
    assayer: Person, lot: str, sample: str, *, sample_mg: str, cornet_mg: str, **per_mille: str
) -> str:
    """Gold by the weighings of a fire assay, which the page reckons; other metals as typed."""
    say_found(assayer, lot, sample, per_mille)
    assayer.fill_in({"Sample, mg": sample_mg, "Cornet, mg": cornet_mg}, "Piece 1")
    assayer.press("Reckon the fire assay")
    assert assayer.field("Au").input_value() == "850.0"
    return record(assayer, lot)


def determine_product(assayer: Person, lot: str, **per_mille: str) -> str:
    """A product with metals by the book is assayed too: its label is scanned."""
    assayer.scan(lot)
    assayer.follow("Assay")
    assayer.fill_in(per_mille)
    return record(assayer, lot)


def say_found(assayer: Person, lot: str, sample: str, per_mille: dict[str, str]) -> None:
    """The determination of a lot, typed."""
    assayer.desk("Laboratory")
    assayer.follow(f"Determine {lot}")
    assayer.fill_in(per_mille | ({"Sample": sample} if sample else {}))


def record(assayer: Person, lot: str) -> str:
    """Records what was typed; gives the determination's number."""
    assayer.press("Record the determination")
    return next(row["Determination"] for row in assayer.table("waiting for a second person") if row["Lot"] == lot)


def own_is_not_accepted(assayer: Person, determination: str) -> None:
    """Who determined it reads that a second person accepts it, and has no button."""
    assayer.desk("Laboratory")
    assayer.follow(f"Look at {determination}")
    assert "You determined this: a second person accepts it." in assayer.text
    assert not assayer.main.get_by_role("button").count()


def accept(second: Person, *determinations: str) -> None:
    """A second person accepts."""
    for number in determinations:
        second.desk("Laboratory")
        second.follow(f"Accept {number}")
        second.press(f"Accept {number}")
        assert f"Determination {number} is accepted" in second.told
