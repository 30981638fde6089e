"""Which assays stand behind a bar: those since the metal was refined last, and no others."""

import pytest
from django.utils import timezone

from custody.actions.work import Make, Take, record_step
from custody.documents.certificate import render_certificate
from custody.documents.fill_certificate import certificate_paper
from custody.models import Lot
from custody.queries.assayed import assays_behind
from custody.terms import Form, Kind
from tests import builders, people
from tests.documents import reading

pytestmark = pytest.mark.django_db


def step(kind: Kind, lot: Lot, form: Form, **more) -> Lot:
    """The whole lot in, one lot of another form out, nothing lost."""
    metals = dict(zip(("Au", "Ag"), lot.metals_mg, strict=False))
    posted = record_step(
        kind=kind,
        inputs=[Take(lot.number)],
        outputs=[Make(form, lot.gross_mg, metals, **more)],
        at=timezone.now(),
        by=people.otto_operator(),
    )
    return builders.fresh(posted.lots[0])


def certificate(bar: Lot) -> str:
    now = timezone.now()
    paper = certificate_paper(bar.bar, copy_no=1, at=now, by=people.vera_vault())
    return reading.text(render_certificate(paper, identifier=bytes(16), created=now))


def test_a_bar_rests_on_the_assay_of_what_it_was_melted_and_cast_from():
    (metal,) = builders.ready(Au=999_900)
    melt = step(Kind.MELT, metal, Form.MELT)
    bar = step(Kind.CAST, melt, Form.BAR, serial="A000001")
    (assay,) = assays_behind(bar)
    assert assay.lot == metal
    assert f"Assay {assay.number}" in certificate(bar)
    assert "was weighed and assayed as above" in certificate(bar)


def test_an_assay_from_before_the_refining_is_not_the_bar_s():
    (metal,) = builders.ready(Au=999_900)
    sand = step(Kind.DISSOLVE, metal, Form.GOLD_SAND)
    bar = step(Kind.CAST, sand, Form.BAR, serial="A000001")
    assert assays_behind(bar) == []
    assert "none since the last refining: fineness by the book" in certificate(bar)
    assert "assayed" not in certificate(bar).lower()


def test_the_sand_s_own_assay_counts():
    (metal,) = builders.ready(Au=999_900)
    sand = builders.valued(step(Kind.DISSOLVE, metal, Form.GOLD_SAND), Au=999_900)
    bar = step(Kind.CAST, sand, Form.BAR, serial="A000001")
    assert [assay.lot for assay in assays_behind(bar)] == [sand]
