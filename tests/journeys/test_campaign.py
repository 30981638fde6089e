"""A whole campaign at the plant's screens: both routes to bars of gold and silver, copper, and water let go."""

from custody.models import Lot
from custody.queries.verify import verify
from tests import builders, campaign, people
from tests.journeys import campaign as plant
from tests.journeys import custody
from tests.journeys.tracing import milligrams


def test_a_campaign_from_the_planner_to_the_gate(at_work):
    feed = campaign.Campaign()
    campaign.lay_out(feed)
    campaign.deliveries(feed)
    for code in campaign.SCALES:
        builders.scale(code)
    lots = feed.lots
    operator = at_work(people.otto_operator())
    direct(operator, lots)
    inquarted(operator, lots)
    gold_cell(operator, lots)
    kilobars, struck = bars(operator, lots)
    ingots = silver(operator, lots)
    water(at_work, lots)
    left_over(operator, lots)
    leave(at_work(people.vera_vault()), [kilobars[1], *struck[:2]])
    assert (len(kilobars), len(struck), len(ingots)) == (3, 4, 3)
    found_again(operator, feed)
    findings = verify()
    assert findings.ok, findings.as_document()


def direct(operator, lots: dict[str, str]) -> str:
    """Mixed feed and jewellery: granules, aqua regia, the crust drawn off, gold precipitated. Gives the order."""
    order = plant.order(operator, lots["mixed"], lots["melt"], advised="Measures against a silver chloride crust")
    both = {lots["mixed"]: "", lots["melt"]: ""}
    granules = [{"Form": "granules", "Gross": "5493", "Au": "3800.145", "Ag": "719.56", "Cu": "804.16"}]
    lots |= plant.step(operator, "Granulate", both, granules, cause="furnace lining", at=f"{order}, measures")
    acid = (("acid", "24 kg"),)
    run = plant.charge(operator, "VESSEL-1", "dissolve", lots["granules"], adds=acid, at=f"{order}, aqua regia")
    crust = {"Form": "silver chloride", "Gross": "948.5", "Ag": "713.4", "Au": "0.4"}
    lots["crust"] = plant.draw(operator, run, crust)
    lots["undissolved"] = plant.draw(operator, run, {"Form": "residue", "Gross": "9", "Au": "4.1", "Ag": "2.6"})
    plant.finish(operator, run, into="VESSEL-2", step="precipitate")
    reagent = (("reagent", "5 kg"), ("water", "6 kg"))
    run = plant.charge_again(operator, run_in("VESSEL-2"), adds=reagent, at=f"{order}, precipitation")
    sand = {"Form": "gold sand", "Gross": "3796.5", "Au": "3794.6", "Ag": "0.3"}
    lots["sand"] = plant.draw(operator, run, sand)
    builders.valued(builders.fresh(lots["sand"]), Au=999_480, Ag=110)
    plant.finish(operator, run, into="TANK-2", step="cement copper", lost={"Au": 400})
    return order


def run_in(vessel: str) -> str:
    """The run under way in a vessel."""
    return content(vessel).run.number


def inquarted(operator, lots: dict[str, str]) -> None:
    """A lot of 35 % silver with silver of the house: parted, its silver filtered as chloride, its gold dissolved."""
    order = plant.order(operator, lots["silvery"], advised="Inquartation asks for 2\u202f840.000 g of silver")
    quartered = {lots["silvery"]: "", lots["house silver"]: "2842.843"}
    granules = [{"Form": "granules", "Gross": "4840.5"}]
    lots |= plant.step(operator, "Inquart with silver", quartered, granules, at=order)
    acid = (("acid", "6 kg"), ("water", "9 kg"))
    run = plant.charge(operator, "VESSEL-1", "part", lots["granules"], adds=acid, at=f"{order}, nitric parting")
    gold = {"Form": "residue", "Gross": "1208.5", "Au": "1199.5", "Ag": "4.2"}
    lots["brown gold"] = plant.draw(operator, run, gold)
    plant.finish(operator, run, into="TANK-1", step="filter")
    run = plant.charge_again(operator, run_in("TANK-1"), adds=(("reagent", "2 kg"),))
    chloride = {"Form": "silver chloride", "Gross": "4696", "Ag": "3532.5", "Au": "0.1"}
    lots["chloride"] = plant.draw(operator, run, chloride)
    plant.finish(operator, run, into="TANK-2")
    dissolved = {lots["brown gold"]: "", lots["undissolved"]: ""}
    made = [
        {"Form": "solution", "Gross": "6500"},
        {"Form": "silver chloride", "Gross": "9.1", "Ag": "6.8"},
    ]
    acid = (("acid", "5500"),)
    lots |= plant.step(operator, "Dissolve in aqua regia", dissolved, made, adds=acid, at=f"{order}, aqua regia")
    lots["second chloride"] = lots["silver chloride"]
    made = [{"Form": "gold sand", "Gross": "1203.8", "Au": "1203.2"}, {"Form": "solution", "Gross": "8000"}]
    reagent = (("reagent", "1200"), ("water", "2 kg"))
    lots |= plant.step(operator, "Precipitate gold", {lots["solution"]: ""}, made, adds=reagent, at=order)
    plant.charge_again(operator, run_in("TANK-2"), lots["solution"], adds=())


def gold_cell(operator, lots: dict[str, str]) -> None:
    """Anodes of 999.5 from both sands; a cell under current, its cathodes, slimes and what is left of the anodes."""
    sands = {lots["sand"]: "", lots["gold sand"]: "900"}
    made = [{"Form": "anode", "Gross": "4695.5"}]
    lots |= plant.step(operator, "Melt and cast anodes", sands, made)
    acid = (("acid", "6 kg"),)
    run = plant.charge(operator, "CELL-1", "electrolyse gold", lots["anode"], lots["gold sand"], adds=acid)
    plant.current(operator, run, "160", "0.96")
    lots["cathodes"] = plant.draw(operator, run, {"Form": "cathode", "Gross": "4100", "Au": "4099.9", "Ag": "0.05"})
    lots["slimes"] = plant.draw(operator, run, {"Form": "slimes", "Gross": "3", "Au": "0.7", "Ag": "0.4"})
    lots["anode scrap"] = plant.draw(operator, run, {"Form": "anode", "Gross": "560", "Au": "559.6"})
    builders.valued(builders.fresh(lots["cathodes"]), Au=999_960, Ag=20)


def bars(operator, lots: dict[str, str]) -> tuple[list[str], list[str]]:
    """Three kilobars cast and weighed; four of 100 g from strip: rolled, punched, annealed, filed, stamped."""
    kilos = plant.cast(operator, lots["cathodes"], "3040.2", "1 kg gold Au", ("1000.01", "1000.02", "1000.03"), "40")
    (strip,) = plant.strip_work(operator, "Cast strip", [lots["cathodes"]], made=("1059.8",))
    (rolled,) = plant.strip_work(operator, "Roll", [strip])
    heavy = ("100.104", "100.108", "100.112", "100.116")
    *blanks, lots["skeleton"] = plant.strip_work(operator, "Punch blanks", [rolled], made=heavy, rest="659.36")
    soft = plant.strip_work(operator, "Anneal", blanks)
    light = ("100.004", "100.008", "100.012", "100.016")
    *filed, lots["filings"] = plant.strip_work(
        operator, "Adjust by filing", soft, after=light, rest="0.4", bar_type="100 g gold"
    )
    return kilos, plant.stamp(operator, filed, "100 g gold", light)


def silver(operator, lots: dict[str, str]) -> list[str]:
    """Chloride by caustic and glucose to silver, anodes, a silver cell, and bars of a kilogram."""
    chlorides = {lots["crust"]: "", lots["chloride"]: "", lots["second chloride"]: ""}
    made = [
        {"Form": "silver sand", "Gross": "4256.8", "Ag": "4251.6", "Au": "0.5"},
        {"Form": "solution", "Gross": "12380"},
    ]
    reagent = (("reagent", "5 kg"), ("water", "6 kg"))
    lots |= plant.step(operator, "Cement silver", chlorides, made, adds=reagent, cause="filter")
    plant.charge_again(operator, run_in("TANK-2"), lots["solution"])
    anodes = [{"Form": "anode", "Gross": "3849.5"}]
    lots |= plant.step(operator, "Melt and cast anodes", {lots["silver sand"]: "3850"}, anodes)
    acid = (("acid", "5 kg"),)
    run = plant.charge(operator, "CELL-2", "electrolyse silver", lots["anode"], lots["silver sand"], adds=acid)
    plant.current(operator, run, "90", "1.4")
    lots["crystals"] = plant.draw(operator, run, {"Form": "cathode", "Gross": "3400", "Ag": "3399.7"})
    lots["silver slimes"] = plant.draw(operator, run, {"Form": "slimes", "Gross": "4", "Au": "0.3", "Ag": "2.9"})
    builders.valued(builders.fresh(lots["crystals"]), Ag=999_870)
    return plant.cast(operator, lots["crystals"], "", "1 kg silver Ag", ("1000.12", "1000.2", "1000.08"), "399.5")


def water(at_work, lots: dict[str, str]) -> None:
    """Copper falls on iron, the rest with caustic; the water is assayed, accepted by another, and let go."""
    operator = at_work(people.otto_operator())
    run = plant.charge_again(operator, run_in("TANK-2"), adds=(("reagent", "3 kg"),))
    held = content("TANK-2")
    copper = {"Form": "cement copper", "Gross": "950", "Cu": grams(held.cu_mg * 985 // 1000)}
    copper |= {"Au": grams(held.au_mg - 20), "Ag": grams(held.ag_mg - 200)}
    lots["cement copper"] = plant.draw(operator, run, copper)
    plant.finish(operator, run, into="TANK-3", step="neutralise")
    run = plant.charge_again(operator, run_in("TANK-3"), adds=(("reagent", "6 kg"), ("water", "12 kg")))
    held = content("TANK-3")
    cake = {"Form": "cake", "Gross": "5000", "Cu": grams(held.cu_mg - 60)}
    cake |= {"Au": grams(held.au_mg - 3), "Ag": grams(held.ag_mg - 12)}
    lots["cake"] = plant.draw(operator, run, cake)
    lots["water"] = plant.finish(operator, run)
    litres = str(builders.fresh(lots["water"]).gross_mg // 1_020_000)
    found = plant.assay_water(
        at_work(people.anna_assayer()), lots["water"], litres=litres, ph="8.1", Au="<0.05", Ag="0.21", Cu="0.9"
    )
    plant.accept_water(at_work(people.ada_assayer()), found)
    plant.let_go(operator, lots["water"])


def content(vessel: str) -> Lot:
    """What a vessel holds."""
    return Lot.objects.get(place__code=vessel, form="in process", gross_mg__gt=0)


def grams(mg: int) -> str:
    """Milligrams as they are typed."""
    return f"{mg / 1000:.3f}"


def left_over(operator, lots: dict[str, str]) -> None:
    """Slag, skeleton, filings and slimes are melted again; what the furnace kept is gathered and assayed."""
    back = [lots[name] for name in ("slag", "skeleton", "filings", "slimes", "silver slimes", "anode scrap")]
    melt = [{"Form": "melt", "Gross": "1226"}, {"Form": "slag", "Gross": "26"}]
    lots |= plant.step(operator, "Recycle what is left over", dict.fromkeys(back, ""), melt)
    lots["lining"] = plant.clean_out(operator, "furnace lining", "SHOP", "lining", "1.1")
    builders.valued(builders.fresh(lots["lining"]), Au=500_000, Ag=60_000)


def leave(keeper, serials: list[str]) -> None:
    """Bars pass to the vault, the kilobar weighed again, and it leaves against a customer's claim."""
    weighed = dict.fromkeys(serials, "") | {serials[0]: "1000.02"}
    custody.hand_over(keeper, keeper, "VAULT Main vault", weighed, at_book=custody.BY_SERIAL)
    plant.send_out(keeper, "P-01 Tern Valley Placer Cooperative", serials[0], "999.9")


def found_again(operator, feed: campaign.Campaign) -> None:
    """Every gram of gold, silver and copper that was delivered, by its fate, on the page that says so."""
    receipts = {builders.receipt_of(feed.lot(name)).number for name in campaign.PARCELS}
    fates = plant.where_it_went(operator, *sorted(receipts))
    for metal, received in campaign.RECEIVED.items():
        assert sum(milligrams(row[f"{metal}, g"]) for row in fates) == received
    assert {"bars of Au", "bars of Ag", "cement copper", "cake", "in vessels", "dispatched", "lost"} <= {
        row["Fate"] for row in fates
    }
    assert {"effluent", "filter"} <= {row["What"] for row in fates}
