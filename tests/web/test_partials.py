"""The small templates, one by one: what they say, and that nothing typed by a person becomes markup."""

from datetime import UTC, datetime

import pytest
from django.contrib.auth.models import AnonymousUser
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.urls import path

from custody.web.panels import Action, Fact, Holder, Panel, Step
from custody.web.tables import BaseTable, FinenessColumn, LotColumn, MassColumn, MomentColumn, StatusColumn

AT = datetime(2024, 1, 31, 14, 5, tzinfo=UTC)
ROUGH = "<b>&"
urlpatterns = [path("lot/<number>/", lambda request: None, name="lot")]


def drawn(partial, /, **inputs):
    return " ".join(render_to_string(f"ui/{partial}.html", inputs).split())


def test_a_status_is_a_word_before_it_is_a_colour():
    assert drawn("status", word="held", tone="stop") == '<span class="status" data-tone="stop">held</span>'
    assert 'data-tone="plain"' in drawn("status", word="consumed")


def test_a_mass_cell():
    assert drawn("mass", mg=1_234_567) == '<td class="mass">1 234.567</td>'
    assert drawn("mass", mg=None, label="Au, g") == '<td class="mass" data-label="Au, g">—</td>'


def test_facts_of_each_kind():
    page = drawn(
        "facts",
        facts=[
            Fact(label="Gross", mg=0),
            Fact(label="Au", mg=None),
            Fact(label="Standing", value="held", tone="stop"),
            Fact(label="Since", at=AT),
            Fact(label="Receipt", value="R-1", url="/r/1/"),
            Fact(label="Owner", value=ROUGH),
            Fact(label="Remark"),
        ],
    )
    assert '<dt>Gross<span class="unit">, g</span></dt> <dd><span class="mass">0.000</span>' in page
    assert '<dt>Au<span class="unit">, g</span></dt> <dd><span class="mass">—</span>' in page
    assert '<span class="status" data-tone="stop">held</span>' in page
    assert '<time datetime="2024-01-31T14:05:00+00:00">2024-01-31 14:05</time>' in page
    assert '<a class="link" href="/r/1/">R-1</a>' in page
    assert "&lt;b&gt;&amp;" in page
    assert page.endswith("<dt>Remark</dt> <dd>—</dd> </div> </dl>")


def test_a_panel_has_a_heading_its_facts_and_what_to_do():
    panel = Panel(
        title=ROUGH, facts=[Fact(label="Au", mg=1)], note="By assay.", actions=[Action(label="History", url="/h/")]
    )
    page = drawn("panel", panel=panel)
    assert "<h2>&lt;b&gt;&amp;</h2>" in page
    assert '<a class="button quiet" href="/h/">History</a>' in page
    assert "By assay." in page


def test_an_action_that_changes_the_book_is_a_post_with_its_token():
    action = Action(label="Take over", url="/take/", method="post", tone="main", values={"lot": ROUGH})
    page = render_to_string("ui/actions.html", {"actions": [action]}, RequestFactory().get("/"))
    assert 'method="post" action="/take/" data-once' in page
    assert "csrfmiddlewaretoken" in page
    assert 'name="lot" value="&lt;b&gt;&amp;"' in page


def test_the_heading():
    page = drawn("heading", title="L-1", kind="Lot", under="doré", status="held", tone="stop")
    assert '<h1>L-1 <span class="status" data-tone="stop">held</span> </h1>' in page
    assert page.count("<h1>") == 1


def test_custody_says_who_where_and_since_when():
    page = drawn("custody", holder=Holder(who="Ann Bell", where="vault 2", since=AT, note="not weighed"))
    for said in ("Ann Bell", "vault 2", "2024-01-31 14:05", "(not weighed)"):
        assert said in page
    assert "Nobody holds it" in drawn("custody", holder=None)


def test_steps_are_told_in_words():
    page = drawn(
        "steps", steps=[Step(label="Melt", state="done"), Step(label="Assay", state="now", note="two of four")]
    )
    assert page.count('aria-current="step"') == 1
    assert "now · two of four" in page
    assert "done" in page


def test_a_caution_always_ends_with_who_decides():
    page = drawn("caution", title="hot metal", cautions=["Dry every mould."])
    assert page.endswith('<p class="law">Local codes and licensed practice decide.</p> </section>')
    assert "<li>Dry every mould.</li>" in page


def test_a_flow_picture_has_a_name_and_words():
    page = drawn("flow", title="Origin", svg=ROUGH, caption="One parcel.", name="back")
    assert 'aria-labelledby="back-title"' in page
    assert 'id="back-title"' in page
    assert "<figcaption>One parcel.</figcaption>" in page
    assert "&lt;b&gt;" in page, "only markup that a view marks safe is drawn"


def test_an_empty_place_says_so():
    assert "<p>No parcel waits.</p>" in drawn("empty", sentence="No parcel waits.")


def test_confirming_says_what_will_happen():
    page = drawn("confirm", title="Undo?", sentence="Both stay.", action_label="Reverse", cancel_url="/x/", tone="stop")
    assert '<button class="button stop">Reverse</button>' in page
    assert 'href="/x/">Leave without recording' in page


def test_messages_begin_with_a_word():
    told = [{"level_tag": tag, "__str__": tag} for tag in ("success", "error", "warning", "info")]
    page = drawn("messages", messages=told)
    for word in ("Done.", "Refused.", "Mind.", "Note."):
        assert f"<strong>{word}</strong>" in page
    assert drawn("messages", messages=[]) == '<div class="told" aria-live="polite"></div>'


@pytest.mark.parametrize("name", ["403", "404", "500", "403_csrf"])
def test_pages_that_refuse_need_nothing(name):
    page = render_to_string(f"{name}.html")
    assert page.startswith("<!doctype html>")
    assert page.count("<h1>") == 1
    assert 'href="/"' in page


def test_a_refusal_gives_its_reason_and_nothing_else_does():
    assert "Not your desk." in render_to_string("403.html", {"exception": "Not your desk."})
    assert "secret" not in render_to_string("404.html", {"exception": "secret"})


class Lots(BaseTable):
    number = LotColumn(verbose_name="Lot")
    standing = StatusColumn(tones={"held": "stop"})
    owner = StatusColumn()
    since = MomentColumn()
    gross = MassColumn("Gross")
    total = MassColumn("Total", unit="kg", attrs={"td": {"data-x": "1"}})
    fineness = FinenessColumn("Fineness")


def table(rows, query=""):
    lots = Lots(rows)
    request = RequestFactory().get(f"/{query}")
    request.user = AnonymousUser()
    return " ".join(lots.as_html(request).split())


LOT = {"number": "L-1", "standing": "held", "owner": ROUGH, "since": AT,
       "gross": 1234567, "total": 1234567, "fineness": 999900}  # fmt: skip


@pytest.mark.urls(__name__)
def test_a_list():
    page = table([LOT])
    assert '<a class="lot link" href="/lot/L-1/">L-1</a>' in page
    assert '<span class="status" data-tone="stop">held</span>' in page
    assert '<span class="status" data-tone="plain">&lt;b&gt;&amp;</span>' in page
    assert 'data-label="Gross, g" class="mass">1 234.567</td>' in page
    assert 'data-label="Total, kg" class="mass" data-x="1">1.235</td>' in page
    assert 'data-label="Fineness, ‰" class="mass">999.9</td>' in page
    assert 'class="ledger cards"' in page


@pytest.mark.urls(__name__)
def test_what_is_not_known_is_a_dash():
    page = table([LOT | {"gross": None}])
    assert 'data-label="Gross, g" class="mass">—</td>' in page


def test_an_empty_list_says_so_without_heads():
    page = table([])
    assert "Nothing here." in page
    assert "<thead>" not in page
