"""A scale comes into the house, is checked, weighs, is found faulty, and is checked again."""

from tests import builders, people
from tests.journeys import scales


def test_a_scale_from_its_plate_to_a_fault(at_work):
    manager, desk = at_work(people.mona_manager()), at_work(people.fiona_frontdesk())
    scales.enter_scale(
        manager, "BENCH-2", "Bench scale 2", "COUNTER Front counter", accuracy="II", e="0.1", d="0.01", most="6200"
    )
    scales.enter_weight(manager, "W-2K", "2000", "F1")
    scales.enter_weight(
        manager, "W-100", "100", "F1", **{"Certificate": "K 7", "Deviation, mg": "0.2", "Uncertainty, mg": "0.15"}
    )
    scales.check_today(desk, "BENCH-2", ("W-100", "100.01"), ("W-2K", "2000.3"), passed=False)
    assert "It may not be used until it passes a check." in desk.text
    scales.check_today(desk, "BENCH-2", ("W-100", "100.01"), ("W-2K W-100", "2100.02"))
    lots = builders.received(1_000_000, 2_000_000)
    listed = scales.find_faulty(desk, "BENCH-2", "It was dropped")
    assert [(row["Lot"], row["Net, g"]) for row in listed[: len(lots)]] == [
        (lots[0].number, "1\u202f000.000"),
        (lots[1].number, "2\u202f000.000"),
    ]
    assert desk.fact("Weighings") == "2"
    scales.check_today(desk, "BENCH-2", ("W-100", "100"), ("W-2K", "2000"))
    assert "It may be used today." in desk.text
