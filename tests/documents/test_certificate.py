"""The bar certificate, read back from the PDF."""

import pytest

from custody.documents.certificate import CertificatePaper, render_certificate
from tests.documents import reading, samples


def made(**changes):
    return render_certificate(samples.certificate(**changes), identifier=samples.IDENTIFIER, created=samples.NOON)


@pytest.fixture(scope="module")
def pdf():
    return made()


@pytest.mark.parametrize(
    "wanted",
    [
        "Bar certificate C-000311",
        "Mark Serial Year HFR A000001 2024",
        "Gross 1 000.012 g",
        "Fineness 999.9 ‰ Au",
        "Fine Au 999.912 g",
        "Gross 32.151 ozt (1 ozt = 31.1034768 g)",
        "Fine ounces: agreed fine content of a bar of 1 kg.",
        "Bar 1 kg gold, marked FINE GOLD",
        "Fine Au 32.148 ozt",  # a 1 kg bar of 999.9: LBMA, agreed fine content, 32.148
        "Date cast 2024-05-20",
        "Assay A-00102",
        "mass balance (ISO 22095)",
        "Assayed by Issued by Lena Moss Tom Alder",
    ],
)
def test_what_the_certificate_says(pdf, wanted):
    assert wanted in reading.rows(pdf)


def test_one_page_and_a_code(pdf):
    assert reading.page_count(pdf) == 1
    assert reading.codes(pdf) == ["https://book.example/b/HFR-A000001-2024"]


def test_it_can_name_no_supplier():
    fields = CertificatePaper.__slots__
    assert not [field for field in fields if "party" in field or "supplier" in field or "receipt" in field]


@pytest.mark.parametrize("serial", ["1", "A" * 40])
def test_any_serial_stays_whole_on_one_page(serial):
    pdf = made(serial=serial)
    assert reading.page_count(pdf) == 1
    assert serial in reading.text(pdf).replace(" ", "")
