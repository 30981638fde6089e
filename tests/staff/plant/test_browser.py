"""The plant's entries in Chromium: lots scanned, the balance shown while typing, and what the page says of it."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from custody.actions.assay import determine
from custody.models import Operation, Run
from tests import builders, people
from tests.staff.plant.posting import body, sent

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture
def operator(new_page):
    """Otto's browser, or another person's, signed in."""

    def open_page(person=people.otto_operator, **size):
        page = new_page(**size)
        client = people.signed_in(person())
        session = client.cookies["sessionid"]
        page.context.add_cookies([{"name": "sessionid", "value": session.value, "url": "http://127.0.0.1"}])
        return page

    return open_page


def word(page):
    return page.inner_text("[data-balance-word]")


def figures(page, column):
    return page.locator(f"[data-balance-row={column}] td").all_inner_texts()


def violations(page):
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{each['id']}: {node['html'][:120]}" for each in found for node in each["nodes"]]


def scan(page, selector, code):
    page.focus(selector)
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def test_a_scanned_lot_brings_its_book_and_the_balance_runs_as_it_is_typed(operator):
    (lot,) = builders.ready()
    page = operator()
    page.goto("/plant/step/melt/")
    scan(page, "#id_in-0-lot", lot.number)
    page.wait_for_selector("[data-lot-book]:visible")
    assert "in your custody" in page.inner_text("[data-lot-book] >> nth=0")
    assert page.evaluate("document.activeElement.id") == "id_in-0-part", "the scanner moved on"
    assert figures(page, "Au") == ["800.000", "0.000", "0.000", "800.000"]
    page.fill("#id_in-0-part", "250")
    assert figures(page, "gross")[0] == "250.000"
    assert figures(page, "Ag")[0] == "37.500"
    page.fill("#id_in-0-part", "")
    page.fill("#id_out-0-gross", "999")
    page.fill("#id_out-0-Au", "799.9")
    page.fill("#id_out-0-Ag", "150")
    assert word(page) == "1.000 g gross still to explain; 0.100 g Au still to explain"
    page.select_option("#id_loss-0-cause", "fume")
    page.fill("#id_loss-0-gross", "1")
    page.fill("#id_loss-0-Au", "0.1")
    assert word(page) == "Balanced to the milligram."
    usual = "[data-usual-row=Au] [data-asked]"
    assert page.inner_text(usual) == "nothing"
    page.fill("#id_loss-0-Au", "0.5")
    assert page.inner_text(usual) == "a reason", "past 0.05 % of 800 g"
    page.fill("#id_loss-0-Au", "0.9")
    assert page.inner_text(usual) == "reason and a manager", "past 0.1 %"
    page.fill("#id_loss-0-Au", "0.1")
    page.fill("#id_reason", "Weights from the furnace book")
    assert violations(page) == []
    page.get_by_role("button", name="Record the step").click()
    page.wait_for_url("**/operation/**")
    assert Operation.objects.filter(kind="melt").count() == 1


def test_a_number_the_book_lacks_is_told_at_once_and_the_right_one_heals_it(operator):
    (lot,) = builders.ready()
    page = operator(width=390, height=844)
    page.goto("/plant/step/melt/")
    scan(page, "#id_in-0-lot", "L-NONE")
    page.get_by_text("There is no lot L-NONE").wait_for()
    assert figures(page, "gross")[0] == "0.000"
    page.fill("#id_in-0-lot", "")
    scan(page, "#id_in-0-lot", lot.number)
    page.locator("[data-lot-words]", has_text="in your custody").wait_for()
    assert figures(page, "gross")[0] == "1\u202f000.000"
    page.get_by_role("button", name="Add a lot in").click()
    assert figures(page, "gross")[0] == "1\u202f000.000", "a new row knows nothing of the last one's lot"
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_bars_laid_out_are_balanced_by_weight_and_fineness(operator):
    (lot,) = builders.ready(1200, where="SHOP", Au=999_850, Ag=50)
    page = operator()
    builders.scale()
    page.goto(f"/plant/cast/?lot={lot.number}")
    page.select_option("#id_scale", "BENCH-2")
    for field, value in {"count": "2", "fineness": "999.9"}.items():
        page.fill(f"#id_{field}", value)
    page.get_by_role("button", name="Lay out the bars").click()
    page.wait_for_selector("#id_bar-1-serial")
    assert page.input_value("#id_bar-1-serial") == "A000002"
    page.fill("#id_bar-0-gross", "500")
    page.fill("#id_bar-1-gross", "500.2")
    assert figures(page, "Au")[:2] == ["1\u202f199.820", "1\u202f000.100"]
    page.fill("#id_rest-0-gross", "199.8")
    assert word(page) == "Balanced to the milligram."
    assert figures(page, "Ag") == ["0.060", "0.060", "0.000", "0.000"]
    page.fill("#id_bar-1-fineness", "1000.1")
    page.press("#id_bar-1-fineness", "Tab")
    assert "can't be read" in word(page)
    page.fill("#id_bar-1-fineness", "999.9")
    page.get_by_role("button", name="Record the cast").click()
    page.wait_for_url("**/operation/**")
    assert [
        bar.bar.serial for bar in Operation.objects.get(kind="cast").created_lots.filter(form="bar").order_by("id")
    ] == [
        "A000001",
        "A000002",
    ]


def test_every_page_of_plant_and_laboratory_can_be_read_by_anyone(operator):
    (lot,) = builders.ready()
    (sand,) = builders.ready(1200, where="SHOP", Au=999_850)
    (raw,) = builders.received()
    (sample,) = [builders.handed_over(each, people.anna_assayer(), "LAB") for each in builders.received(5_000)]
    found = determine(lot=raw, ppm={"Au": 800_000}, method="fire assay", at=timezone.now(), by=people.anna_assayer())
    builders.place("VESSEL-1")
    client = people.signed_in(people.otto_operator())
    rows = {"in": [{"lot": lot.number}], "add": [{"what": "acid", "gross": "400"}]}
    sent(client, "/plant/charge/", body(rows=rows, vessel=builders.place("VESSEL-1").pk, step="dissolve"))
    run = Run.objects.get().number
    plant = ["", "step/", "batch/", "step/melt/", "clean-out/", "charge/?vessel=VESSEL-1", f"run/{run}/",
             f"run/{run}/draw/", f"run/{run}/finish/", f"cast/?lot={sand.number}",
             f"divide/?lot={sand.number}"]  # fmt: skip
    laboratory = ["", f"sample/{sample.number}/", f"consume/{sample.number}/", f"determine/{raw.number}/"]
    read_by = {
        people.otto_operator: [f"/plant/{path}" for path in plant],
        people.anna_assayer: [f"/laboratory/{path}" for path in laboratory],
        people.mona_manager: [f"/laboratory/accept/{found.number}/", f"/plant/correct/{sand.number}/"],
    }
    for width in (1280, 390):
        for person, paths in read_by.items():
            page = operator(person, width=width)
            for path in paths:
                assert page.goto(path).status == 200, path
                assert violations(page) == [], path
                assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_without_script_lots_are_looked_up_by_a_button(browser, live_site):
    (lot,) = builders.ready()
    session = people.signed_in(people.otto_operator()).cookies["sessionid"].value
    context = browser.new_context(base_url=live_site, java_script_enabled=False)
    context.add_cookies([{"name": "sessionid", "value": session, "url": "http://127.0.0.1"}])
    page = context.new_page()
    page.goto("/plant/step/melt/")
    page.fill("#id_in-1-lot", lot.number)
    page.fill("#id_in-1-part", "100")
    page.fill("#id_out-0-gross", "1,5")
    page.get_by_role("button", name="Look up lots").click()
    assert page.input_value("#id_out-0-gross") == "1,5"
    assert "80.000" in page.inner_text("[aria-label='What goes in by the book']")
    assert page.locator(".errors").count() == 0
    context.close()
