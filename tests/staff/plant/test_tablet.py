"""Every page of the plant and the vault on a tablet, either way up, and on a phone.

Nothing is wider than the screen, every control is big enough for a gloved finger, everybody can read it.

TABLET_PICTURES=folder keeps a picture of each, to be looked at.
"""

import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from django.urls.exceptions import NoReverseMatch

from custody.models import (
    BarType,
    Box,
    Handover,
    Lot,
    Operation,
    Place,
    RouteOrder,
    Run,
    SerialRange,
    StockCount,
    VaultAccess,
)
from custody.staff import bars_urls, plant_urls, vault_urls
from custody.staff.plant import bar_work, step
from tests import people
from tests.journeys.eye import FAULTS, RULES
from tests.ledger.everything import whole_book

KEPT = os.environ.get("TABLET_PICTURES")
SCREENS = {"tablet": (1024, 768), "upright": (768, 1024), "phone": (390, 844)}
#: Controls smaller than 24 x 24 px (WCAG 2.5.8). A label belongs to its tick; a link in a line of text is free.
SMALL = """() => [...document.querySelectorAll('a[href],button,input,select,textarea,summary')].flatMap(control => {
  const box = (control.labels?.[0]?.contains(control) ? control.labels[0] : control).getBoundingClientRect();
  const style = getComputedStyle(control);
  const seen = box.width >= 2 && control.type !== 'hidden' && control.checkVisibility({ visibilityProperty: true });
  if (!seen) return [];
  if (control.closest('.visually-hidden, .skip')) return [];
  const beside = [...control.parentElement.childNodes].some(n => n.nodeType === 3 && /\\w/.test(n.textContent));
  if (control.matches('a') && style.display === 'inline' && beside) return [];
  return box.width >= 23.9 && box.height >= 23.9 ? [] :
    [`small: ${box.width.toFixed(0)} x ${box.height.toFixed(0)}: ${control.outerHTML.slice(0, 120)}`];
})"""
WIDE = """() => [...document.querySelectorAll('main *')].filter(one => one.getBoundingClientRect().right >
  document.documentElement.clientWidth + 1 && !one.closest('.ledger-wrap, .flow-scroll, .visually-hidden')).slice(0, 3)
  .map(one => `wide: ${one.outerHTML.slice(0, 100)}`)"""
PEOPLE = (people.otto_operator, people.vera_vault, people.mona_manager, people.anna_assayer)


def arguments():
    """What stands in the addresses: by the page's name, else by the word in it."""
    content = Lot.objects.filter(form="in process", gross_mg__gt=0).first()
    lot = Lot.objects.filter(form="melt", gross_mg__gt=0).first()
    dispatch = Operation.objects.filter(kind="dispatch").first()
    access, count, box = VaultAccess.objects.first(), StockCount.objects.first(), Box.objects.first()
    named = dict.fromkeys(("vault-close", "vault-access"), access.number)
    named |= dict.fromkeys(("counted", "count-sheet", "count-csv"), count.number)
    named |= dict.fromkeys(("box", "open-box", "issue-box-list"), box.number)
    named |= {name: Run.objects.filter(finished_by__isnull=True).first().number for name in ("run", "draw", "finish")}
    named |= {"cell": Run.objects.filter(step="electrolyse gold").first().number}
    named |= {name: RouteOrder.objects.first().number for name in ("route-order", "batch-sheet")}
    sent = ("dispatched", "issue-note", "issue-certificates", "issue-dispatch-note")
    named |= dict.fromkeys(sent, dispatch.number)
    named |= {"correct": lot.number, "discharge": content.number, "issue-certificate": lot.number}
    named |= {"tank": "TANK-1", "passed": Handover.objects.exclude(request_key=None).first()}
    return named


def addresses():
    """Every address of the three modules; one that takes a word which nobody filled in is an error here."""
    named = arguments()
    cage = Place.objects.get(code="CAGE").code
    for pattern in (*plant_urls.urlpatterns, *bars_urls.urlpatterns, *vault_urls.urlpatterns):
        words = pattern.pattern.converters
        if not words:
            yield reverse(pattern.name)
        elif "slug" in words:
            slugs = bar_work.WORKS if pattern.name == "bar-work" else map(step.slug_of, step.WORKERS)
            yield from (reverse(pattern.name, args=[slug]) for slug in slugs)
        elif pattern.name == "passed":
            if named["passed"]:
                yield reverse("passed", args=[named["passed"].request_key])
        elif "pk" in words:
            kind = BarType if "type" in pattern.name else SerialRange
            yield reverse(pattern.name, args=[kind.objects.first().pk])
        else:
            word = named.get(pattern.name) or (cage if "code" in words else "")
            if not word:
                raise NoReverseMatch(f"{pattern.name} takes {set(words)}: fill it in")
            yield reverse(pattern.name, args=[word])


def pages():
    """Each address that shows a page, with whom it shows it to; what sends a file or only takes a form is none."""
    clients = [(person(), people.signed_in(person())) for person in PEOPLE]
    for address in addresses():
        for person, client in clients:
            answer = client.get(address)
            if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
                yield person, address
                break


@pytest.fixture
def plant(committed_db):
    """A book with a row in every table, and every page of it."""
    whole_book()
    return list(pages())


def faults(page, screen):
    width, height = SCREENS[screen]
    page.set_viewport_size({"width": width, "height": height})
    found = [] if page.evaluate("document.documentElement.scrollWidth") <= width else (page.evaluate(WIDE) or ["wide"])
    return found + page.evaluate(SMALL)


def test_every_page_of_the_plant_is_for_a_gloved_finger(plant, new_page):
    assert len(plant) > 30
    wrong, browsers = [], {}
    for person, address in plant:
        if person not in browsers:
            browsers[person] = new_page()
            browsers[person].goto("/sign-in/")
            browsers[person].fill("#id_username", person.username)
            browsers[person].fill("#id_password", people.PASSWORD)
            browsers[person].click("main button")
        page = browsers[person]
        page.goto(address)
        for screen in SCREENS:
            wrong += [f"{address} {screen} {fault}" for fault in faults(page, screen)]
            if KEPT:
                name = address.strip("/").replace("/", "_")
                (Path(KEPT) / f"{name}-{screen}.png").write_bytes(page.screenshot(full_page=True))
        page.evaluate(Axe().axe_script)
        wrong += [f"{address} {fault}" for fault in page.evaluate(FAULTS, RULES)]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("markup", "said"),
    [
        ("<p><a href='#'>x</a></p>", "small"),
        ("<pre>" + "x" * 900 + "</pre>", "wide"),
    ],
)
def test_what_is_too_small_or_too_wide_is_found(page, markup, said):
    page.goto("/sign-in/")
    assert faults(page, "tablet") == []
    page.evaluate("markup => { document.querySelector('main').innerHTML = markup }", markup)
    assert said in faults(page, "phone")[0]
