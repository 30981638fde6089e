"""The trace report, read back from the PDF."""

import re

import pytest

from custody.documents.flow import Link, Node
from custody.documents.trace import TraceLoss, TraceMetal, TraceMore, render_trace
from tests.documents import reading, samples


def made(*args, **changes):
    return render_trace(samples.trace(*args, **changes), identifier=samples.IDENTIFIER, created=samples.NOON)


@pytest.fixture(scope="module")
def pdf():
    return made()


@pytest.mark.parametrize(
    "wanted",
    [
        "Trace report T-000009",
        "L-003100, bar",
        "HFR A000001 2024",
        "mass balance (ISO 22095)",
        "Bo Lind, vault 1",
        "by Ruth Senn",
        "Origin lot Party Receipt Country, category Au g Share %",
        "Times are those of Europe/London.",
        "Ancestors: 3 lots",
        "L-002400, L-002401, L-002500",
    ],
)
def test_what_the_report_says(pdf, wanted):
    assert wanted in reading.text(pdf)


@pytest.mark.parametrize(
    "wanted",
    [
        "L-002400 Tern Valley Placer R-000123 CA, mined 640.123 64.0179",  # 640123 of 999912 mg
        "Cooperative (P-01) 2024-05-03",
        "Difference: measured gain that no delivery explains 0.120 0.0120",
        "Total, as booked 999.912 100.0000",
        "Operation Kind At Cause Au g Ag g",
        "OP-000031 melt 2024-05-03 12:00 slag 2.124 0.880",
        "L-002500 Pim Oster Bo Lind 1 000.012 1 000.010",
        "L-002400 Ona Birk Pim Oster 1 249.343 not weighed",
    ],
)
def test_what_stands_beside_what(pdf, wanted):
    assert wanted in reading.rows(pdf)


def test_the_flow_picture_is_drawn_and_told(pdf):
    assert "L-002400 Tern Valley Placer Cooperative to L-002500 melt: 640.123 g Au" in reading.picture_texts(pdf)[1]
    assert "361.793 g Au" in reading.text(pdf)  # drawn in a box, said nowhere else


def test_without_nodes_there_is_no_picture():
    pdf = made(nodes=(), links=())
    assert len(reading.picture_texts(pdf)) == 1
    assert "Bands are as wide" not in reading.text(pdf)


def test_the_code_leads_to_the_trace(pdf):
    assert reading.codes(pdf) == ["https://book.example/t/T-000009"]


def test_a_long_report_numbers_and_heads_every_page():
    origins = tuple(samples.origin(index, mg=1_000 + index, party=samples.LONG_NAME) for index in range(60))
    pdf = made(origins, ancestors=tuple(f"L-{index:06d}" for index in range(3_000)))
    pages = reading.page_count(pdf)
    assert pages > 4
    for page in range(1, pages + 1):
        text = reading.text(pdf, page=page)
        assert f"page {page} of {pages}" in text
        assert page == 1 or "Trace report T-000009 · L-003100 · HFR A000001 2024" in text
    whole = reading.text(pdf)
    assert whole.count(samples.LONG_NAME.split()[-1]) == 60
    assert "L-002999" in whole
    assert len(set(re.findall(r"R-\d{6}", whole))) == 60


def test_a_report_of_nothing_says_so():
    text = reading.text(made(losses=(), handovers=(), ancestors=(), serial="", custodian="", place=""))
    assert "None declared." in text
    assert "No handover" in text
    assert "it is an origin itself" in text
    assert "nobody in the house" in text


def test_a_returned_bar_is_named():
    assert "came back over the counter as the bar HFR A000007 2023" in reading.text(
        made(returned_from="HFR A000007 2023")
    )


def test_losses_have_a_column_for_each_metal_lost():
    losses = (
        TraceLoss("OP-1", "melt", samples.NOON, "slag", (("Cu", 5), ("Au", 1))),
        TraceLoss("OP-2", "cast", samples.NOON, "fume", (("Ag", 7),)),
    )
    paper = samples.trace(losses=losses)
    assert paper.loss_metals == ("Au", "Cu", "Ag")
    assert [masses for _, masses in paper.loss_rows] == [[1, 5, None], [None, None, 7]]


def test_origins_that_do_not_sum_to_the_book_are_refused():
    with pytest.raises(ValueError, match="Origins of Au, mg"):
        TraceMetal("Au", 1_000_000, (samples.origin(mg=999_999),))
    assert TraceMetal("Au", 1_000_000, (samples.origin(mg=999_999),), difference_mg=1)


def test_a_flow_that_leads_nowhere_is_refused():
    with pytest.raises(ValueError, match="leads to no node"):
        made(nodes=(Node("a", ("a",), "parcel", 0),), links=(Link("a", "b", 1),))


def test_many_origins_print_the_largest_and_the_sum_of_the_rest():
    origins = tuple(samples.origin(index, mg=1_000 + index) for index in range(250))
    paper = samples.trace(origins, ancestors=tuple(f"L-{index:06d}" for index in range(1_300)))
    (metal,) = paper.metals
    assert [origin.mg for origin in metal.printed] == list(range(1_249, 1_049, -1))
    assert (metal.smaller_count, metal.smaller_mg) == (50, sum(range(1_000, 1_050)))
    pdf = made(origins, ancestors=paper.ancestors)
    assert "50 smaller origins, each in the attached figures 51.225" in reading.rows(pdf)
    text = reading.text(pdf)
    assert len(set(re.findall(r"R-\d{6}", text))) == 200
    assert "Ancestors: 1300 lots" in text
    assert "The 1000 made last; the attached figures have all." in text
    assert "L-000299" not in text
    assert "L-001299" in text
    figures = reading.figures(pdf)
    assert len(figures["metals"][0]["origins"]) == 250
    assert len(figures["ancestors"]) == 1_300


def test_earlier_losses_and_handovers_are_counted_and_summed():
    pdf = made(more_losses=TraceMore(7, (("Au", 1_234), ("Cu", 5))), more_handovers=3)
    assert "7 earlier ones, together 1.234 — 0.005" in reading.rows(pdf)
    assert "3 earlier handovers of its ancestors stand in the book." in reading.text(pdf)


def test_a_picture_that_is_cut_says_so():
    assert "The way is longer than the picture" in reading.text(made(picture_whole=False))
    assert "The way is longer" not in reading.text(made())


def test_an_unvalued_lot_is_traced_by_gross():
    metal = TraceMetal("gross", 5, (samples.origin(mg=5),))
    assert "Origins by gross: not valued yet" in reading.text(made(metals=(metal,)))
