"""The settlement statement, read back from the PDF."""

from dataclasses import replace
from decimal import Decimal

import pytest

from custody.documents.settlement import Charge, render_settlement
from tests.documents import reading, samples


def made(**changes):
    return render_settlement(samples.settlement(**changes), identifier=samples.IDENTIFIER, created=samples.NOON)


@pytest.fixture(scope="module")
def text():
    return reading.text(made())


@pytest.mark.parametrize(
    "wanted",
    [
        "Settlement statement S-000045",
        "Tern Valley Placer Cooperative (P-01)",
        "Receipt R-000123",
        "Metal Content g Accountability % Payable g Returned g Retained g",
        "Au 5 821.345 99.00 5 763.131 0.000 58.214",
        "Ag 900.000 95.00 0.000 855.000 45.000",
        "5821.345 g at 99.00 % 5763.131 g at 70.0000 USD/g",
        "70.1234 USD/g",
        "agreed on 2024-05-02",
        "lump sum",
        "−150.00",
        "Prepared by",
        "Ines Farrow",
        "Approved by",
        "Tom Alder",
        "2024-05-03 12:00 BST (UTC+01:00)",
    ],
)
def test_what_the_statement_says(text, wanted):
    assert wanted in text


@pytest.mark.parametrize(
    "wanted",
    [
        "L-002400 doré A-00077 7 000.000 Au 831.621 5 821.345",
        "Value of payable metal 404 130.34",
        "Treatment lump sum charge −150.00",
        "Payable to the customer 403 980.34",
        "no price —",
    ],
)
def test_what_stands_beside_what(wanted):
    assert wanted in reading.rows(made())


def test_the_code_leads_to_the_statement():
    assert reading.codes(made()) == ["https://book.example/s/S-000045"]


def test_a_correction_names_the_statement_it_replaces(text):
    assert "corrects" not in text
    corrected = reading.text(made(number="S-000046", corrects="S-000045", reason="silver at the wrong fineness"))
    assert "This statement takes the place of S-000045, which stays on record." in corrected
    assert "Reason: silver at the wrong fineness" in corrected


def test_several_receipts_are_all_named():
    assert "Receipts R-000123, R-000124" in reading.text(made(receipts=("R-000123", "R-000124")))


def test_charges_above_the_value_are_owed_by_the_customer():
    owed = made(
        metals=(samples.SILVER,), charges=(Charge("Treatment", "lump sum", Decimal("-150.00")),), total=Decimal(-150)
    )
    assert "Payable by the customer 150.00" in reading.rows(owed)


def test_figures_that_contradict_each_other_are_refused():
    with pytest.raises(ValueError, match="Settled Au, mg"):
        replace(samples.GOLD, payable_mg=samples.GOLD.payable_mg + 1)
    with pytest.raises(ValueError, match="Total of the statement"):
        samples.settlement(total=Decimal("403980.35"))


def test_many_lots_run_over_pages():
    lots = samples.settlement().lots * 80
    pdf = made(lots=lots)
    pages = reading.page_count(pdf)
    assert pages > 1
    assert f"page {pages} of {pages}" in reading.text(pdf, page=pages)
    assert "Settlement statement S-000045" in reading.text(pdf, page=2)
    assert "Tom Alder" in reading.text(pdf, page=pages)
