"""Lot labels, read back from the PDF."""

import pytest

from custody.documents.labels import LabelSheet, render_labels
from tests.documents import reading, samples


def made(*lots):
    return render_labels(samples.labels(*lots), identifier=samples.IDENTIFIER, created=samples.NOON)


@pytest.fixture(scope="module")
def pdf():
    return made()


def test_one_label_a_page_of_its_size(pdf):
    with reading.opened(pdf) as document:
        sizes = [[round(float(edge) * 25.4 / 72, 1) for edge in page.mediabox[2:]] for page in document.pages]
    assert sizes == [[62.0, 40.0], [62.0, 40.0]]


def test_what_the_label_says(pdf):
    first, second = reading.text(pdf, page=1), reading.text(pdf, page=2)
    for wanted in ("L-002400", "doré", "1 249.343 g", "awaiting release", "R-000123", "owner P-01"):
        assert wanted in first
    assert "L-002401" in second
    assert "held" in second
    assert "L-002400" not in second


def test_the_code_is_the_lot(pdf):
    assert [reading.codes(pdf, page=page) for page in (1, 2)] == [["L-002400"], ["L-002401"]]


def test_a_lot_without_owner_code_says_nothing_of_one():
    assert "owner" not in reading.text(made(samples.label(owner_code="")))


@pytest.mark.parametrize("lot", ["L-1", "L-2024-000123", "HFR-2024-MELT-0012345-A", "L" * 40])
@pytest.mark.parametrize("net_mg", [1, 123_456_789, 99_999_999_999])
def test_no_digit_is_cut_off(lot, net_mg):
    label = samples.label(lot, form="mined artisanal doré in process", net_mg=net_mg, receipt="R-2024-00000123")
    pdf = made(label, label)
    assert reading.page_count(pdf) == 2
    words = reading.words(pdf)
    assert len(words) > 10
    assert [word for word, left, top, right, low in words if left < 1 or top < 1 or right > 61 or low > 39.5] == []
    assert reading.codes(pdf) == [lot]


def test_fifty_labels_in_the_order_given():
    pdf = made(*(samples.label(f"L-{number:06d}") for number in range(50)))
    assert reading.page_count(pdf) == 50
    assert "L-000037" in reading.text(pdf, page=38)


def test_no_party_fits_on_a_label(pdf):
    assert {"party", "owner", "name"}.isdisjoint(samples.label().__slots__)
    assert "Tern Valley" not in reading.text(pdf)


def test_a_reprint_says_which_copy_it_is(pdf):
    assert "copy" not in reading.text(pdf)
    sheet = LabelSheet(samples.HOUSE, (samples.label(), samples.label("L-002401")), copy_no=3)
    again = render_labels(sheet, identifier=samples.IDENTIFIER, created=samples.NOON)
    assert all("copy 3" in reading.text(again, page=page) for page in (1, 2))


def test_an_empty_sheet_is_refused():
    with pytest.raises(ValueError, match="at least one lot"):
        LabelSheet(samples.HOUSE, ())
