"""The daily check by keyboard alone, and what a scale sends landing in the weight that has the cursor."""

from datetime import UTC, datetime

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.template.loader import render_to_string
from django.templatetags.static import static
from playwright.sync_api import expect

from custody.actions.readings import keep_reading
from custody.models import Scale, ScaleCheck
from custody.web.forms import BaseRows, RowForm, rows_of
from custody.web.weighing import WeighingFields, weighing_kwargs
from tests import builders, people

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


class Row(WeighingFields, RowForm):
    pass


def look(page):
    found = Axe().run(page, options=RULES).response["violations"]
    assert [f"{each['id']}: {node['html'][:120]}" for each in found for node in each["nodes"]] == [], page.url
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), page.url


def sign_in(page, person):
    page.goto("/sign-in/")
    page.fill("#id_username", person.username)
    page.fill("#id_password", people.PASSWORD)
    page.click("main button")


def send(scale: Scale, value_ug: int):
    return keep_reading(
        scale=scale, value_ug=value_ug, stable=True, line="", read_at=datetime.now(UTC), key=f"{value_ug}",
        by=people.fiona_frontdesk(),
    )  # fmt: skip


def waiting(page, selector):
    """The cursor in a blank weight, once the page has asked where the scale stands."""
    with page.expect_response("**/scales/reading/**"):
        page.focus(selector)


def focused(page) -> str:
    return page.evaluate("document.activeElement.id")


@pytest.mark.parametrize("width", [1280, 390])
def test_a_scale_is_checked_by_keyboard_and_scanner(new_page, width):
    builders.places()
    for code in builders.SCALES:
        builders.scale(code, checked=False)
    for grams in (100, 1000, 2000):
        builders.reference_weight(grams)
    page = new_page(width=width)
    sign_in(page, people.fiona_frontdesk())
    page.goto("/scales/")
    look(page)
    page.goto("/scales/scale/BENCH-2/check/")
    look(page)
    assert focused(page) == "id_loads-0-weights"
    for typed in ("W-1000-E2", "1000.01", "W-2000-E2"):
        page.keyboard.type(typed)
        page.keyboard.press("Enter")
    assert focused(page) == "id_loads-1-reading"
    with page.expect_response("**/scales/reading/**"):
        pass
    send(Scale.objects.get(code="BENCH-2"), 1_999_990_000)
    expect(page.locator("#id_loads-1-reading")).to_have_value("1999.990")
    assert "1999.990 g from scale BENCH-2" in page.inner_text("[data-weighing]")
    page.click("text=Record the check")
    page.wait_for_url("**/scales/check/*/")
    look(page)
    assert [load.reading_ug for load in ScaleCheck.objects.get().loads.all()] == [1_000_010_000, 1_999_990_000]
    for address in ("/scales/scale/BENCH-2/", "/scales/weights/", "/scales/scale/BENCH-2/faulty/"):
        page.goto(address)
        look(page)
    page.fill("#id_reason", "It was dropped")
    page.click("text=Record that it is faulty")
    page.wait_for_url("**/weighings/")
    look(page)


def test_what_the_scale_sends_lands_in_the_weight_with_the_cursor(page):
    scale, other = builders.scale(), builders.scale("FLOOR-1")
    old = send(scale, 77_000_000)
    fiona = people.fiona_frontdesk()
    rows = rows_of(Row, BaseRows)(prefix="w", form_kwargs=weighing_kwargs(fiona))
    sign_in(page, fiona)
    page.goto("/scales/")
    entry = f"<form class='entry'>{rows}{render_to_string('ui/weighing.html')}<button>Record</button></form>"
    page.evaluate("entry => { document.querySelector('#content').innerHTML = entry }", entry)
    for script in ("rows.js", "scale.js"):
        page.add_script_tag(url=static(f"custody/{script}"), type="module")
    gross, tare, hidden = (f"#id_w-0-{name}" for name in ("gross", "tare", "gross_reading"))
    page.select_option("#id_w-0-scale", "BENCH-2")

    waiting(page, gross)
    send(other, 3_000_000_000)
    sent = send(scale, 1_002_500_000)
    expect(page.locator(hidden)).to_have_value(str(sent.pk))
    assert page.input_value(gross) == "1002.500"
    assert focused(page) == tare[1:]
    assert old.pk < sent.pk

    # What is typed is a weight keyed by hand, and is not overwritten.
    page.focus(gross)
    page.keyboard.press("End")
    page.keyboard.press("Backspace")
    assert page.input_value(hidden) == ""
    send(scale, 55_000_000)
    page.wait_for_timeout(1500)
    assert page.input_value(gross) == "1002.50"

    # A row added later takes its own; nothing is asked while no weight has the cursor.
    page.focus("button:text('Record')")
    asked = []
    page.on("request", lambda request: "reading" in request.url and asked.append(request.url))
    page.wait_for_timeout(1500)
    assert asked == []
    page.click("text=Add a line")
    page.select_option("#id_w-1-scale", "FLOOR-1")
    waiting(page, "#id_w-1-tare")
    sent = send(other, 5_000_000_000)
    expect(page.locator("#id_w-1-tare_reading")).to_have_value(str(sent.pk))
    assert page.input_value("#id_w-1-gross") == ""
