"""Five bars packed under a seal, and the box sent to its owner with a lot of cement copper, by scanner and keyboard."""

import os
from pathlib import Path

import pytest
from django.utils import timezone

from custody.actions.work import Make, Take, record_step
from custody.models import Box, Operation
from custody.queries.verify import verify
from custody.terms import Form, Kind
from tests import builders, people
from tests.staff.vault.test_browser import check, scan, sign_in

SERIALS = tuple(f"A00000{n}" for n in range(1, 6))


def pictured(page, name, width):
    """A picture of the page where JOURNEY_PICTURES names a folder."""
    if folder := os.environ.get("JOURNEY_PICTURES"):
        page.screenshot(path=Path(folder, f"gate-{name}-{width}.png"), full_page=True)


def copper():
    (lot,) = builders.ready(500, Ag=20_000, Cu=900_000)
    made = record_step(
        kind=Kind.MELT, inputs=[Take(lot.number)], at=timezone.now(), by=people.otto_operator(),
        outputs=[Make(Form.CEMENT_COPPER, lot.gross_mg, {"Ag": lot.ag_mg, "Cu": lot.cu_mg})],
    )  # fmt: skip
    return builders.handed_over(builders.fresh(made.lots[0]), people.vera_vault(), "VAULT")


def pack(page, width):
    """Five serials scanned into a box under seal S-2001, its list downloaded."""
    page.goto("/vault/")
    page.click("text=Pack a box")
    scan(page, "#id_bars", *SERIALS)
    page.wait_for_selector("text=5 scanned: gross 5 000.000 g")
    scan(page, "#id_seal", "S-2001")
    check(page)
    pictured(page, "pack", width)
    page.click("text=Pack and seal")
    page.wait_for_url("**/vault/box/*/")
    check(page)
    pictured(page, "box", width)
    box = Box.objects.get()
    with page.expect_download() as paper:
        page.click(f"a:has-text('Box list {box}')")
    assert paper.value.suggested_filename.endswith(".pdf")
    page.goto("/vault/boxes/")
    check(page)
    pictured(page, "boxes", width)


@pytest.mark.parametrize(("width", "height"), [(1280, 900), (1024, 768), (390, 844)])
def test_five_bars_are_packed_and_leave_with_copper(new_page, width, height):
    builders.places()
    builders.scale("BENCH-2")
    for serial in SERIALS:
        builders.handed_over(builders.bar(serial), people.vera_vault(), "VAULT")
    lot = copper()
    page = new_page(width=width, height=height)
    sign_in(page, people.vera_vault())
    pack(page, width)
    page.goto("/vault/gate/")
    page.select_option("#id_party", "P-01")
    page.check("[name=against][value=own]")
    scan(page, "#id_lots", "S-2001", lot.number)
    page.wait_for_selector("text=6 scanned")
    for name, said in {
        "order": "Order 7",
        "collector": "Piet Haul",
        "identity_number": "X1",
        "carrier": "Fell Transit",
    }.items():
        page.fill(f"#id_{name}", said)
    page.select_option("#id_identity_kind", "passport")
    page.click("text=Show what it comes to")
    page.wait_for_selector("text=Weigh what is named below")
    check(page)
    page.select_option("#id_leave-0-scale", "BENCH-2")
    page.fill("#id_leave-0-gross", "500,00 g")
    page.click("button:text-is('Send out of the gate')")
    assert "has a comma" in page.inner_text("main")
    page.fill("#id_leave-0-gross", "499.990")
    pictured(page, "gate", width)
    page.click("button:text-is('Send out of the gate')")
    page.wait_for_url("**/vault/dispatch/*/")
    check(page)
    pictured(page, "dispatched", width)
    one = Operation.objects.get(kind=Kind.DISPATCH)
    for title in (f"Dispatch note {one.number}", f"Collection note {one.number}", "Bar certificate HFR A000001"):
        with page.expect_download() as paper:
            page.click(f"a:has-text('{title}')")
        assert paper.value.suggested_filename.endswith(".pdf")
    page.click("text=Bar list")
    check(page)
    pictured(page, "bar-list", width)
    page.click("text=Issue it as PDF")
    page.wait_for_timeout(500)
    assert verify().ok
