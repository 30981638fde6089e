"""One strip becomes ten bars of 10 g in Chromium: rolled, punched, annealed, filed, stamped; the book holds."""

import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from custody.actions.bar_types import lay_usual_bar_types, set_aside_serials
from custody.models import Bar, BarType, Lot
from custody.queries.verify import verify
from tests import builders, people

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
KEPT = os.environ.get("JOURNEY_PICTURES")


class Shop:
    """Otto at the tablet."""

    def __init__(self, page):
        self.page = page
        session = people.signed_in(people.otto_operator()).cookies["sessionid"]
        page.context.add_cookies([{"name": "sessionid", "value": session.value, "url": "http://127.0.0.1"}])

    def open(self, link):
        self.page.goto("/plant/bars/")
        self.look("bars")
        self.page.get_by_role("table").get_by_role("link", name=link, exact=True).first.click()
        self.page.wait_for_selector("#id_scale")
        self.page.select_option("#id_scale", "SHOP-1")

    def weigh(self, name, *grams):
        """The weights of a part of the page."""
        for number, gram in enumerate(grams):
            self.page.fill(f"#id_{name}-{number}-gross", gram)
        assert all(self.page.input_value(f"#id_{name}-{n}-gross") == gram for n, gram in enumerate(grams))

    def put_on(self, name, *grams):
        """One after the other on the scale, by keyboard alone: Enter moves on to the next weight that is missing."""
        self.page.focus(f"#id_{name}-0-gross")
        for gram in grams:
            self.page.keyboard.type(gram)
            self.page.keyboard.press("Enter")
        assert all(self.page.input_value(f"#id_{name}-{n}-gross") == gram for n, gram in enumerate(grams))

    def record(self, button, name):
        assert self.page.inner_text("[data-balance-word]") == "Balanced to the milligram."
        self.look(name)
        self.page.get_by_role("button", name=button).click()
        self.page.wait_for_url("**/operation/**")

    def look(self, name):
        """As anybody must be able to read it: on the tablet, upright, and on a phone."""
        for width, height in ((390, 844), (768, 1024), (1024, 768)):
            self.page.set_viewport_size({"width": width, "height": height})
            assert self.page.evaluate("document.documentElement.scrollWidth") <= width, (name, width)
            if KEPT:
                Path(KEPT, f"{name}-{width}.png").write_bytes(self.page.screenshot(full_page=True))
        found = Axe().run(self.page, options=RULES).response["violations"]
        assert [f"{each['id']}: {node['html'][:120]}" for each in found for node in each["nodes"]] == []


@pytest.fixture
def shop(new_page):
    builders.places()
    builders.scale("SHOP-1")
    lay_usual_bar_types(by=people.mona_manager())
    set_aside_serials(
        mark="HFR", year=timezone.localdate().year, head="T", width=5, first=1, last=500, at=timezone.now(),
        by=people.mona_manager(), bar_type=BarType.objects.get(code="AU-10"),
    )  # fmt: skip
    return Shop(new_page(width=1024, height=768))


def test_one_strip_becomes_ten_bars(shop):
    (metal,) = builders.ready(160, where="SHOP", Au=999_950)
    page = shop.page
    page.goto(f"/plant/bars/cast-strip/?lot={metal.number}")
    page.select_option("#id_scale", "SHOP-1")
    shop.weigh("out", "155.000")
    shop.weigh("rest", "5.000")
    shop.record("Record it", "cast-strip")
    shop.open("Roll strip")
    shop.weigh("in", "152.400")
    shop.weigh("rest", "2.600")
    shop.record("Record it", "roll")
    shop.open("Punch blanks")
    page.fill("#id_count", "10")
    page.get_by_role("button", name="Lay out the rows").click()
    page.wait_for_selector("#id_out-9-gross")
    blanks = [f"10.0{n}0" for n in range(2, 8)] + ["10.050"] * 4
    shop.put_on("out", *blanks)
    shop.weigh("rest", "51.930")
    shop.record("Record it", "punch")
    shop.open("Anneal")
    shop.record("Record it", "anneal")
    shop.open("Adjust by filing")
    assert page.locator("#id_bar_type option:checked").inner_text() == "10 g gold"
    assert "File off 0.010 g at least, 0.020 g at most" in page.inner_text("main")
    shop.put_on("in", *["10.005"] * 10)
    shop.weigh("rest", "0.418")
    page.fill("#id_loss-0-gross", "0.002")
    shop.record("Record it", "adjust")
    shop.open("Stamp bars")
    assert page.input_value("#id_count") == "10"
    page.get_by_role("button", name="Lay out the bars").click()
    page.wait_for_selector("#id_bar-9-serial")
    assert page.input_value("#id_bar-9-serial") == "T00010"
    shop.put_on("bar", *["10.005"] * 10)
    shop.record("Record the stamping", "stamp")
    bars = Bar.objects.order_by("serial")
    assert [(bar.serial, bar.lot.gross_mg) for bar in bars] == [(f"T{n:05d}", 10_005) for n in range(1, 11)]
    held = Lot.objects.filter(gross_mg__gt=0)
    stock = sorted((lot.form, lot.gross_mg) for lot in held.exclude(form="bar"))
    assert stock == [("filings", 418), ("melt", 5_000), ("skeleton", 2_600), ("skeleton", 51_930)]
    assert sum(lot.au_mg for lot in held) == 159_992 - 2, "all but what was swept away"
    assert all(check.holds for check in verify().checks.values())
    page.goto(f"/lot/{bars[0].lot.number}/")
    shop.look("bar")
    assert "agreed fine content of a bar of 10 g" in page.inner_text("main")


def test_types_serials_and_the_cast_can_be_read_by_anyone(shop):
    page = shop.page
    (metal,) = builders.ready(2100, where="SHOP", Au=999_950)
    builders.scale()
    page.goto("/plant/bars/types/")
    shop.look("bar-types")
    page.goto("/plant/bars/serials/")
    shop.look("serials")
    page.get_by_role("link", name="T00001 to T00500").click()
    page.fill("#id_serial", "T00007")
    page.select_option("#id_fate", "spoiled")
    page.fill("#id_reason", "Struck askew")
    page.get_by_role("button", name="Record this").click()
    page.get_by_text("Struck askew, by Otto Flux").wait_for()
    shop.look("serial-range")
    page.goto(f"/plant/cast/?lot={metal.number}")
    page.select_option("#id_scale", "BENCH-2")
    page.select_option("#id_bar_type", label="1 kg gold")
    page.fill("#id_count", "2")
    page.get_by_role("button", name="Lay out the bars").click()
    page.wait_for_selector("#id_bar-0-gross")
    assert "Only 0 serials of HFR" in page.inner_text(".errors")
    page.fill("#id_first_serial", "K0001")
    page.get_by_role("button", name="Lay out the bars").click()
    page.wait_for_selector("#id_bar-1-serial")
    shop.put_on("bar", "1000.020", "999.990")
    page.fill("#id_rest-0-gross", "99.990")
    page.get_by_role("button", name="Record the cast").click()
    page.get_by_text("Remelt it.").first.wait_for()
    assert page.input_value("#id_bar-0-gross") == "1000.020", "everything typed is kept"
    shop.look("cast")
