"""The planner in Chromium: lots scanned are ticked, the way to the order, and pages that everybody can read."""

import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from custody.actions.routes import order_route, set_plant
from custody.calc.route import Step
from custody.models import RouteOrder
from tests import builders, people

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
KEPT = os.environ.get("JOURNEY_PICTURES")
SMALL = """[...document.querySelectorAll('main a, main button, main input, main select, main summary')].filter(each => {
    const box = each.getBoundingClientRect(); return box.width && (box.width < 24 || box.height < 24);
}).map(each => each.outerHTML.slice(0, 90))"""


@pytest.fixture
def signed_in(new_page):
    def open_page(person=people.otto_operator, **size):
        page = new_page(**size)
        session = people.signed_in(person()).cookies["sessionid"]
        page.context.add_cookies([{"name": "sessionid", "value": session.value, "url": "http://127.0.0.1"}])
        return page

    return open_page


def violations(page):
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{each['id']}: {node['html'][:120]}" for each in found for node in each["nodes"]]


def test_scanned_lots_are_ticked_reckoned_and_ordered(signed_in):
    (one,) = builders.ready(1000, Au=800_000, Ag=150_000)
    (two,) = builders.ready(500, Au=500_000, Ag=350_000)
    builders.ready(700, Au=950_000, Ag=10_000)
    page = signed_in(width=1024, height=768)
    page.goto("/plant/")
    page.get_by_role("link", name="Plan a batch").click()
    page.focus("#id_scanned")
    for lot in (one, two):
        page.keyboard.type(lot.number)
        page.keyboard.press("Enter")
    assert page.locator("input[name=lot]:checked").count() == 2
    page.get_by_role("button", name="Reckon").click()
    assert "Ag is 21.6666 %, more than 18.00 %." in page.inner_text("main")
    page.get_by_role("link", name="Order a route for it").click()
    assert page.get_by_label("inquartation with silver").is_checked()
    page.get_by_role("button", name="Order this route").click()
    page.wait_for_url("**/plant/orders/RO*/")
    assert "is ordered, by Otto Flux" in page.inner_text("body")
    assert (
        RouteOrder.objects.get().silver_to_add_mg == 2_825_000
    )  # four times 1050 g of gold, less the 1375 g that is there
    page.get_by_role("button", name="Issue the batch sheet").click()
    page.get_by_role("link", name="Batch sheet RO").wait_for()


def test_every_page_can_be_read_by_anyone(signed_in):
    (mixed, silver) = (builders.ready(1000, Au=800_000, Ag=140_000)[0], builders.ready(500, Au=500_000, Ag=350_000)[0])
    (free,) = builders.ready(700, Au=950_000, Ag=10_000, Cu=30_000, Pd=1_000)
    (raw,) = [builders.handed_over(lot, people.otto_operator()) for lot in builders.received()]
    set_plant(valid_from=timezone.localdate(), at=timezone.now(), by=people.mona_manager(), note="New nitric acid")
    made = order_route(
        lots=[mixed.number, silver.number],
        steps=[Step.INQUART, Step.PART, Step.AQUA_REGIA, Step.PRECIPITATE, Step.GOLD_CELL, Step.MELT],
        wanted_ppm=999_900,
        at=timezone.now(),
        by=people.otto_operator(),
    )
    ticked = f"lot={mixed.number}&lot={silver.number}"
    read_by = {
        people.otto_operator: {
            "planner": "planner/",
            "planner-reckoned": f"planner/?{ticked}&lot={raw.number}&reckon=1",
            "planner-proposed": "planner/?propose=1",
            "planner-wrong": "planner/?wanted=much&scanned=L-NONE",
            "order-new": f"orders/new/?{ticked}&wanted=999.9",
            "order": f"orders/{made.number}/",
            "orders": "orders/",
            "board": "",
            "settings-read": "settings/",
        },
        people.mona_manager: {"settings": "settings/"},
    }
    for width, height in ((1280, 900), (1024, 768), (768, 1024), (390, 844)):
        for person, pages in read_by.items():
            page = signed_in(person, width=width, height=height)
            for name, path in pages.items():
                assert page.goto(f"/plant/{path}").status == 200, path
                if KEPT:
                    page.screenshot(path=Path(KEPT) / f"{name}-{width}.png", full_page=True)
                assert violations(page) == [], path
                assert page.evaluate(SMALL) == [], path
                assert page.evaluate("document.documentElement.scrollWidth") <= width, path
    assert free.number
