"""Trace, people and balance in Chromium: wide and narrow, in both themes, as everybody must read them."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests import builders, people

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def violations(page):
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{each['id']}: {node['html'][:120]}" for each in found for node in each["nodes"]]


def sign_in(page, person):
    session = people.signed_in(person).cookies["sessionid"]
    page.context.add_cookies([{"name": "sessionid", "value": session.value, "url": "http://127.0.0.1"}])


@pytest.mark.parametrize("width", [1280, 390])
def test_every_page_can_be_read_by_everybody(new_page, width):
    bar = builders.bar("A000001")
    builders.received(builders.parcel(500_000))
    parcel = bar.created_by.movements.get(side="in").lot.number
    page = new_page(width=width, height=844)
    sign_in(page, people.mona_manager())
    for url in (
        "/trace/", "/trace/?code=X", f"/trace/{bar.number}/back/", f"/trace/{parcel}/forward/",
        "/balance/", "/balance/?first=2024-02-01&last=2024-01-01",
        "/people/", "/people/add/", "/people/login/otto/", "/people/login/mona/",
    ):  # fmt: skip
        page.goto(url)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            assert violations(page) == [], (url, scheme)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, url


def test_the_picture_scrolls_by_itself_on_a_phone_and_is_told_in_words(new_page):
    bar = builders.bar("A000001")
    page = new_page(width=390, height=844)
    sign_in(page, people.clara_compliance())
    page.goto(f"/trace/{bar.number}/back/")
    box = page.locator(".flow-scroll")
    assert box.evaluate("box => box.scrollWidth > 0 && getComputedStyle(box).overflowX") == "auto"
    assert page.locator(".flow svg").evaluate("svg => svg.getBoundingClientRect().width >= svg.viewBox.baseVal.width")
    page.get_by_text("The picture in words").click()
    assert page.locator("li", has_text=f"to HFR A000001 {bar.bar.year} {bar.number}: 999.900 g Au").is_visible()


def test_a_scanned_code_is_traced_by_enter(new_page):
    bar = builders.bar("A000001")
    page = new_page()
    sign_in(page, people.clara_compliance())
    page.goto("/trace/")
    page.keyboard.type("A000001")  # the field has the focus
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/trace/{bar.number}/back/")
    for number in (1, 2):  # the button works again: the page comes back with the report listed
        page.get_by_role("button", name="Issue a trace report").click()
        page.get_by_text(f"Trace report T-{bar.number}-{number} is issued").wait_for()
    with page.expect_download() as download:
        page.get_by_role("link", name=f"Trace report T-{bar.number}-2").click()
    assert download.value.suggested_filename.startswith("trace-report-t-")
