"""The vault's door and a count in Chromium, by keyboard and scanner alone."""

import pytest

from custody.models import StockCount, VaultAccess, VaultClosing
from tests import builders, people
from tests.staff.vault.test_browser import check, scan, sign_in


@pytest.fixture
def bars(committed_db):
    builders.places()
    people.matt_accountant()
    people.max_manager()
    return [
        builders.handed_over(builders.bar(one, grams=100), people.vera_vault(), "VAULT") for one in ("HF-1", "HF-2")
    ]


@pytest.mark.parametrize("width", [1280, 390])
def test_a_place_is_counted_by_scanning_alone(new_page, bars, width):
    there, gone = bars
    page = new_page(width=width)
    sign_in(page, people.vera_vault())
    page.goto("/vault/count/VAULT/")
    scan(page, "#id_scanned", "hf-1", "X-9", "hf-1")
    page.wait_for_selector("[data-here='true']:has-text('HFR HF-1')")
    page.wait_for_selector("[data-here='false']:has-text('NOT HERE BY THE BOOK')")
    assert "2 scanned, 1 not here by the book. hf-1 was scanned before." in page.inner_text("[data-count-word]")
    assert gone.number not in page.content()
    check(page)
    page.goto("/vault/")  # away with a stray scan, and back
    page.goto("/vault/count/VAULT/")
    page.wait_for_selector("text=What was scanned before on this device is taken back.")
    page.keyboard.press("Escape")
    page.focus("button:text-is('Done scanning')")
    page.keyboard.press("Enter")
    page.wait_for_selector(f"text=What is known of {gone.number}")
    assert "1 of 2 found" in page.inner_text("main")
    check(page)
    page.fill(f"#id_missing_{gone.pk}", "Its tray is empty")
    page.fill("#id_signer", "matt")
    page.fill("#id_signer_password", people.PASSWORD)
    page.click("text=Record the count")
    page.wait_for_url("**/vault/counted/*/")
    check(page)
    assert {line.lot: line.found for line in StockCount.objects.get().lines.all()} == {there: True, gone: False}
    page.goto("/vault/count/VAULT/")
    assert page.input_value("#id_scanned") == ""


@pytest.mark.parametrize("width", [1280, 390])
def test_a_place_is_opened_and_closed_by_keyboard_alone(new_page, bars, width):
    page = new_page(width=width)
    sign_in(page, people.vera_vault())
    page.goto("/vault/place/CAGE/")
    check(page)
    page.focus("text=Open it together")
    page.keyboard.press("Enter")
    page.wait_for_url("**/vault/open/CAGE/")
    check(page)
    page.focus("#id_purpose")
    page.keyboard.type("Bars to the gate")
    page.focus("#id_signer")
    page.keyboard.type("max")
    page.keyboard.press("Tab")
    page.keyboard.type(people.PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Close it when you leave.")
    check(page)
    page.goto(f"/vault/access/{VaultAccess.objects.get().number}/")
    check(page)
    page.focus("text=Close it")
    page.keyboard.press("Enter")
    page.wait_for_url("**/vault/close/*/")
    check(page)
    page.click("text=It is closed")
    page.wait_for_selector("text=is closed.")
    assert VaultClosing.objects.count() == 1


def test_places_are_kept_where_everybody_can_read_them(new_page, bars):
    page = new_page(width=390)
    sign_in(page, people.mona_manager())
    for address in ("/vault/places/", "/vault/places/CAGE/", "/vault/accesses/CAGE/", "/vault/place/CAGE/", "/vault/"):
        page.goto(address)
        check(page)
