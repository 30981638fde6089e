"""Board, cells, the day's flow and fates in Chromium: on a tablet either way up and on a phone, with a hand scanner."""

import os
from datetime import timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from custody.actions.cells import keep_current
from custody.actions.work import Add, Make, Take, record_step
from custody.models import Lot, Run
from custody.terms import Addition, Form, Kind
from tests import builders, people

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
SIZES = {"wide": (1280, 900), "tablet": (1024, 768), "upright": (768, 1024), "phone": (390, 844)}
#: With JOURNEY_PICTURES=folder a picture of each page is kept, to be looked at.
KEPT = os.environ.get("JOURNEY_PICTURES")
HOUR = timedelta(hours=1)
SMALL = """() => [...document.querySelectorAll("main a, main button, main input, main select, main summary")]
    .filter(one => one.getClientRects().length && (one.offsetHeight < 24 || one.offsetWidth < 24))
    .map(one => one.outerHTML.slice(0, 120))"""


@pytest.fixture
def cell(committed_db):
    """A gold cell four days under way, read each day, two cathodes weighed; lots here and there, some for long."""
    builders.places()
    now = timezone.now()
    began = now - 100 * HOUR
    lots = builders.ready(5_000, 5_000, at=began, Au=985_000, Ag=9_000)
    otto = people.otto_operator()
    posted = record_step(
        kind=Kind.CHARGE, step=Kind.ELECTROLYSE_GOLD, inputs=[Take(lot.number) for lot in lots], at=began, by=otto,
        additions=(Add(Addition.ACID, 20_000_000),),
        outputs=[Make(Form.IN_PROCESS, 30_000_000, {"Au": 9_850_000, "Ag": 90_000}, vessel="CELL-1")],
    )  # fmt: skip
    run = Run.objects.get(opened_by_id=posted.id)
    for day, amperes in enumerate((30_000, 31_500, 29_000, 30_200)):
        since = began + 24 * day * HOUR
        keep_current(
            run=run, from_at=since, to_at=since + 24 * HOUR, milliampere=amperes, millivolt=1_350, at=now, by=otto
        )
    for hours, mg in ((47, 3_480_000), (95, 3_390_000)):
        content = Run.objects.get(pk=run.pk).content
        record_step(
            kind=Kind.DRAW, inputs=[Take(content.number, mg, {"Au": mg})], at=began + hours * HOUR, by=otto,
            outputs=[Make(Form.CATHODE, mg, {"Au": mg}, place="SHOP")],
        )  # fmt: skip
    builders.ready(800, 300, at=now - 60 * HOUR)
    builders.handed_over(builders.bar(grams=1000), people.vera_vault(), "VAULT")
    builders.received(420_000)
    return Run.objects.get(pk=run.pk)


@pytest.fixture
def site(new_page, cell):
    """A signed-in browser at a size."""

    def open_page(person=people.otto_operator, size="wide"):
        width, height = SIZES[size]
        page = new_page(width=width, height=height)
        session = people.signed_in(person()).cookies["sessionid"]
        page.context.add_cookies([{"name": "sessionid", "value": session.value, "url": "http://127.0.0.1"}])
        return page

    return open_page


def look(page, name, size):
    """No fault of access, nothing wider than the screen, no control too small."""
    found = Axe().run(page, options=RULES).response["violations"]
    assert not [f"{each['id']}: {node['html'][:120]}" for each in found for node in each["nodes"]], (name, size)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), (name, size)
    assert page.evaluate(SMALL) == [], (name, size)
    if KEPT:
        page.screenshot(path=Path(KEPT) / f"{name}-{size}.png", full_page=True)


@pytest.mark.parametrize("size", SIZES)
def test_the_pages_are_fit_for_every_screen(site, cell, size):
    page = site(size=size)
    today = timezone.localdate().isoformat()
    for name, address in (
        ("board", "/plant/"),
        ("cell", f"/plant/run/{cell.number}/cell/"),
        ("cells", "/plant/cells/"),
        ("flow", "/plant/flow/"),
        ("fates", f"/trace/fates/?first=2020-01-01&last={today}"),
    ):
        page.goto(address)
        look(page, name, size)


def test_a_scanner_leads_from_the_board_and_keeps_a_current(site, cell):
    page = site(size="tablet")
    page.goto("/plant/")
    page.focus("#id_lot")
    page.keyboard.type("CELL-1")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/plant/run/{cell.number}/cell/")
    page.fill("#id_current", "30.5")
    page.fill("#id_voltage", "1.31")
    page.get_by_role("button", name="Keep the current").click()
    page.wait_for_selector(".messages")
    assert "30.5 A" in page.inner_text(".messages")
    assert cell.cell_readings.count() == 5
    assert Lot.objects.filter(form=Form.CATHODE).count() == 2


def test_the_flow_fits_a_printed_page(site, cell):
    """On paper nothing scrolls: the picture is drawn as wide as the page at most."""
    page = site(size="wide")
    page.goto("/plant/flow/")
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 680, "height": 900})  # A4 less its margins
    assert page.evaluate("document.querySelector('svg.flow').getBoundingClientRect().right <= window.innerWidth")
    assert not page.locator(".actions").first.is_visible()
    if KEPT:
        page.screenshot(path=Path(KEPT) / "flow-print.png", full_page=True)
