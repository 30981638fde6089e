"""The trace desk: who may trace, where a code leads, what a page says, and the report that stays."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.issue_trace import issue_trace
from custody.actions.work import Lose, Make, Take, record_step, reverse
from custody.documents import fill_trace
from custody.errors import NotAllowed
from custody.models import Document, Lot
from custody.staff import trace_views
from custody.terms import Cause, DocumentKind, Form, Kind
from tests import builders, people
from tests.documents import reading
from tests.queries.past import history, lot, operation, receive

pytestmark = pytest.mark.django_db

TRACERS = {people.clara_compliance, people.matt_accountant, people.mona_manager, people.adam_auditor}


@pytest.fixture
def auditor():
    return people.signed_in(people.adam_auditor())


def said(client: Client, url: str, status: int = 200) -> str:
    answer = client.get(url)
    assert answer.status_code == status
    return answer.content.decode()


def melted(*lots: Lot, fume: int = 100) -> Lot:
    """One lot of several, less so many milligrams of gold in the fume."""
    gross, gold, silver = (sum(getattr(one, name) for one in lots) for name in ("gross_mg", "au_mg", "ag_mg"))
    posted = record_step(
        kind=Kind.MELT,
        inputs=[Take(one.number) for one in lots],
        outputs=[Make(Form.MELT, gross - fume, {"Au": gold - fume, "Ag": silver})],
        losses=(Lose(Cause.FUME, fume, {"Au": fume}),),
        at=timezone.now(),
        by=people.otto_operator(),
    )
    return builders.fresh(posted.lots[0])


def test_who_may_trace():
    parcel = builders.received()[0].number
    for who in people.EVERYBODY:
        client = people.signed_in(who())
        for page in ("/trace/", f"/trace/{parcel}/back/", f"/trace/{parcel}/forward/"):
            assert client.get(page).status_code == (200 if who in TRACERS else 403), (who.__name__, page)
        assert client.get(f"/trace/{parcel}/report/").status_code == 405 if who in TRACERS else 403
        if who not in TRACERS:
            assert client.post(f"/trace/{parcel}/report/").status_code == 403
            with pytest.raises(NotAllowed):
                issue_trace(lot=builders.fresh(parcel), at=timezone.now(), by=who())
    assert Client().get("/trace/").url.startswith("/sign-in/?next=/trace/")
    assert not Document.objects.exists()


def test_a_code_leads_to_its_trace(auditor):
    bar = builders.bar("A000001")
    parcel = Lot.objects.get(created_by__kind=Kind.RECEIVE)
    for code, page in (
        ("A000001", f"/trace/{bar.number}/back/"),
        (str(bar.bar), f"/trace/{bar.number}/back/"),
        (f" {bar.number.lower()} ", f"/trace/{bar.number}/back/"),
        (parcel.number, f"/trace/{parcel.number}/forward/"),
    ):
        assert auditor.get("/trace/", {"code": code}).url == page, code


@pytest.mark.parametrize("code", ["X-9", "P-01", "'; --", "9" * 300])
def test_a_code_that_leads_nowhere_says_so_and_stays(auditor, code):
    builders.received()
    page = auditor.get("/trace/", {"code": code})
    assert page.status_code == 200
    assert "There is no lot and no bar" in page.content.decode()
    assert page.context["code"] == code


def test_a_serial_on_two_bars_offers_both(auditor):
    builders.refinery()
    for year in (2023, 2024):
        history(
            receive(f"L-{year}", day=f"{year}-01-01"),
            operation(
                f"OP-{year}", "cast", day=f"{year}-01-02", inputs=[{"lot": f"L-{year}"}],
                outputs=[lot(f"B-{year}", "1000", {"Au": "900"}, "bar", serial="A1")],
            ),
        )  # fmt: skip
    page = said(auditor, "/trace/?code=A1")
    assert 'href="/trace/B-2023/back/"' in page
    assert 'href="/trace/B-2024/back/"' in page
    assert "HFR A1 2024" in page


@pytest.mark.parametrize("page", ["/trace/L-0/back/", "/trace/{}/sideways/", "/trace/L-0/forward/"])
def test_what_is_not_there_is_not_there(auditor, page):
    said(auditor, page.format(builders.received()[0].number), 404)


def test_back_shows_origins_to_the_milligram_with_share_loss_and_picture(auditor):
    heavy, light = builders.ready(900, 100)
    page = said(auditor, f"/trace/{melted(heavy, light).number}/back/")
    for words in (
        "Origins of Au", "719.910", "79.990", "799.900", "90.0000", "10.0000",  # 9 : 1 of 799.900 g
        "Origins of Ag", "P-01 Tern Valley Placer Cooperative", "Losses on the way", "fume", "0.100",
        f"{heavy.number} P-01 doré to", "2 lots that went into it",
    ):  # fmt: skip
        assert words in page, words
    assert page.count("<svg") == 1
    assert "?metal=Ag" in page
    other = melted(*builders.ready(5), fume=1)
    assert "The way of Ag into" in said(auditor, f"/trace/{other.number}/back/?metal=Ag")
    assert "The way of Au into" in said(auditor, f"/trace/{other.number}/back/?metal=Xx")


def test_forward_shows_every_fate(auditor):
    (parcel,) = builders.ready()
    melt = melted(parcel)
    page = said(auditor, f"/trace/{parcel.number}/forward/")
    for words in (
        "Fates of Au",
        "stock",
        melt.number,
        "799.900",
        "loss",
        "fume",
        "0.100",
        "800.000",
        "1 lot were made",
    ):
        assert words in page or words == "1 lot were made", words
    assert f'href="/lot/{melt.number}/"' in page


def test_what_is_no_parcel_is_not_traced_forward(auditor):
    melt = melted(*builders.ready())
    page = said(auditor, f"/trace/{melt.number}/forward/", 404)
    assert f"Lot {melt.number} is not a parcel" in page
    assert f'value="{melt.number}"' in page


def test_a_cancelled_lot_says_by_what(auditor):
    melt = melted(*builders.ready())
    undone = reverse(operation=melt.created_by, reason="wrong lot", at=timezone.now(), by=people.otto_operator())
    page = said(auditor, f"/trace/{melt.number}/back/")
    assert "This lot was cancelled" in page
    assert f'href="/operation/{undone.number}/"' in page
    answer = auditor.post(f"/trace/{melt.number}/report/", follow=True).content.decode()
    assert f"Lot {melt.number} was cancelled by {undone.number}: no report is issued for it." in answer
    assert not Document.objects.exists()


def test_an_unvalued_lot_shows_its_gross(auditor):
    parcel = builders.received(500_000)[0]
    for way, words in (("back", "Origins by gross, not valued"), ("forward", "Fates by gross, not valued")):
        page = said(auditor, f"/trace/{parcel.number}/{way}/")
        assert words in page
        assert "500.000" in page
        assert "<svg" not in page


def test_many_origins_come_a_page_at_a_time_and_the_foot_sums_all(auditor, monkeypatch):
    monkeypatch.setattr(trace_views, "ROWS", 3)
    parcels = builders.ready(*range(1, 9))
    melt = melted(*parcels, fume=1)
    first, last = (said(auditor, f"/trace/{melt.number}/back/?Au-page={page}") for page in (1, 3))
    rows = re.compile(r'<th scope="row"[^>]*data-label="Parcel"')
    assert len(rows.findall(first)) == 3 + 3  # of gold and of silver
    assert len(rows.findall(last)) == 2 + 3
    assert "28.799" in first  # 36 g at 800, less a milligram
    assert "28.799" in last


def test_a_page_costs_the_same_for_many_origins(auditor):
    def cost(*grams):
        melt = melted(*builders.ready(*grams), fume=1)
        auditor.get(f"/trace/{melt.number}/back/")
        with CaptureQueriesContext(connection) as queries:
            auditor.get(f"/trace/{melt.number}/back/")
        return len(queries)

    assert cost(1, 2) == cost(1, 2, 3, 4, 5, 6)


def report(client, number: str) -> bytes:
    """Issues the report of a lot and downloads it from the page that comes back."""
    page = client.post(f"/trace/{number}/report/", follow=True).content.decode()
    paper = Document.objects.filter(kind=DocumentKind.TRACE).first()
    assert f"{paper.title} is issued" in page
    assert f'href="/papers/{paper.pk}/"' in page
    return client.get(f"/papers/{paper.pk}/").content


def test_the_report_is_kept_and_each_has_its_number(auditor):
    melt = melted(*builders.ready(900, 100))
    papers = [report(auditor, melt.number) for _ in range(2)]
    first, second = Document.objects.filter(kind=DocumentKind.TRACE).order_by("id")
    assert (first.title, second.title) == (f"Trace report T-{melt.number}-1", f"Trace report T-{melt.number}-2")
    assert (first.lot, first.party, first.issued_by.username) == (melt, None, "adam")
    text = reading.text(papers[1])
    for words in (f"T-{melt.number}-2", "719.910", "79.990", "Harrow Fell Refinery", "fume", "Ancestors: 2 lots"):
        assert words in text, words
    assert auditor.get(f"/papers/{first.pk}/").content == papers[0]  # as it was issued
    for who in people.CUSTOMERS:
        assert people.signed_in(who()).get(f"/papers/{first.pk}/").status_code == 404


def test_the_report_of_an_unvalued_lot_and_of_one_that_left_says_so(auditor):
    parcel = builders.received(500_000)[0]
    text = reading.text(report(auditor, parcel.number))
    assert "Origins by gross: not valued yet" in text
    (source,) = builders.ready(5)
    melted(source, fume=1)
    text = reading.text(report(auditor, source.number))
    assert "nobody in the house" in text
    assert "5.000 g" in text


def test_a_long_way_prints_the_latest_and_sums_the_rest(monkeypatch):
    monkeypatch.setattr(fill_trace, "MOST_LOSSES", 2)
    monkeypatch.setattr(fill_trace, "MOST_HANDOVERS", 1)
    (one,) = builders.ready()
    for fume in (1, 20, 300, 390):
        one = melted(one, fume=fume)
    one = builders.handed_over(one, people.vera_vault(), "VAULT")
    paper = fill_trace.trace_paper(one, number="T-1", at=timezone.now(), by=people.adam_auditor())
    assert [loss.masses for loss in paper.losses] == [(("Au", 300),), (("Au", 390),)]
    assert (paper.more_losses.count, paper.more_losses.masses) == (2, (("Au", 21),))
    assert [handover.to_person for handover in paper.handovers] == ["Vera Lock"]
    assert paper.more_handovers == 1
