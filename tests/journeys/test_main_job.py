"""The main job once through, from the counter to the certificate, by everybody whose work it is."""

from dataclasses import dataclass
from fractions import Fraction

from django.core.management import call_command

from tests import people
from tests.journeys import counter, custody, door, house, laboratory, plant, tracing, vault

LARKSPUR = "P-07 Larkspur Placer Company"
MINED = {"Scale": "BENCH-2 Bench scale 2", "Origin": "mined artisanal and small scale"}
SCRAP = {"Scale": "BENCH-2 Bench scale 2", "Origin": "recycled", "Country": "IE"}


@dataclass(frozen=True, slots=True)
class Delivered:
    """What came over the counter: receipts and lots by their numbers."""

    receipt: str
    bag: str
    box: str
    nuggets: str
    scrap_receipt: str
    scrap: str
    held: str


def test_metal_from_the_counter_to_the_certificate(at_work):
    people.party("P-02")
    people.party("P-03")
    came = deliver(at_work)
    melts = melt_and_assay(at_work, came)
    assay = refine_and_cast(at_work, melts)
    in_metal = settle_and_send_out(at_work, came, assay)
    hand_to_the_customer(at_work, came, in_metal)
    ask_where_from(at_work, came)
    call_command("verify")


def deliver(at_work) -> Delivered:
    """Three deliveries: one of a new party with two declared origins, scrap, and one that compliance holds."""
    desk, officer = at_work(people.fiona_frontdesk()), at_work(people.clara_compliance())
    lark_creek = MINED | {"Country": "CA", "Mine or collector": "Lark Creek", "Form": "doré"}
    receipt, (bag, box, nuggets) = counter.receive(
        desk,
        {"Code": "P-07", "Name": "Larkspur Placer Company", "Country": "CA"},
        lark_creek | {"Gross": "1012.4", "Tare": "12.4", "Declared Au": "850"},
        lark_creek | {"Gross": "800"},
        MINED | {"Country": "PE", "Mine or collector": "Upper Fork", "Form": "nuggets", "Gross": "500", "Pieces": "37"},
        delivered_by="Lars Larkspur",
    )
    counter.check_papers(desk, receipt, [bag, box, nuggets], "Lark Creek", "Upper Fork", "1 000.000", "2 300.000")
    scrap_receipt, (scrap,) = counter.receive(
        desk, {"Party": "P-02"}, SCRAP | {"Form": "jewellery", "Gross": "600"}, delivered_by="Piet Mill"
    )
    counter.fill_in(
        desk, {"Party": "P-03"}, MINED | {"Country": "PE", "Form": "doré", "Gross": "120,5"}, delivered_by="A driver"
    )
    counter.comma_is_refused(desk, "Parcel 1")
    desk.type("Gross", "120.5", "Parcel 1")
    _, (held,) = counter.record(desk)
    custody.decide(officer, "Release", "Licence and origin statement seen", bag, box, nuggets, scrap)
    custody.decide(officer, "Hold", "No paper says from which concession it comes", held)
    return Delivered(receipt, bag, box, nuggets, scrap_receipt, scrap, held)


def melt_and_assay(at_work, came: Delivered) -> tuple[str, str, str]:
    """Check-weighed by the sampler, melted, sampled; what one assayer found, the manager accepts."""
    desk, sampler = at_work(people.fiona_frontdesk()), at_work(people.sam_sampler())
    assayer, manager = at_work(people.anna_assayer()), at_work(people.mona_manager())
    weighed = {came.bag: "1000", came.box: "799.998", came.nuggets: "500", came.scrap: "600", came.held: ""}
    custody.hand_over(desk, sampler, "FURNACE-1 Melting furnace 1", weighed)
    assert f"Lot {came.box} weighed 799.998 g, −0.002 g against the book's 800.000 g" in desk.told
    plant.held_is_refused(sampler, came.held)
    parcels = {came.bag: "1000", came.box: "800.01"}
    melt, dips = laboratory.melt_on_receipt(
        sampler, parcels, flux="20", melt="1784.5", slag="28.3", fume="1.2", dips=("6",)
    )
    scrap_melt, _ = laboratory.melt_on_receipt(sampler, {came.scrap: "600"}, flux="10", melt="598", slag="10", fume="2")
    weights = dict(zip(dips, ("6",), strict=True)) | {
        laboratory.sample(sampler, lot, grams): grams for lot, grams in ((scrap_melt, "4"), (came.nuggets, "3"))
    }
    samples = list(weights)
    laboratory.carry(sampler, assayer, weights)
    laboratory.consume(assayer, samples[0], "1")
    found = [
        laboratory.determine_by_fire(assayer, melt, samples[0], Ag="100", Cu="30"),
        laboratory.determine(assayer, scrap_melt, samples[1], Au="700", Ag="150", Cu="140"),
        laboratory.determine(assayer, came.nuggets, samples[2], Au="900", Ag="80"),
    ]
    laboratory.own_is_not_accepted(assayer, found[0])
    laboratory.accept(manager, *found)
    laboratory.seal(assayer, samples[0], "S-0031", "umpire")
    return melt, scrap_melt, came.nuggets


def refine_and_cast(at_work, melts: tuple[str, str, str]) -> str:
    """One batch of three lots of two owners, then bars A000001 to A000004 for the vault. Gives the sand's assay."""
    sampler, operator = at_work(people.sam_sampler()), at_work(people.otto_operator())
    assayer, manager = at_work(people.anna_assayer()), at_work(people.mona_manager())
    weights = dict(zip(melts, ("1784.5", "594", "497"), strict=True))
    custody.hand_over(sampler, operator, "SHOP Bar workshop", weights, desk="Plant")
    products = plant.batch(operator, *melts)
    assert set(products) == {"gold sand", "silver chloride", "residue", "solution"}
    assay = laboratory.determine_product(assayer, products["gold sand"], Au="998.3", Ag="0.253")
    laboratory.accept(manager, assay)
    serials = plant.cast(operator, manager, products["gold sand"])
    assert serials == ["A000001", "A000002", "A000003", "A000004"]
    keeper = at_work(people.vera_vault())
    counted = dict(zip(serials, ("1000", "", "", ""), strict=True))
    custody.hand_over(keeper, keeper, "VAULT Main vault", counted, at_book=custody.BY_SERIAL)
    return assay


def settle_and_send_out(at_work, came: Delivered, assay: str) -> str:
    """Scrap is settled in money, Larkspur's delivery in metal; bars leave against that claim. Gives the statement."""
    accountant, manager = at_work(people.matt_accountant()), at_work(people.mona_manager())
    for party in ("P-02", "P-07"):
        vault.agree_terms(accountant, party)
    prices = {"Au": ("2412.50", "invented fixing of today"), "Ag": ("28.315", "invented fixing of today")}
    vault.reckon(accountant, came.scrap_receipt, "money", prices)
    in_money = vault.approve_and_issue(accountant, manager)
    gold, silver = vault.worth("418.6", "99", "2412.50"), vault.worth("89.7", "95", "28.315")
    vault.check_statement(accountant, in_money, came.scrap_receipt, gold, silver)
    vault.reckon(accountant, came.receipt, "metal", {})
    in_metal = vault.approve_and_issue(accountant, manager)
    vault.check_statement(accountant, in_metal, came.receipt, "Larkspur Placer Company")
    vault.send_out(at_work(people.vera_vault()), LARKSPUR, ["A000001", "A000003"], assay)
    return in_metal


def hand_to_the_customer(at_work, came: Delivered, in_metal: str) -> None:
    """The new party's customer gets a login, and its own papers; two customers ask for everything else."""
    password = "gravel-and-quiet-water"
    house.add_person(at_work(people.mona_manager()), "Lars Larkspur", "lars", password, party=LARKSPUR)
    lars = at_work("lars", password)
    door.own_papers(lars, came.receipt, in_metal, ["A000001", "A000003"])
    door.nothing_of_others(lars, "P-07")
    door.nothing_of_others(at_work(people.stranger()), "P-02")


def ask_where_from(at_work, came: Delivered) -> None:
    """A bar back to its four parcels by their exact shares of the gold that was dissolved; a parcel forward."""
    officer = at_work(people.clara_compliance())
    gold, of_melt = Fraction("2379.925"), Fraction("1516.825")
    shares = {
        came.bag: of_melt * Fraction(1000, 1800) / gold,
        came.box: of_melt * Fraction(800, 1800) / gold,
        came.nuggets: Fraction("447.3") / gold,
        came.scrap: Fraction("415.8") / gold,
    }
    tracing.back(officer, "A000002", shares)
    tracing.forward(officer, came.bag, {"bar": "A000002", "dispatched": "A000001", "loss": "filter", "stock": ""})
