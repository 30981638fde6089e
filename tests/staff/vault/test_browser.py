"""Vault, gate, settlement and the customer's door in Chromium: scanned, looked at, recorded, downloaded."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from custody.models import Handover, Operation, Settlement
from custody.terms import Kind, Outturn
from tests import builders, people, settling

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def check(page):
    """No accessibility violation, nothing wider than the screen."""
    found = Axe().run(page, options=RULES).response["violations"]
    assert [f"{each['id']}: {node['html'][:120]}" for each in found for node in each["nodes"]] == [], page.url
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), page.url


def sign_in(page, person):
    page.goto("/sign-in/")
    page.fill("#id_username", person.username)
    page.fill("#id_password", people.PASSWORD)
    page.click("main button")


def scan(page, selector, *codes):
    """As a hand scanner does: types each code and presses Enter."""
    page.focus(selector)
    for code in codes:
        page.keyboard.type(code)
        page.keyboard.press("Enter")


@pytest.mark.parametrize("width", [1280, 390])
def test_bars_are_scanned_handed_over_and_sent_out(new_page, width):
    builders.places()
    builders.scale("BENCH-2")
    for serial in ("A000001", "A000002"):
        builders.bar(serial)
    page = new_page(width=width)
    sign_in(page, people.vera_vault())
    page.goto("/vault/handover/")
    page.select_option("#id_to_person", label="Vera Lock")
    page.select_option("#id_to_place", "VAULT")
    page.select_option("#id_scale", "BENCH-2")
    scan(page, "#id_at_book", "A000001")
    page.select_option("#id_not_weighed", "bar counted by its serial")
    scan(page, "#id_lots-0-lot", "A000002")
    page.wait_for_selector("[data-lot-words]:has-text('held by Otto Flux')")
    page.keyboard.type("999.990")
    check(page)
    page.click("text=Record the handover")
    page.wait_for_url("**/vault/place/VAULT/")
    check(page)
    assert sorted(Handover.objects.order_by("-id").values_list("weighed_mg", flat=True)[:2], key=str) == [999_990, None]
    page.goto("/vault/gate/")
    page.select_option("#id_party", "P-01")
    page.check("[name=against][value=own]")
    scan(page, "#id_lots", "A000001", "A000002")
    for name, said in {"order": "Order 7", "collector": "Piet Haul", "identity_number": "X1234567"}.items():
        page.fill(f"#id_{name}", said)
    page.select_option("#id_identity_kind", "passport")
    page.click("text=Show what it comes to")
    page.wait_for_selector("text=Press once more to record it.")
    check(page)
    page.click("button:text-is('Send out of the gate')")
    page.wait_for_url("**/vault/dispatch/*/")
    check(page)
    assert Operation.objects.filter(kind=Kind.DISPATCH).count() == 1
    with page.expect_download() as paper:
        page.click("text=Bar certificate HFR A000001")
    assert paper.value.suggested_filename.endswith(".pdf")


@pytest.mark.parametrize("width", [1280, 390])
def test_a_receipt_is_reckoned_approved_and_read_by_its_customer(new_page, width):
    settling.terms()
    lot = builders.valued(builders.received()[0])
    receipt = builders.receipt_of(lot)
    people.mona_manager()
    page = new_page(width=width)
    sign_in(page, people.matt_accountant())
    page.goto("/settlement/")
    check(page)
    page.click(f"text={receipt.number}")
    page.check("[name=outturn][value=money]")
    for metal, price in (("Au", "70,12"), ("Ag", "0.91")):
        page.fill(f"#id_price_{metal}", price)
        page.select_option(f"#id_unit_{metal}", "g")
        page.fill(f"#id_source_{metal}", "invented fixing")
    page.click("text=Reckon")
    assert "has a comma" in page.inner_text(".errors")
    check(page)
    page.fill("#id_price_Au", "70.12")
    page.click("text=Reckon")
    page.fill("#id_approver", "mona")
    page.fill("#id_approver_password", people.PASSWORD)
    page.fill("#id_approval_meaning", "Checked")
    check(page)
    page.click("text=Issue the settlement")
    page.wait_for_url("**/settlement/statement/*/")
    check(page)
    one = Settlement.objects.get()
    customer = new_page(width=width)
    sign_in(customer, people.cora_customer())
    check(customer)
    customer.click(f"text={receipt.number}")
    check(customer)
    with customer.expect_download() as paper:
        customer.click(f"text=Settlement statement {one.number}")
    assert paper.value.suggested_filename == f"settlement-statement-{one.number.lower()}.pdf"


def test_the_other_pages_can_be_read_by_everybody(new_page):
    settling.settled(settling.bar_in_vault(), Outturn.METAL)
    one = settling.settled(builders.valued(builders.received()[0]))
    page = new_page(width=390)
    sign_in(page, people.matt_accountant())
    for address in (
        "/vault/",
        "/settlement/accounts/",
        "/settlement/account/P-01/",
        f"/settlement/correct/{one.number}/",
    ):
        page.goto(address)
        check(page)
    keeper = new_page(width=390)
    sign_in(keeper, people.vera_vault())
    keeper.goto("/vault/takeover/COUNTER/")
    check(keeper)


@pytest.mark.parametrize("width", [1280, 390])
def test_a_shift_is_handed_over_by_scanning_alone(new_page, width):
    builders.places()
    there, gone = builders.received(1_000_000, 500_000)
    builders.scale("BENCH-2")
    giver = people.fiona_frontdesk()
    page = new_page(width=width)
    sign_in(page, people.vera_vault())
    page.goto("/vault/takeover/COUNTER/")
    scan(page, "#id_scanned", there.number.lower(), "L99-1")
    assert "L99-1 is not on this list. 1 of 2 scanned." in page.inner_text("[data-tick-word]")
    assert page.is_checked(f"[name=seen][value={there.number}]")
    page.fill("#id_scanned", "")
    page.fill("#id_signer", giver.username)
    page.fill("#id_signer_password", people.PASSWORD)
    check(page)
    page.click("text=Record the shift handover")
    page.wait_for_selector(".errors")
    check(page)
    assert page.is_checked(f"[name=seen][value={there.number}]")
    page.fill(f"#id_missing_{gone.pk}", "Not in the safe")
    page.fill("#id_signer_password", people.PASSWORD)
    page.click("text=Record the shift handover")
    page.wait_for_url("**/vault/passed/*/")
    assert "NOT FOUND" in page.inner_text("main")
    check(page)
    assert Handover.objects.filter(seen=False).get().lot_id == gone.pk
