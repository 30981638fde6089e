"""What holds for every paper: the same bytes on every run, PDF/A-3a, figures attached, nothing fetched, nothing run."""

import hashlib
import logging
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pikepdf
import pytest
from django.template import engines
from django.utils import timezone, translation

from custody.documents import render
from custody.documents.certificate import render_certificate
from custody.documents.labels import render_labels
from custody.documents.receipt import render_receipt
from custody.documents.settlement import render_settlement
from custody.documents.trace import render_trace
from tests.documents import reading, samples

PAPERS = {
    "receipt": (render_receipt, samples.receipt),
    "labels": (render_labels, samples.labels),
    "settlement": (render_settlement, samples.settlement),
    "certificate": (render_certificate, samples.certificate),
    "trace": (render_trace, samples.trace),
}


def made(name, **changes):
    draw, sample = PAPERS[name]
    return draw(sample(**changes), identifier=samples.IDENTIFIER, created=samples.NOON)


@pytest.fixture(scope="module")
def pdfs():
    return {name: made(name) for name in PAPERS}


each_paper = pytest.mark.parametrize("name", PAPERS)

FRESH_RUN = """
import hashlib, django
django.setup()
from tests.documents.test_render import PAPERS, made
for name in PAPERS:
    print(name, hashlib.sha256(made(name)).hexdigest())
"""


def test_the_same_figures_give_the_same_bytes_in_another_run(pdfs):
    environment = {**os.environ, "PYTHONHASHSEED": "4711", "TZ": "Asia/Tokyo"}
    said = subprocess.run(
        [sys.executable, "-c", FRESH_RUN], env=environment, capture_output=True, text=True, check=True
    )
    there = dict(line.split() for line in said.stdout.splitlines())
    assert there == {name: hashlib.sha256(pdf).hexdigest() for name, pdf in pdfs.items()}


@each_paper
def test_language_and_zone_of_the_viewer_change_nothing(pdfs, name):
    with translation.override("de"), timezone.override("America/Lima"):
        assert made(name) == pdfs[name]


def test_another_figure_gives_other_bytes(pdfs):
    assert made("certificate", gross_mg=1_000_013) != pdfs["certificate"]


@each_paper
def test_pdf_a_3a(pdfs, name):
    with reading.opened(pdfs[name]) as document:
        root = document.Root
        assert document.docinfo.CreationDate == document.docinfo.ModDate == "D:20240503110000Z"
        assert [intent.S for intent in root.OutputIntents] == ["/GTS_PDFA1"]
        assert root.MarkInfo.Marked
        assert str(root.Lang) == "en"
        assert root.ViewerPreferences.DisplayDocTitle
        with document.open_metadata() as metadata:
            assert metadata["pdfaid:part"] == "3"
            assert metadata["pdfaid:conformance"] == "A"
            assert metadata["xmp:CreateDate"] == "2024-05-03T11:00:00Z"
        assert bytes.fromhex(str(document.trailer.ID[0])) == samples.IDENTIFIER
        descriptors = [
            thing
            for thing in document.objects
            if isinstance(thing, pikepdf.Dictionary) and thing.get("/Type") == "/FontDescriptor"
        ]
        assert descriptors
        assert all("/FontFile2" in font or "/FontFile3" in font for font in descriptors)


@each_paper
def test_the_figures_are_attached_as_the_source(pdfs, name):
    with reading.opened(pdfs[name]) as document:
        (attached,) = document.Root.AF
        assert attached.AFRelationship == "/Source"
        assert attached.EF.F.Subtype == "/application/json"
        assert str(attached.EF.F.Params.ModDate).startswith("D:20240503110000")
    assert reading.figures(pdfs[name])["house"]["name"] == "Harrow Fell Refinery"


def test_attached_figures_are_whole_milligrams_exact_money_and_utc(pdfs):
    attached = reading.figures(pdfs["settlement"])
    assert attached["metals"][0]["payable_mg"] == 5_763_131
    assert attached["metals"][0]["price"] == "70.1234"
    assert attached["issued_at"] == "2024-05-03T11:00:00+00:00"
    assert reading.figures(pdfs["certificate"])["cast_on"] == "2024-05-20"


@each_paper
def test_every_picture_has_words_for_it(pdfs, name):
    words = reading.picture_texts(pdfs[name])
    assert words
    assert all(words)


@each_paper
def test_the_renderer_has_nothing_to_complain_of(name, caplog):
    with caplog.at_level(logging.WARNING, logger="weasyprint"):
        made(name)
    assert caplog.messages == []


@pytest.mark.parametrize("identifier", [b"", b"short", bytes(17)])
def test_an_identifier_has_sixteen_bytes(identifier):
    with pytest.raises(ValueError, match="16 bytes"):
        render_certificate(samples.certificate(), identifier=identifier, created=samples.NOON)


def test_a_time_without_zone_is_refused():
    naive = samples.NOON.replace(tzinfo=None)
    with pytest.raises(ValueError, match="time zone"):
        render_certificate(samples.certificate(), identifier=samples.IDENTIFIER, created=naive)
    with pytest.raises(ValueError, match="time zone"):
        made("certificate", issued_at=naive)


@pytest.mark.parametrize("name", ["receipt", "settlement"])
def test_a_name_is_text_whatever_it_holds(name):
    pdf = made(name, party=samples.SCRIPT)
    assert samples.SCRIPT in reading.text(pdf)
    assert reading.figures(pdf)["party"] == samples.SCRIPT


def test_no_address_is_fetched(caplog, tmp_path, monkeypatch):
    secret = tmp_path / "secret.svg"
    secret.write_text('<svg xmlns="http://www.w3.org/2000/svg"><text>secret</text></svg>')
    page = f'<html lang="en"><img alt="x" src="{secret.as_uri()}"><img alt="y" src="http://book.example/x.png"></html>'
    monkeypatch.setattr(render, "render_to_string", lambda *_: page)
    with caplog.at_level(logging.ERROR, logger="weasyprint"):
        render.render("certificate.html", {}, identifier=samples.IDENTIFIER, created=samples.NOON, title="x")
    assert len([said for said in caplog.messages if "disallowed protocol" in said]) == 2


def test_only_plain_values_are_attached():
    assert render.figures_json(samples.certificate())
    with pytest.raises(TypeError, match="no plain value"):
        render.figures_json(samples.certificate(gross_mg=object()))


def shown(expression, **context):
    source = "{% load metal papers %}{{ " + expression + " }}"
    return engines["django"].from_string(source).render(context)


@pytest.mark.parametrize(
    ("mg", "total", "expected"),
    [
        (640_123, 1_000_000, "64.0123"),
        (1, 3, "33.3333"),
        (1, 2_000_000, "&lt; 0.0001"),
        (3, 2_000_000, "0.0002"),  # 1.5 ppm, half to even
        (5, 2_000_000, "0.0002"),  # 2.5 ppm, half to even
        (0, 5, "0.0000"),
        (0, 0, "—"),
        (7, 7, "100.0000"),
    ],
)
def test_share(mg, total, expected):
    assert shown("mg|share:total", mg=mg, total=total) == expected


@pytest.mark.parametrize(
    ("month", "expected"),
    [(1, "2024-01-03 11:00 GMT (UTC+00:00)"), (7, "2024-07-03 12:00 BST (UTC+01:00)")],
)
def test_local_time_names_its_zone(month, expected):
    moment = datetime(2024, month, 3, 11, 0, tzinfo=UTC)
    assert shown("moment|local:'Europe/London'", moment=moment).replace("&#x27;", "'") == expected
    assert shown("moment|clock:'Asia/Kathmandu'", moment=moment) == f"2024-{month:02d}-03 16:45"


def test_money_and_prices():
    assert shown("x|amount", x=Decimal("-1234.5")) == "\u22121\u202f234.50"
    assert shown("x|price", x=Decimal("2301.5000")) == "2\u202f301.5000"
    assert shown("x|percent", x=990_000) == "99.00"


def test_a_day_later_is_another_file(pdfs):
    later = samples.NOON + timedelta(days=1)
    pdf = render_certificate(samples.certificate(), identifier=samples.IDENTIFIER, created=later)
    assert pdf != pdfs["certificate"]
