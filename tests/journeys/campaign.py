"""The plant's people work a campaign on its pages: orders, steps, runs, bars, water. Grams as they are typed."""

import re

from tests.documents import reading
from tests.journeys.eye import KEPT, WIDE
from tests.journeys.laboratory import tick, work
from tests.journeys.person import Person
from tests.journeys.plant import BALANCED

BENCH, MINT, SHOP = "BENCH-2 Bench scale 2", "MINT-1 Mint balance 1", "SHOP Bar workshop"
TABLET = {"width": 1024, "height": 768}
_OPEN = re.compile(r"(-?[\d ]+\.\d{3}) g (gross|Au|Ag|Pt|Pd|Cu) still to explain")


def order(person: Person, *lots: str, advised: str) -> str:
    """Lots are chosen in the planner, what they come to is read, and the advised route is ordered by name."""
    person.desk("Plant")
    person.follow("Plan a batch")
    for lot in lots:
        person.choose(f"Take {lot}")
    person.type("Wanted gold", "999.9")
    person.press("Reckon")
    assert advised in person.text
    on_the_tablet(person, "planner")
    person.follow("Order a route for it")
    person.press("Order this route")
    assert person.told.startswith("Done.RO")
    return person.title


def step(
    operator: Person, title: str, lots: dict[str, str], outs: list[dict[str, str]], *,
    adds: tuple[tuple[str, str], ...] = (), cause: str = "fume", at: str = "", reason: str = "",
) -> dict[str, str]:  # fmt: skip
    """A step from the board: the lots are ticked, every product is weighed, its metals are proposed by the book.

    What is left to explain is declared by ``cause``. ``at`` is the order that it is work on. Gives products by form.
    """
    _to_step(operator, title, *lots)
    for number, (_, part) in enumerate(lots.items(), start=1):
        if part:
            operator.type("Only so much", part, _row_of(operator, list(lots)[number - 1]))
    if at:
        choose(operator, "Work on an order", at)
    if reason:
        operator.type("Reason", reason)
    for number, (what, grams) in enumerate(adds, start=1):
        _have(operator, f"Addition {number}", "Add an addition")
        operator.fill_in({"What": what, "Gross": grams}, f"Addition {number}")
    for number, said in enumerate(outs, start=1):
        _have(operator, f"Lot out {number}", "Add a lot out")
        operator.fill_in({"Form": said["Form"]} | _weighed(said) | said, f"Lot out {number}")
    operator.press("Propose metals from the book")
    explain(operator, cause)
    on_the_tablet(operator, title.split()[0].lower())
    operator.press("Record the step")
    return made(operator)


def _to_step(operator: Person, title: str, *lots: str) -> None:
    """With the lots ticked on the board; where its list does not show them all, they are scanned on the step's page."""
    operator.desk("Plant")
    if all(operator.page.get_by_label(f"Take {lot}", exact=True).count() for lot in lots):
        tick(operator, title, *lots)
        return
    operator.follow("Record a step")
    operator.follow(title)
    for number, lot in enumerate(lots, start=1):
        _have(operator, f"Lot in {number}", "Add a lot in")
        operator.shoot("Lot", lot, f"Lot in {number}")


def made(operator: Person) -> dict[str, str]:
    """The lots of the operation just recorded, by what they are; of two of one form, the first."""
    assert not operator.page.locator(".errors").count(), operator.faults
    found: dict[str, str] = {}
    for row in operator.table("Out"):
        found.setdefault(row["What"].split(",")[0].strip(), row["Line"])
    return found


def explain(operator: Person, cause: str, row: str = "Loss 1") -> None:
    """What the running balance still asks for, declared by its cause."""
    wanted = {name: grams.replace(" ", "") for grams, name in _OPEN.findall(operator.still_to_explain())}
    if wanted:
        wanted = {"Gross" if name == "gross" else name: grams for name, grams in wanted.items()}
        operator.fill_in({"Cause": cause} | wanted, row)
    assert operator.still_to_explain() == BALANCED, operator.still_to_explain()


def choose(person: Person, label: str, begins: str) -> None:
    """An option of a list by how it begins."""
    field = person.field(label)
    options = [words for words in field.locator("option").all_inner_texts() if words.startswith(begins)]
    field.select_option(label=options[0])


def _weighed(said: dict[str, str]) -> dict[str, str]:
    grams = float(said["Gross"])
    return {} if said["Form"] == "solution" else {"Scale": MINT if grams <= 3_200 else BENCH}


def _have(operator: Person, row: str, add: str) -> None:
    if not operator.row(row).count() or not operator.row(row).is_visible():
        operator.one_more(add)


def _row_of(operator: Person, lot: str) -> str:
    rows = operator.main.locator("fieldset[data-balance=in]").all()
    standing = [row.get_by_label("Lot", exact=True).input_value() for row in rows]
    return f"Lot in {standing.index(lot) + 1}"


def on_the_tablet(person: Person, name: str) -> None:
    """Nothing is wider than the plant's tablet; a picture as it shows the page, where pictures are asked for."""
    person.page.set_viewport_size(TABLET)
    assert person.page.evaluate("document.documentElement.scrollWidth") <= TABLET["width"], person.page.url
    if KEPT:
        person.eye.keep(f"campaign-{name}-1024.png", person.page.screenshot(full_page=True))
    person.page.set_viewport_size(WIDE)


# Runs


def charge(
    operator: Person, vessel: str, step: str, *lots: str, adds: tuple[tuple[str, str], ...] = (), at: str = ""
) -> str:
    """Lots and additions go into a vessel; gives the run's number."""
    work(operator, "Charge a vessel", *lots)
    if operator.main.get_by_role("link", name=step.capitalize(), exact=True).count():
        operator.follow(step.capitalize())
    choose(operator, "Vessel", vessel)
    return _charged(operator, adds, at)


def charge_again(operator: Person, run: str, *lots: str, adds: tuple[tuple[str, str], ...] = (), at: str = "") -> str:
    """More goes into a vessel that holds something, from the page of its run."""
    to_run(operator, run)
    operator.follow("Charge again")
    for number, lot in enumerate(lots, start=1):
        _have(operator, f"Lot in {number}", "Add a lot in")
        operator.shoot("Lot", lot, f"Lot in {number}")
    return _charged(operator, adds, at)


def _charged(operator: Person, adds: tuple[tuple[str, str], ...], at: str) -> str:
    if at:
        choose(operator, "Work on an order", at)
    for number, (what, grams) in enumerate(adds, start=1):
        _have(operator, f"Addition {number}", "Add an addition")
        operator.fill_in({"What": what, "Gross": grams}, f"Addition {number}")
    operator.press("Record the charge")
    return operator.fact("Run").split(", ")[0]


def draw(operator: Person, run: str, said: dict[str, str]) -> str:
    """A product is weighed and drawn with the metals it is said to hold; gives its lot."""
    to_run(operator, run)
    operator.follow("Draw a product")
    operator.type("Scale", _weighed(said)["Scale"])
    operator.fill_in(said, "Product 1")
    operator.press("Record the draw")
    return operator.table("Out")[0]["Line"]


def finish(operator: Person, run: str, *, into: str = "", step: str = "", lost: dict[str, int] | None = None) -> str:
    """The liquor that is left runs on into a vessel, or is a lot of its own; milligrams ``lost`` stay in the filter."""
    to_run(operator, run)
    operator.follow("Finish")
    held = {name: int(re.sub(r"\D", "", grams)) for grams, name in _OPEN.findall(operator.still_to_explain())}
    litres = (held.pop("gross") - 400_000) // 1_100_000  # of 1.1 g/mL; what is left went up in the air
    kept = {metal: f"{(mg - (lost or {}).get(metal, 0)) / 1000:.3f}" for metal, mg in held.items()}
    operator.fill_in({"Form": "solution", "Litres": str(litres), "Density, g/mL": "1.1"} | kept, "Lot out 1")
    if into:
        choose(operator, "Step in the next vessel", step)
        row = operator.row("Lot out 1")
        options = row.get_by_label("Runs into").locator("option").all_inner_texts()
        row.get_by_label("Runs into").select_option(label=next(words for words in options if words.startswith(into)))
    explain(operator, "filter" if lost else "fume")
    operator.press("Record the finish")
    return operator.table("Out")[0]["Line"]


def to_run(operator: Person, run: str) -> None:
    """The page of a run, by its number."""
    operator.scan(run)
    assert operator.title == run


# Cells, bars


def current(operator: Person, run: str, amperes: str, volts: str) -> None:
    """The mean current of a cell since its last reading."""
    to_run(operator, run)
    operator.follow("current and deposit")
    operator.fill_in({"Mean current, A": amperes, "Voltage, V": volts})
    operator.press("Keep the current")
    on_the_tablet(operator, "cell")


def cast(operator: Person, lot: str, part: str, bar_type: str, weights: tuple[str, ...], rest: str) -> list[str]:
    """Bars of a type, each weighed with its serial; the remainder goes back to stock. Gives the serials."""
    work(operator, "Cast bars", lot)
    if part:
        operator.type("Only so much", part, "Lot in 1")
    operator.type("Metal of the bars", bar_type[-2:])
    choose(operator, "Bar type", bar_type[:-3])
    operator.fill_in({"Scale": MINT, "Place": SHOP, "How many bars": str(len(weights))})
    operator.press("Lay out the bars")
    for number, weight in enumerate(weights, start=1):
        operator.type("Weighed", weight, f"Bar {number}")
    operator.type("Gross", rest, "Remainder")
    explain(operator, "sweepings")
    on_the_tablet(operator, "cast")
    operator.press("Record the cast")
    return serials(operator)


def strip_work(
    operator: Person, title: str, lots: list[str], *, made: tuple[str, ...] = (), after: tuple[str, ...] = (),
    rest: str = "", bar_type: str = "",
) -> list[str]:  # fmt: skip
    """One step from strip to blank: what is ``made`` of it, or what each piece weighs ``after``. Gives its lots."""
    work(operator, title, *lots)
    if bar_type:
        choose(operator, "Bar type", bar_type)
    operator.fill_in({"Scale": MINT, "Place": SHOP})
    if made:
        operator.type("How many", str(len(made)))
        operator.press("Lay out the rows")
    word = "Strip" if title == "Cast strip" else "Blank"
    for number, weight in enumerate(made, start=1):
        operator.type("Weighed", weight, f"{word} {number}")
    for number, weight in enumerate(after, start=1):
        operator.type("After", weight, f"Piece {number}")
    if rest:
        row = "Lot of filings" if title.startswith("Adjust") else "Remainder"
        operator.type("Gross", rest, next(name for name in (row, f"{row} 1") if operator.row(name).count()))
    assert operator.still_to_explain() == BALANCED, operator.still_to_explain()
    operator.press("Record it")
    return [row["Line"] for row in operator.table("Out")]


def stamp(operator: Person, blanks: list[str], bar_type: str, weights: tuple[str, ...]) -> list[str]:
    """Blanks become bars, one to one, each on the scale with the next serial. Gives the serials."""
    work(operator, "Stamp", *blanks)
    choose(operator, "Bar type", bar_type)
    operator.fill_in({"Scale": MINT, "How many bars": str(len(weights))})
    operator.press("Lay out the bars")
    for number, weight in enumerate(weights, start=1):
        operator.type("Weighed", weight, f"Bar {number}")
    operator.press("Record the stamping")
    return serials(operator)


def serials(operator: Person) -> list[str]:
    """The serials of the bars just made."""
    return [row["What"].split()[2] for row in operator.table("Out") if row["What"].startswith("bar")]


# Water


def assay_water(assayer: Person, lot: str, *, litres: str, ph: str, **mg_l: str) -> str:
    """What a litre of a solution holds, by its sample; gives the assay's number."""
    assayer.desk("Laboratory")
    assayer.follow("Solutions and tanks")
    assayer.follow(lot)
    assayer.fill_in({"Volume, L": litres, "Density, g/mL": "1.02", "pH": ph})
    assayer.fill_in({f"{metal}, mg/L": found for metal, found in mg_l.items()})
    assayer.press("Record the assay")
    return re.search(r"TA\S+", assayer.told)[0]


def accept_water(second: Person, assay: str) -> None:
    """Another person accepts it, having seen what that changes in the book."""
    second.desk("Laboratory")
    second.follow(assay)
    second.press(f"Accept {assay}")


def let_go(operator: Person, lot: str) -> None:
    """The water leaves within its permit; what it carries is read beside the limits."""
    work(operator, "Discharge water", lot)
    assert "within" in operator.text
    operator.press("Record the discharge")
    assert operator.told.startswith("Done.")


# What is left over


def clean_out(operator: Person, cause: str, place: str, form: str, weighed: str) -> str:
    """What was declared lost is gathered, weighed, and a lot again; its assay says what is in it."""
    operator.desk("Plant")
    operator.follow("Record a step")
    operator.follow("Clean out a furnace or a floor")
    operator.type("Declared lost as", cause)
    choose(operator, "Place", place)
    operator.fill_in({"Form": form, "Scale": MINT, "Gross": weighed}, "Lot 1")
    operator.press("Record what was gathered")
    return operator.table("Out")[0]["Line"]


# Out of the gate, and where it all went


def send_out(keeper: Person, party: str, serial: str, fineness: str) -> None:
    """A bar leaves against its party's claim, with a certificate that says what was weighed and assayed."""
    keeper.desk("Vault")
    keeper.follow("Send out of the gate")
    keeper.type("To", party)
    keeper.choose("house metal against its claim")
    keeper.fill_in({"By the order": "Letter of the owner, no. 12", "Fetched by": "Edda Rook", "Number": "N 4410972"})
    keeper.type("Known by", "passport")
    keeper.scan_into("Lots, bars, boxes", serial)
    keeper.press("Show what it comes to")
    assert "may leave" in keeper.text
    keeper.press("Send out of the gate")
    (row,) = keeper.table("What left")
    text = reading.text(keeper.download(row["Certificate"]))
    assert serial in text
    assert fineness in text


def where_it_went(person: Person, *receipts: str) -> list[dict[str, str]]:
    """Every fate of what some receipts brought, as the page lists it."""
    person.desk("Plant")
    person.follow("Where it all went")
    person.type("Receipts, with spaces between", " ".join(receipts))
    person.press("Show")
    on_the_tablet(person, "fates")
    return person.table("Every fate")
