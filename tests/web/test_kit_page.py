"""The kit in a real browser: every part, three widths, two themes, keyboard and scanner, with and without script."""

import re
from copy import deepcopy

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings as site

from custody.calc.apportion import withdraw
from custody.calc.mass import parse_grams

PAGES = ["parts", "entry", "list", "confirm", "sign-in"]
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
SMALL = """() => [...document.querySelectorAll("a, button, input, select, textarea, summary")]
    .filter((part) => part.offsetParent && part.type !== "hidden" && !part.matches(".skip, p a"))
    .filter((part) => { const box = part.getBoundingClientRect(); return box.width < 24 || box.height < 24; })
    .map((part) => part.outerHTML.slice(0, 80))"""


@pytest.fixture
def committed_db(settings):
    """No database stands behind the kit: its own small site is served, without what asks the book."""
    engine = deepcopy(site.TEMPLATES[0])
    engine["DIRS"].append(site.BASE_DIR / "tests/web/templates")
    engine["OPTIONS"]["context_processors"] = without_book(engine["OPTIONS"]["context_processors"])
    settings.TEMPLATES = [engine]
    settings.MIDDLEWARE = without_book(site.MIDDLEWARE)
    settings.ROOT_URLCONF = "tests.web.kit_site"


def without_book(names):
    return [name for name in names if not name.startswith("custody.")]


def violations(page):
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{each['id']}: {node['html'][:120]}" for each in found for node in each["nodes"]]


@pytest.mark.parametrize("width", [1280, 768, 390])
def test_every_part_can_be_read_and_pressed_by_anyone(new_page, width):
    page = new_page(width=width)
    for theme in ("light", "dark") if width == 1280 else ("light",):
        page.emulate_media(color_scheme=theme)
        for name in PAGES:
            page.goto(f"/{name}/")
            assert page.evaluate("document.styleSheets.length") == 3
            assert violations(page) == [], (name, theme)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, name
            assert page.evaluate(SMALL) == [], name


def test_the_check_itself_sees_a_fault(page):
    page.goto("/parts/")
    page.evaluate("document.querySelector('.page-head .kind').innerHTML = '<img src=\"data:,\"><a href=\"#x\"></a>'")
    assert violations(page)


def test_a_refused_entry_keeps_everything_and_leads_to_each_fault(page):
    page.goto("/entry/")
    page.fill("#id_out-0-gross", "1,5")
    page.fill("#id_in-0-lot", "L-1")
    page.get_by_role("button", name="Record the melt").click()
    page.wait_for_selector(".errors")
    assert page.evaluate("document.activeElement.className") == "errors"
    assert page.input_value("#id_out-0-gross") == "1,5"
    assert page.input_value("#id_in-0-lot") == "L-1"
    assert violations(page) == []
    page.get_by_role("link", name=re.compile("Lot out 1: The gross weight")).click()
    assert page.evaluate("document.activeElement.id") == "id_out-0-gross"
    described = page.get_attribute("#id_out-0-gross", "aria-describedby")
    assert "has a comma" in page.inner_text(f"#{described}")


def word(page):
    return page.inner_text("[data-balance-word]")


def figures(page, column):
    return page.locator(f"[data-balance-row={column}] td").all_inner_texts()


def test_the_balance_runs_as_it_is_typed(page):
    page.goto("/entry/")
    assert word(page) == "Nothing to balance yet."
    for field, grams in {"in-0-gross": "0.3", "in-0-gold": "0.3", "out-0-gross": "0.2", "out-0-gold": "0.1"}.items():
        page.fill(f"#id_{field}", grams)
    assert figures(page, "gross") == ["0.300", "0.200", "0.000", "0.100"]
    assert word(page) == "0.100 g gross still to explain; 0.200 g Au still to explain"
    page.fill("#id_loss-0-gross", "0.1")
    page.fill("#id_loss-0-gold", "0.2")
    assert word(page) == "Balanced to the milligram."
    page.fill("#id_loss-0-gross", "-0.1")
    assert figures(page, "gross") == ["0.300", "0.200", "\u22120.100", "0.200"]
    page.fill("#id_out-0-gross", "1 kg")
    assert "more out than in" in word(page)
    assert figures(page, "gross")[1] == "1\u202f000.000"


def test_what_cannot_be_read_is_marked_when_left_and_never_guessed(page):
    page.goto("/entry/")
    page.fill("#id_in-0-gross", "10")
    page.fill("#id_out-0-gross", "9,5")
    assert page.locator(".field-error").count() == 0, "still typing"
    page.press("#id_out-0-gross", "Tab")
    assert "can't be read" in word(page)
    assert figures(page, "gross")[1] == "0.000"
    described = page.get_attribute("#id_out-0-gross", "aria-describedby")
    assert "digits and a point" in page.inner_text(f"#{described}")
    assert page.get_attribute("#id_out-0-gross", "aria-invalid") == "true"
    page.fill("#id_out-0-gross", "9.5")
    assert page.locator(".field-error").count() == 0
    assert page.get_attribute("#id_out-0-gross", "aria-invalid") is None
    assert word(page) == "0.500 g gross still to explain"


TEXTS = [
    "1234.567", "0.001", "1.2345", "1,5", "1.", ".5", "", " 7 ", "12.5 g", "1.25kg", "1.2345678 kg", "17 mg", "1.5 mg",
    "1 ozt", "1.00001 ozt", "0.00005 ozt", "1 lb", "1 G", "-1", "+1", "1e3", "NaN", "Infinity", "0x10", "٣", "1 234",
    "1\u202f234.567", "1\u202f23", "100000000", "100000000.001", "00012.5", "9" * 39, "9" * 41, "999999999999999999999",
]  # fmt: skip


def test_the_browser_reads_grams_as_the_book_does(page):
    page.goto("/entry/")
    read = page.evaluate(
        """async (texts) => {
            const { milligrams } = await import("/static/custody/mass.js");
            const found = texts.map((text) => milligrams(text));
            return found.map((mg) => (typeof mg === "bigint" ? String(mg) : null));
        }""",
        TEXTS,
    )
    assert dict(zip(TEXTS, read, strict=True)) == {text: as_the_book(text) for text in TEXTS}


def as_the_book(text):
    try:
        return str(parse_grams(text, allow_units=True, allow_zero=True))
    except ValueError:
        return None


def test_the_browser_divides_a_lot_as_the_book_does(page):
    page.goto("/entry/")
    lots = ((10, (5, 4, 0, 0, 0)), (7, (2, 2, 1, 1, 1)), (9, (3, 3, 0, 0, 0)))
    cases = [(gross, metals, taken) for gross, metals in lots for taken in range(gross)]
    shares = page.evaluate(
        """async (cases) => {
            const { apportion } = await import("/static/custody/mass.js");
            return cases.map(([gross, metals, taken]) => [...apportion(BigInt(taken), BigInt(gross),
                new Map(metals.map((mg, order) => [String(order), BigInt(mg)]))).values()].map(Number));
        }""",
        cases,
    )
    assert [tuple(share) for share in shares] == [withdraw(gross, metals, taken) for gross, metals, taken in cases]


def test_fixed_figures_count_when_picked_and_in_part(page):
    page.goto("/fixed/")
    page.fill("#flux", "0.002")
    assert figures(page, "gross")[0] == "0.002"
    page.check("#pick")
    assert [figures(page, column)[0] for column in ("gross", "Au", "Ag")] == ["0.012", "0.005", "0.005"]
    page.fill("#part", "0.003")
    assert [figures(page, column)[0] for column in ("gross", "Au", "Ag")] == ["0.005", "0.002", "0.001"]
    page.uncheck("#pick")
    assert figures(page, "gross")[0] == "0.002"


def test_rows_come_and_go(page):
    page.goto("/entry/")
    assert page.locator("[data-rows=in] [data-row]").count() == 1
    assert page.input_value("[name=in-TOTAL_FORMS]") == "1"
    for number, lot in enumerate(("L-1", "L-2", "L-3")):
        if number:
            page.get_by_role("button", name="Add a lot in").click()
            assert page.evaluate("document.activeElement.id") == f"id_in-{number}-lot"
        page.fill(f"#id_in-{number}-lot", lot)
        page.fill(f"#id_in-{number}-gross", "1")
    assert figures(page, "gross")[0] == "3.000"
    page.locator("[data-rows=in] [data-row]").nth(1).get_by_role("button").click()
    assert figures(page, "gross")[0] == "2.000"
    assert page.input_value("[name=in-TOTAL_FORMS]") == "2"
    assert page.input_value("#id_in-1-lot") == "L-3"
    assert page.locator("[data-rows=in] legend").all_inner_texts() == ["Lot in 1", "Lot in 2"]
    page.locator("label[for=id_in-1-gross]").click()
    assert page.evaluate("document.activeElement.name") == "in-1-gross"
    assert page.locator("#id_in-1-lot").count() == 1
    assert violations(page) == []


def test_a_scanner_fills_an_entry_without_sending_it(page):
    page.goto("/entry/")
    page.focus("#id_in-0-lot")
    page.keyboard.type("HFR-24-00001")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "id_in-0-gross"
    page.keyboard.type("10.5")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "id_in-0-gold"
    assert page.url.endswith("/entry/")
    assert page.input_value("#id_in-0-lot") == "HFR-24-00001"


def test_a_scan_anywhere_finds_the_lot(page):
    page.goto("/parts/")
    page.keyboard.type("HFR-24-00001")
    page.keyboard.press("Enter")
    page.wait_for_url("**/scan/?code=HFR-24-00001")
    assert page.inner_text("h1") == "looked for HFR-24-00001"


def test_keys_with_a_meaning_of_their_own_stay_theirs(page):
    page.goto("/entry/")
    for keys in ("Control+b", "Space", "Tab", "ArrowDown"):
        page.keyboard.press(keys)
        assert page.evaluate("document.activeElement.id") != "scan-code", keys
        page.evaluate("document.activeElement.blur()")
    page.focus("#id_furnace")
    page.keyboard.type("F")
    assert page.input_value("#id_furnace") == "1"


def test_the_first_tab_skips_to_the_page(page):
    page.goto("/list/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the page"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.querySelector('main').contains(document.activeElement)")


PRESS_TWICE = """() => {
    let sent = 0;
    addEventListener("submit", (event) => { sent += !event.defaultPrevented; event.preventDefault(); });
    const button = document.querySelector("#book button");
    button.click();
    button.click();
    const once = [sent, button.getAttribute("aria-disabled")];
    dispatchEvent(new PageTransitionEvent("pageshow", { persisted: true }));
    const back = button.getAttribute("aria-disabled");
    button.click();
    return [...once, back, sent];
}"""
LEAVE = """() => {
    const leaving = new Event("beforeunload", { cancelable: true });
    dispatchEvent(leaving);
    return leaving.defaultPrevented;
}"""


def test_a_form_is_sent_once_and_again_after_coming_back(page):
    page.goto("/fixed/")
    assert page.evaluate(PRESS_TWICE) == [1, "true", None, 2]


def test_leaving_with_something_typed_asks_first(page):
    page.goto("/entry/")
    assert not page.evaluate(LEAVE)
    page.locator("#id_reason").press_sequentially("half a thought")
    assert page.evaluate(LEAVE)


def test_leaving_a_refused_entry_asks_first(page):
    page.goto("/entry/")
    page.get_by_role("button", name="Record the melt").click()
    page.wait_for_selector(".errors")
    assert page.evaluate(LEAVE)


def test_without_script_the_spare_rows_are_there_and_count(browser, live_site):
    context = browser.new_context(base_url=live_site, java_script_enabled=False)
    page = context.new_page()
    page.goto("/entry/")
    assert page.locator("[data-rows=in] fieldset").count() == 2
    assert page.get_by_role("button", name="Add a lot in").count() == 0
    page.select_option("#id_furnace", "1")
    for field, value in {"in-1-lot": "L-2", "in-1-gross": "1", "out-0-lot": "L-9", "out-0-gross": "1"}.items():
        page.fill(f"#id_{field}", value)
    page.get_by_role("button", name="Record the melt").click()
    assert page.inner_text("h1").startswith("recorded [[{'lot': 'L-2', 'gross': 1000,")
    context.close()


def test_a_list_becomes_cards_on_a_phone_and_keeps_its_names(new_page):
    page = new_page(width=390)
    page.goto("/list/")
    assert not page.locator("thead").first.is_visible()
    cell = page.locator("tbody tr").first.locator("td.mass").first
    assert cell.evaluate("(cell) => getComputedStyle(cell, '::before').content") == '"Gross, g"'
    page.locator(".menu summary").click()
    assert page.get_by_role("link", name="Plant").get_attribute("aria-current") == "page"
    assert page.get_by_role("button", name="Sign out").is_visible()


def test_masses_line_up(page):
    page.goto("/list/")
    style = page.locator("tbody td.mass").first.evaluate(
        "(cell) => [getComputedStyle(cell).textAlign, getComputedStyle(cell).fontVariantNumeric]"
    )
    assert style[0] == "end"
    assert "tabular-nums" in style[1]


def test_a_refusal_has_its_page(page, console_errors):
    page.goto("/refused/")
    assert "compliance officer's work" in page.inner_text("main")
    page.goto("/nothing/")
    assert "nothing here that you may see" in page.inner_text("main")
    assert len(console_errors) == 2  # the browser notes 403 and 404
    console_errors.clear()
