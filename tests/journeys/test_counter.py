"""A walk-in with three bags, by keyboard and hand scanner alone: how many keys and scans it takes beside the data."""

from custody.models import Lot, Operation, Weighing
from tests import builders, people
from tests.journeys.counter import Keyboard

#: More keys and scans than this, the typed data aside, and a queue forms at the counter. It takes 42.
MOST = 45


def test_three_bags_of_a_known_party_by_keyboard_and_scanner(at_work):
    builders.scale("BENCH-2")
    builders.received()  # Fiona has weighed on this scale today
    desk = at_work(people.fiona_frontdesk())
    desk.desk("Counter")
    keys = Keyboard(desk)
    keys.data("P-01").press("Enter")
    keys.data("Mara Quill").press("Tab", "Tab")  # on her own behalf
    keys.choose("known by sight").press("Tab", "Tab", "Tab")  # no number; toll
    keys.press("Tab", "Tab")  # past the folds
    keys.choose("doré").press("Tab")
    keys.choose("mined artisanal and small scale").press("Tab")
    keys.data("CA").press("Tab").data("Upper Claim").press("Tab", "Tab")  # the scale is the last one used
    for number, (bag, gross, declared) in enumerate(
        (("S-1", "1002.5", "18k"), ("S-2", "640.25", "750"), ("S-3", "88.1", "75 %"))
    ):
        assert keys.at(f"parcel-{number}-seal"), keys.where
        keys.scan(bag).press("Tab").data(gross).press("Tab").data("2.5").press("Tab").data(declared)
        if number < 2:
            keys.press("Tab", *["Tab"] * (number > 0), "Tab", "Enter")
    keys.press("Enter")
    assert keys.where == "Record the receipt and print it"
    desk.leads(lambda: keys.press("Enter"))
    receipt = Operation.objects.latest("id")
    lots = Lot.objects.filter(created_by=receipt).order_by("id").select_related("parcel")
    assert [(lot.gross_mg, lot.parcel.seal, lot.parcel.country) for lot in lots] == [
        (1_000_000, "S-1", "CA"), (637_750, "S-2", "CA"), (85_600, "S-3", "CA"),
    ]  # fmt: skip
    assert Weighing.objects.filter(operation=receipt).count() == 3
    assert keys.count <= MOST, f"{keys.count} keys and scans beside the data"
