"""First melts, samples, determinations and their acceptance."""

from tests.journeys.person import Person

BENCH = "BENCH-2 Bench scale 2"


def melt_on_receipt(
    sampler: Person, parcels: dict[str, str], *, flux: str, melt: str, slag: str, fume: str, dips: tuple[str, ...] = ()
) -> tuple[str, list[str]]:
    """Parcels of one receipt, each weighed again, become one melt, and dips are drawn; grams as typed.

    Gives the numbers of the melt and of the dips.
    """
    sampler.desk("Sampling")
    sampler.follow(f"Melt {next(iter(parcels))}")
    sampler.type("Scale", BENCH)
    for lot, grams in parcels.items():
        row = row_of(sampler, lot)
        sampler.row(row).get_by_label("Goes into the melt").check()
        sampler.type("Weighed", grams, row)
    sampler.type("Gross", flux, "Addition 1")
    sampler.type("Gross", melt, "Lot out 1")
    sampler.type("Gross", slag, "Lot out 2")
    for number, grams in enumerate(dips, start=1):
        if number > 1:
            sampler.one_more("Add a dip sample")
        sampler.fill_in({"Scale": BENCH, "Gross": grams}, f"Dip sample {number}")
    assert sampler.still_to_explain() == f"{float(fume):.3f} g gross still to explain"
    sampler.type("Gross", fume, "Loss 1")
    assert sampler.still_to_explain() == "Balanced to the milligram."
    assert "Melt loss:" in sampler.text
    sampler.press("Record the melt")
    made = {row["What"]: row["Line"] for row in sampler.table("Out")}
    sampler.press("Print the labels")
    assert "Lot labels" in sampler.told
    if not dips:
        return made["melt"], []
    sampler.scan(made["melt"])
    return made["melt"], [row["Lot"] for row in sampler.table("Made into")]


def row_of(sampler: Person, lot: str) -> str:
    """The heading of the row in which a lot stands."""
    rows = sampler.main.locator("fieldset[data-balance=in]")
    standing = [row.get_by_label("Lot", exact=True).input_value() for row in rows.all()]
    return f"Parcel {standing.index(lot) + 1}"


def work(person: Person, step: str, *lots: str) -> None:
    """To the entry of a step, with the lots ticked on the plant's board."""
    person.desk("Plant")
    tick(person, step, *lots)


def tick(person: Person, step: str, *lots: str) -> None:
    """From the plant's board to the entry of a step."""
    for lot in lots:
        person.choose(f"Take {lot}")
    waiting = person.main.locator("form").filter(has=person.page.get_by_label(f"Take {lots[0]}"))
    person.leads(waiting.get_by_role("button").first.click)
    person.follow(step)


def sample(sampler: Person, lot: str, grams: str, *, seal: str = "", purpose: str = "laboratory") -> str:
    """A sample is drilled; gives its number."""
    sampler.desk("Sampling")
    sampler.follow(f"Sample {lot}")
    sampler.type("Cut", "drill")
    sampler.type("Scale", BENCH)
    sampler.fill_in({"Gross": grams, "For": purpose, "Seal": seal}, "Sample 1")
    sampler.press("Record the sample")
    return sampler.table("Out")[0]["Line"]


def carry(sampler: Person, assayer: Person, samples: dict[str, str]) -> None:
    """All samples that wait pass to the laboratory at once: the list stands in the form, each is weighed again."""
    sampler.desk("Sampling")
    sampler.follow(f"Carry your {len(samples)} samples to the laboratory")
    sampler.type("To", assayer.name)
    sampler.type("Scale", BENCH)
    for number in range(1, len(samples) + 1):
        lot = sampler.field("Lot", f"Lot {number}").input_value()
        sampler.type("Gross", samples[lot], f"Lot {number}")
    sampler.press("Record the handover")
    assert f"{len(samples)} lots passed to {assayer.name}" in sampler.told


def seal(sampler: Person, sample: str, number: str, purpose: str) -> None:
    """A sample is sealed anew and kept."""
    sampler.desk("Sampling")
    sampler.follow(f"Seal {sample}")
    sampler.fill_in({"Seal": number, "Kept for": purpose})
    sampler.press("Record the seal")
    (row,) = [row for row in sampler.table("Kept under seal") if row["Sample"] == sample]
    assert (row["Seal"], row["For"]) == (number, purpose)


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


#: Milligrams of a charge in the order in which they are keyed, column after column down the tray: proof, two pieces of
#: the sample, proof. A proof's cornet weighs 0.020 mg more than its gold, so (212.520 - 0.020) / 250 = 850 per mille.
CHARGE = (
    ("230", "250", "250", "230"),
    ("575", "500", "500", "575"),
    ("806.1", "741.2", "741.3", "806.2"),
    ("230.020", "212.520", "212.520", "230.020"),
)


def determine_by_fire(assayer: Person, lot: str, sample: str, **per_mille: str) -> str:
    """Gold by a charge of the furnace, keyed down the columns and reckoned; other metals as typed."""
    assayer.desk("Laboratory")
    assayer.follow("Proof metals")
    assayer.fill_in({"Code": "PG-1", "Purity": "1000", "Certificate": "C 12"})
    assayer.press("Enter the proof metal")
    assayer.desk("Laboratory")
    assayer.follow("Open a worksheet")
    assayer.type("Balance", "BAL-1 Assay balance 1")
    assayer.type("Gold proof", "PG-1, Au")
    assayer.shoot("Sample or lot", sample, "Sample 1")
    assayer.press("Open the worksheet")
    assayer.main.get_by_label("Position 1, portion, mg").focus()
    for figure in (figure for column in CHARGE for figure in column):
        assayer.page.keyboard.type(figure)
        assayer.page.keyboard.press("Enter")
    assayer.press("Record the readings")
    assayer.follow("Results")
    assert "(212.520 − 0.0200) ÷ 250.000 × 1000 = 850.0 ‰" in assayer.text
    assayer.main.locator("summary").click()
    assayer.fill_in(per_mille)
    assayer.press("Report")
    assayer.desk("Laboratory")
    return next(row["Determination"] for row in assayer.table("waiting for a second person") if row["Lot"] == lot)


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
