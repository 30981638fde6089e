"""A batch recorded as it goes: a vessel is charged, products are drawn, the run is finished."""

from tests.journeys.laboratory import BENCH, work
from tests.journeys.person import Person
from tests.journeys.plant import BALANCED
from tests.journeys.tracing import milligrams


def charge(operator: Person, vessel: str, acid: str, *lots: str) -> str:
    """The lots go into the vessel with acid; gives the run's number."""
    work(operator, "Charge a vessel", *lots)
    operator.fill_in({"Vessel": vessel, "Step": "dissolve"})
    operator.fill_in({"What": "acid", "Gross": acid}, "Addition 1")
    operator.press("Record the charge")
    run, step = operator.fact("Run").split(", ")
    operator.follow(f"{run}, {step}")
    assert operator.title == run
    return run


def draw(operator: Person, run: str, form: str, gross: str, **metals: str) -> tuple[str, str]:
    """A product is weighed; its metals are offered by the book, then said as found. Gives operation and lot."""
    to_run(operator, run)
    operator.follow("Draw a product")
    operator.type("Scale", BENCH)
    operator.fill_in({"Form": form, "Gross": gross, "Place": "SHOP Bar workshop"}, "Product 1")
    operator.press("Offer provisional metals")
    offered = operator.field(next(iter(metals)), "Product 1").input_value()
    assert 0 < milligrams(offered) <= milligrams(f"{gross}.000")
    operator.fill_in(metals, "Product 1")
    operator.press("Record the draw")
    return operator.title, operator.table("Out")[0]["Line"]


def finish(operator: Person, run: str, residue: dict[str, str], solution: str, filtered: dict[str, str]) -> None:
    """What the book still holds in the vessel is carried to two lots or declared lost."""
    to_run(operator, run)
    operator.follow("Finish")
    operator.type("Scale", BENCH)
    operator.one_more("Add a lot")
    operator.fill_in({"Form": "solution", "Gross": solution}, "Lot out 1")
    operator.fill_in({"Form": "residue"} | residue, "Lot out 2")
    assert "g Au still to explain" in operator.still_to_explain()
    operator.fill_in({"Cause": "filter"} | filtered, "Loss 1")
    assert operator.still_to_explain() == BALANCED
    operator.press("Record the finish")
    operator.scan(run)
    assert "finished" in operator.text


def to_run(operator: Person, run: str) -> None:
    """The page of an open run, from the plant's board."""
    operator.desk("Plant")
    operator.follow(run)
