"""A delivery in Chromium, from signing in to the papers, at the counter's tablet and on a phone."""

from uuid import uuid4

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from custody.models import Lot, Operation, ScaleReading
from tests import builders, files, people

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def violations(page):
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{each['id']}: {node['html'][:120]}" for each in found for node in each["nodes"]]


def sign_in(page, person):
    page.goto("/sign-in/")
    page.fill("#id_username", person.username)
    page.fill("#id_password", people.PASSWORD)
    page.click("main button")


def fill_parcel(page, number, gross, tare=""):
    page.fill(f"#id_parcel-{number}-gross", gross)
    page.fill(f"#id_parcel-{number}-tare", tare)
    page.select_option(f"#id_parcel-{number}-scale", "BENCH-2")
    page.select_option(f"#id_parcel-{number}-category", "recycled")
    page.fill(f"#id_parcel-{number}-country", "NL")


@pytest.mark.parametrize("width", [1280, 1024, 390])
def test_a_delivery_is_received_while_its_net_runs(new_page, width):
    builders.places()
    builders.scale("BENCH-2")
    page = new_page(width=width)
    sign_in(page, people.fiona_frontdesk())
    page.click("text=New receipt")
    page.fill("#id_delivered_by", "Mara Quill")
    page.click("text=The party is not known yet")
    for field, typed in (("code", "P-77"), ("name", "Ashbank Coin Hall"), ("country", "Netherlands")):
        page.fill(f"#id_new_{field}", typed)
    fill_parcel(page, 0, "1002.5", "2.5")
    assert page.inner_text("[data-net]") == "Net as weighed: 1\u202f000.000 g in 1 parcel."
    page.fill("#id_parcel-0-declared", "18k")
    page.wait_for_selector("[data-estimate]:not([hidden])")
    assert "from 18 karat as declared: 743.000 to 750.000 g of fine Au" in page.inner_text("[data-estimate]")
    page.click("text=Add a parcel")
    carried = [page.input_value(f"#id_parcel-1-{name}") for name in ("category", "country", "scale", "gross")]
    assert carried == ["recycled", "NL", "BENCH-2", ""]
    assert page.evaluate("document.activeElement.name") == "parcel-1-seal"
    fill_parcel(page, 1, "250,125")
    assert "can't be read" in page.inner_text("[data-net]")
    page.click("text=Record the receipt and print it")
    assert "has a comma" in page.inner_text(".errors")
    assert not violations(page)
    assert page.input_value("#id_new_name") == "Ashbank Coin Hall"
    page.fill("#id_parcel-1-gross", "250.125")
    assert page.inner_text("[data-net]") == "Net as weighed: 1\u202f250.125 g in 2 parcels."
    page.click("text=Record the receipt and print it")
    page.wait_for_url("**/receipt/*/")
    assert not violations(page)
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    with page.expect_download() as paper:
        page.click("text=Delivery receipt")
    assert paper.value.suggested_filename.endswith(".pdf")
    assert list(Lot.objects.order_by("id").values_list("gross_mg", flat=True)) == [1_000_000, 250_125]


def test_a_photograph_is_attached_and_fetched_again(new_page):
    receipt = builders.receipt_of(builders.received()[0])
    page = new_page(width=390)
    sign_in(page, people.fiona_frontdesk())
    page.goto(f"/receipt/{receipt.number}/")
    page.click("text=Attach photographs or papers")
    assert not violations(page)
    page.set_input_files("#id_attach_files", {"name": "bags.jpg", "mimeType": "image/jpeg", "buffer": files.HTML})
    page.click("button:has-text('Attach')")
    assert "is no photograph" in page.inner_text(".errors")
    assert not violations(page)
    page.set_input_files("#id_attach_files", {"name": "bags.jpg", "mimeType": "image/jpeg", "buffer": files.JPEG})
    page.click("button:has-text('Attach')")
    with page.expect_download() as coming:
        page.click("main a:text-is('bags.jpg')")
    assert coming.value.suggested_filename == "bags.jpg"


def test_a_reading_fills_the_weight_and_moves_on(new_page):
    scale = builders.scale("BENCH-2")
    people.party("P-01")
    page = new_page()
    sign_in(page, people.fiona_frontdesk())
    page.goto("/counter/")
    page.select_option("#id_parcel-0-scale", "BENCH-2")
    with page.expect_response("**/scales/reading/**"):
        page.focus("#id_parcel-0-gross")
    now = timezone.now()
    ScaleReading.objects.create(
        scale=scale, value_ug=1_002_500_000, stable=True, read_at=now, received_at=now, by=people.fiona_frontdesk(),
        request_key=uuid4(), request_sha256=b"",
    )  # fmt: skip
    page.wait_for_selector("#id_parcel-0-tare:focus")
    assert page.input_value("#id_parcel-0-gross") == "1002.500"
    page.fill("#id_party", "P-01")
    page.fill("#id_delivered_by", "Mara Quill")
    page.select_option("#id_parcel-0-category", "recycled")
    page.fill("#id_parcel-0-country", "NL")
    page.click("text=Record the receipt and print it")
    page.wait_for_url("**/receipt/*/")
    assert "sent by the scale" in page.inner_text("main")


def test_every_page_of_the_desk_can_be_read_by_everybody(new_page):
    (lot,) = builders.ready()
    builders.held(builders.received()[0])
    receipt = Operation.objects.filter(kind="receive").first()
    page = new_page(width=390)
    sign_in(page, people.clara_compliance())
    for address in (
        "/", "/book/", "/parties/", "/party/P-01/", "/party-change/P-01/", "/clearance/", "/find/?code=L-0",
        f"/lot/{lot.number}/", f"/receipt/{receipt.number}/", f"/operation/{receipt.number}/",
    ):  # fmt: skip
        page.goto(address)
        assert violations(page) == [], address
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), address
