"""The assay certificate, read back from the PDF."""

import pytest

from custody.documents.assay import AssayResult, render_assay
from tests.documents import reading, samples


def made(**changes):
    return render_assay(samples.assay(**changes), identifier=samples.IDENTIFIER, created=samples.NOON)


@pytest.fixture(scope="module")
def pdf():
    return made()


@pytest.mark.parametrize(
    "wanted",
    [
        "Assay certificate A24-00102",
        "L-002400, melt Gross 1 249.343 g",
        "W24-00007 2 portion 250.013 200.007 799.990",
        "Au 800.002 ± 0.163",  # 0.1624, never made smaller by rounding
        "Ag 149.500 not stated",
        "W24-00007 1 portion 250.013 200.011 800.002",
        "W24-00007 3 proof PG-1 200.000 200.012 —",
        "discarded: spurted",
        "within the 0.5 that they may",
        "Determined Accepted Anna Bead Mona Ravn",
        "L-002409, seal S 4471",
    ],
)
def test_what_the_certificate_says(pdf, wanted):
    assert wanted in reading.rows(pdf)


def test_one_page_and_a_code(pdf):
    assert reading.page_count(pdf) == 1
    assert reading.codes(pdf) == ["A24-00102"]


def test_a_typed_determination_has_no_pieces():
    pdf = made(pieces=(), sentences=(), sample="", results=(AssayResult("Ag", 999_100),))
    assert "What was weighed" not in reading.text(pdf)
    assert "not drawn as a lot of its own" in reading.rows(pdf)


def test_many_pieces_go_on_over_the_page_with_their_heads():
    pdf = made(pieces=tuple(samples.piece(number) for number in range(1, 41)))
    assert reading.page_count(pdf) == 2
    assert reading.rows(pdf).count("Worksheet Position Piece") == 2
