"""A batch of two origins recorded as it goes, a wrong bar, and what must be reversed first."""

from django.core.management import call_command

from custody.models import Lot
from tests import people
from tests.journeys import counter, custody, laboratory, mending, runs, tracing

WEIGHED = {"Scale": "BENCH-2 Bench scale 2", "Origin": "mined artisanal and small scale"}


def test_a_batch_as_a_run_and_a_mistake_mended(at_work):
    dore, nuggets = ready(at_work)
    operator, keeper = at_work(people.otto_operator()), at_work(people.vera_vault())
    run = runs.charge(operator, "VESSEL-1 Dissolving vessel 1", "2000", dore, nuggets)
    drawn, sand = runs.draw(operator, run, "gold sand", "608", Au="607", Ag="0.2")
    runs.draw(operator, run, "silver chloride", "84", Ag="63")
    residue = {"Gross": "8", "Au": "2.96", "Ag": "0.76"}
    runs.finish(operator, run, residue, "1890", {"Gross": "110", "Au": "0.04", "Ag": "0.04"})
    rest = recast(operator, sand, drawn)
    reused(operator, rest)
    take_over(keeper, operator)
    tracing.forward(at_work(people.clara_compliance()), nuggets, {"bar": "A000001", "stock": "", "loss": "filter"})
    call_command("verify")


def ready(at_work) -> tuple[str, str]:
    """Two parcels of two origins, released, assayed and in the operator's hands."""
    people.party("P-01")
    desk, operator = at_work(people.fiona_frontdesk()), at_work(people.otto_operator())
    assayer, manager = at_work(people.anna_assayer()), at_work(people.mona_manager())
    _, lots = counter.receive(
        desk,
        {"Party": "P-01"},
        WEIGHED | {"Form": "doré", "Gross": "400", "Country": "CA"},
        WEIGHED | {"Form": "nuggets", "Gross": "300", "Country": "PE"},
        delivered_by="Cora Tern",
    )
    dore, nuggets = lots
    custody.decide(at_work(people.clara_compliance()), "Release", "Known since years", *lots)
    found = [
        laboratory.determine(assayer, dore, Au="850", Ag="100"),
        laboratory.determine(assayer, nuggets, Au="900", Ag="80"),
    ]
    laboratory.accept(manager, *found)
    custody.hand_over(desk, operator, "SHOP Bar workshop", {dore: "400", nuggets: "300"})
    return dore, nuggets


def recast(operator, sand: str, drawn: str) -> str:
    """A bar recorded with a wrong weight: the draw can't be reversed before the cast. Cast again; gives the rest."""
    mending.cast_one(operator, sand, nominal="500", fineness="998.3", rest="108")
    wrong, made = mending.record(operator)
    mending.reverse_first(operator, drawn, wrong)
    mending.cast_one(operator, sand, nominal="250", fineness="998.3", rest="358")
    operator.type("Serial", "A000001", "Bar 1")
    operator.press("Record the cast")
    assert "name that bar as the one replaced" in operator.faults
    operator.type("Replaces lot", made[0]["Line"], "Bar 1")
    _, made = mending.record(operator)
    return made[1]["Line"]


def reused(operator, rest: str) -> None:
    """A serial that a bar carries is refused; the next one is taken."""
    mending.cast_one(operator, rest, nominal="100", fineness="998.3", rest="258")
    operator.type("Serial", "A000001", "Bar 1")
    operator.press("Record the cast")
    assert "Serial A000001 is on a bar already this year. Take the next one." in operator.faults
    operator.type("Serial", "A000002", "Bar 1")
    _, made = mending.record(operator)
    assert made[0]["What"].startswith("bar, HFR A000002")


def take_over(keeper, operator) -> None:
    """The shift changes: everything in the workshop is scanned and passes at once, signed by both."""
    at_shop = Lot.objects.filter(place__code="SHOP", gross_mg__gt=0).order_by("id")
    custody.shift_over(keeper, operator, "SHOP", *at_shop.values_list("number", flat=True))
    assert {row["How it passed"] for row in keeper.table("What passed")} == {
        "at book: shift handover, seen and scanned"
    }
    keeper.scan("A000001")
    assert [row["Held by"] for row in keeper.table("Custody")] == ["Otto Flux", "Vera Lock"]
