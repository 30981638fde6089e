"""The delivery receipt, read back from the PDF."""

import re

import pytest

from custody.documents.receipt import AmendedLine, RefusedLine, render_receipt
from tests.documents import reading, samples


def made(*parcels, **changes):
    return render_receipt(samples.receipt(*parcels, **changes), identifier=samples.IDENTIFIER, created=samples.NOON)


@pytest.fixture(scope="module")
def pdf():
    return made()


def test_two_copies_on_following_pages(pdf):
    assert reading.page_count(pdf) == 2
    first, second = reading.text(pdf, page=1), reading.text(pdf, page=2)
    assert "customer's copy" in first
    assert "refinery's copy" in second
    assert "page 1 of 1" in first
    assert "page 1 of 1" in second
    assert first.replace("customer's", "refinery's") == second


def test_what_the_customer_takes_away(pdf):
    text = reading.text(pdf, page=1)
    for wanted in (
        "Harrow Fell Refinery", "4 Smelt Lane", "R-000123", "2024-05-03 12:00 BST (UTC+01:00)",
        "Tern Valley Placer Cooperative (P-01)", "Mara Quill", "Ona Birk", "counter strongroom",
        "L-002400", "L-002401", "doré", "mined", "CA", "Au 801.5", "Ag 120.0", "Bench 2",
        "The reserve sample is kept for sixty days.", "Delivered, and present at the weighing",
        "Received and weighed for Harrow Fell Refinery",
    ):  # fmt: skip
        assert wanted in text


def test_masses_have_their_unit_in_the_head_and_add_up(pdf):
    text = reading.text(pdf, page=1)
    assert "Gross g Tare g Net g" in text
    # 1250.345 + 1250.346, twice 1.002, 1249.343 + 1249.344
    assert "2 500.691 2.004 2 498.687" in text
    assert "Net as received 2 498.687 g, 80.335 ozt." in text  # 2498.687 / 31.1034768 = 80.3346…


def test_declared_and_measured_are_headed_apart(pdf):
    text = reading.text(pdf, page=1)
    assert "Declared, not checked" in text
    assert "Measured by the refinery" in text


def test_nothing_declared_reads_as_not_declared():
    bare = samples.parcel(category="", country="", declared_fineness=(), declared_mg=None, pieces=None)
    text = reading.text(made(bare), page=1)
    assert "not declared —" in text
    assert "0.000" not in text


def test_the_code_leads_to_the_receipt(pdf):
    assert reading.codes(pdf) == ["https://book.example/r/R-000123"]
    assert reading.codes(pdf, page=2) == ["https://book.example/r/R-000123"]


def test_a_reprint_says_which_copy_it_is(pdf):
    assert "reprint" not in reading.text(pdf)
    again = made(copy_no=3)
    assert "reprint, copy 3" in reading.text(again, page=1)
    assert "reprint, copy 3" in reading.text(again, page=2)


def test_sixty_parcels_run_over_pages_with_heads_and_one_total():
    pdf = made(*map(samples.parcel, range(60)))
    pages = reading.page_count(pdf) // 2
    assert pages >= 3
    for number in range(1, pages + 1):
        text = reading.text(pdf, page=number)
        assert f"page {number} of {pages}" in text
        assert number == 1 or "Delivery receipt R-000123 · customer's copy" in text
    customer = " ".join(reading.text(pdf, page=number) for number in range(1, pages + 1))
    assert re.findall(r"L-\d{6}", customer) == [f"L-{2400 + index:06d}" for index in range(60)]
    assert customer.count("Gross g") >= 2
    # 60 times 1249.343 + (0 + … + 59) mg
    assert customer.count("74 962.350") == 2
    assert "page 1 of" in reading.text(pdf, page=pages + 1)


def test_a_long_name_wraps_and_pushes_nothing_off_the_page():
    pdf = made(party=samples.LONG_NAME)
    text = reading.text(pdf, page=1)
    assert samples.LONG_NAME.replace(" ", "") in text.replace(" ", "")
    assert all(left > 17 and right < 195 for _, left, _, right, _ in reading.words(pdf))


def test_a_table_a_reader_can_follow(pdf):
    tags = reading.tags(pdf)
    assert {"H1", "H2", "Table", "TH", "TD", "Figure"} <= set(tags)
    assert tags.count("H1") == 2


def test_what_is_declared_of_a_parcel_stands_on_both_copies():
    told = samples.parcel(
        seal="S-7", declared_words="18 karat", source="collector Odd Shed", export_paper="EX-2024/7",
        transport_paper="WB-8", keyed=True,
    )  # fmt: skip
    pdf = made(told, samples.parcel(1), on_behalf_of="Upper Claim Partners", identity="passport", slip="SL-000003")
    for page in (1, 2):
        text = reading.text(pdf, page=page)
        for words in (
            "seal S-7", "18 karat", "collector Odd Shed", "EX-2024/7", "WB-8", "Upper Claim Partners",
            "identity seen: passport", "paper slip SL-000003", "Bench 2 keyed",
        ):  # fmt: skip
            assert words in text, words
        assert text.count(" keyed ") == 1  # the other parcel's weight was sent by the scale


def test_what_was_refused_and_what_was_amended_stands_on_it():
    refused = RefusedLine("sweeps", "wet, smells of mercury", 412_500, "Mercury: brought back dry")
    amended = AmendedLine("L-002400", "seal", "S-7", "S-8", "Misread", "Ona Birk", samples.NOON, "Tom Alder")
    text = reading.text(made(refused=(refused,), amendments=(amended,)), page=2)
    for words in (
        "wet, smells of mercury", "412.500", "Mercury: brought back dry", "S-7 S-8 Misread", "2024-05-03 12:00",
        "countersigned by Tom Alder",
    ):  # fmt: skip
        assert words in text, words
    assert "refused" not in reading.text(made(), page=1)
    assert "Amended" not in reading.text(made(), page=1)


def test_a_receipt_of_everything_at_its_longest_stays_on_the_page():
    long = "x" * 60
    told = samples.parcel(
        seal=long, declared_words="17.5 karat", source=f"mine {long}", export_paper=long, transport_paper=long,
        keyed=True, description=long,
    )  # fmt: skip
    pdf = made(told, on_behalf_of=samples.LONG_NAME, identity="residence permit",
               amendments=(AmendedLine("L-002400", "export paper", long, long, long, long, samples.NOON),),
               refused=(RefusedLine("industrial", long, None, long),))  # fmt: skip
    assert all(left > 17 and right < 195 for _, left, _, right, _ in reading.words(pdf))


def test_a_net_that_is_no_difference_is_refused():
    with pytest.raises(ValueError, match="Net of L-002400"):
        samples.parcel(net_mg=1)
