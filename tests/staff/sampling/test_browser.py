"""The melt on receipt in Chromium: by keyboard and scale, with the balance and the melt's loss as they are typed."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from custody.models import Operation
from tests import builders, people

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture
def sampler(new_page):
    """Sam's browser, signed in."""

    def open_page(**size):
        page = new_page(**size)
        session = people.signed_in(people.sam_sampler()).cookies["sessionid"]
        page.context.add_cookies([{"name": "sessionid", "value": session.value, "url": "http://127.0.0.1"}])
        return page

    return open_page


def two_parcels():
    builders.places()
    builders.scale("BENCH-2")
    parcels = [builders.parcel(mg, mine="Lark Creek") for mg in (1_000_000, 500_000)]
    return [builders.handed_over(lot, people.sam_sampler()) for lot in builders.received(*parcels)]


def gross_line(page):
    return [text.replace("\u202f", " ") for text in page.locator("[data-balance-row=gross] td").all_inner_texts()]


def loss(page):
    return page.inner_text("[data-melt-loss]").replace("\u202f", " ")


def test_the_balance_and_the_loss_run_as_the_melt_is_typed(sampler):
    lots = two_parcels()
    page = sampler()
    page.goto(f"/sampling/melt/?lot={lots[0].number}")
    assert gross_line(page)[0] == "1 000.000", "only what was asked for is ticked"
    assert loss(page) == "Melt loss: not known yet."
    page.get_by_label("Goes into the melt").nth(1).check()
    page.select_option("#id_scale", "BENCH-2")
    page.fill("#id_in-0-gross", "1000")
    page.fill("#id_in-1-gross", "500.05")
    assert gross_line(page)[0] == "1 500.000", "the book's weight goes in, not the scale's"
    page.fill("#id_add-0-gross", "5")
    page.fill("#id_out-0-gross", "1502")
    page.fill("#id_out-0-tare", "20.5")
    assert gross_line(page) == ["1 505.000", "1 481.500", "0.000", "23.500"], "the container is no metal"
    assert loss(page) == "Melt loss: 18.500 g, 1.2333 % of what goes in."
    page.select_option("#id_dip-0-scale", "BENCH-2")
    page.fill("#id_dip-0-gross", "6")
    assert loss(page) == "Melt loss: 12.500 g, 0.8333 % of what goes in.", "dips are metal that came out"
    page.fill("#id_out-1-gross", "10")
    assert loss(page) == "Melt loss: 12.500 g, 0.8333 % of what goes in.", "slag takes no part"
    page.fill("#id_loss-0-gross", "7.5")
    assert page.inner_text("[data-balance-word]") == "Balanced to the milligram."
    page.get_by_role("button", name="Record the melt").click()
    assert "Melt loss: 12.500 g of 1 500.000 g, 0.8333 %." in page.inner_text(".told").replace("\u202f", " ")
    melt = Operation.objects.get(kind="melt").created_lots.get(form="melt")
    assert melt.gross_mg == 1_481_500


def test_more_out_than_in_is_said_and_the_page_is_clean_when_it_refuses(sampler):
    lots = two_parcels()
    page = sampler(width=390, height=844)
    page.goto(f"/sampling/melt/?lot={lots[0].number}")
    page.select_option("#id_scale", "BENCH-2")
    page.fill("#id_in-0-gross", "998")
    page.fill("#id_out-0-gross", "1000.5")
    assert "weighs 0.500 g more than what goes in" in loss(page)
    page.fill("#id_out-0-gross", "990")
    page.fill("#id_loss-0-gross", "10")
    page.get_by_role("button", name="Record the melt").click()
    assert "2.000 g less than the book" in page.inner_text(".errors")
    assert page.locator("#countersign-title").is_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    found = Axe().run(page, options=RULES).response["violations"]
    assert not [node["html"][:120] for each in found for node in each["nodes"]]
