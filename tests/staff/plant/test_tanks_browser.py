"""Runs, tanks and water in Chromium: litres counted while they are typed, every page readable on tablet and phone."""

import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.solutions import Found, accept_solution, assay_solution, set_effluent_limits
from custody.actions.tanks import set_vessel
from custody.actions.work import Add, Make, Take, record_step
from custody.terms import METALS, Addition, Form, Kind
from tests import builders, people

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
SIZES = {"tablet": (1024, 768), "portrait": (768, 1024), "phone": (390, 844)}
KEPT = os.environ.get("JOURNEY_PICTURES")


@pytest.fixture
def plant():
    """A dissolving vessel that overflows, half full; treated water beside the limits; an assay that waits."""
    builders.places(), builders.scale()
    set_vessel(place=builders.place("VESSEL-1"), capacity_ml=10_000, overflows_to=builders.place("TANK-1"),
               by=people.mona_manager())  # fmt: skip
    content = _charged("VESSEL-1", 9_000_000, Kind.PRECIPITATE)
    water = _finished(_charged("TANK-1", 99_000_000, Kind.NEUTRALISE))
    set_effluent_limits(
        valid_from=timezone.localdate(), limits={"Cu": (None, 1_900), "Au": (None, 300), "pH": (750, 1_000)},
        note="Permit 12", at=timezone.now(), by=people.mona_manager(),
    )  # fmt: skip
    figures = {"Au": Found(200), "Ag": Found(100), "Cu": Found(50, below=True)}
    told = {"method": "ICP spectrometry", "at": timezone.now(), "by": people.anna_assayer()}
    assay = assay_solution(
        lot=water.number, volume_ml=100_000, density_mg_ml=1_000, figures=figures, ph_centi=850, **told
    )
    accept_solution(assay=assay, at=timezone.now(), by=people.ada_assayer(), reason="Treated",
                    countersign=Signature(people.mona_manager(), "Seen"))  # fmt: skip
    waiting = assay_solution(
        lot=content.number, volume_ml=9_050, density_mg_ml=1_105, ph_centi=50,
        figures={"Au": Found(88_000_000), "Ag": Found(16_000_000), "Cu": Found(120_000)}, **told,
    )  # fmt: skip
    return content, water, waiting


def _charged(vessel, added, step):
    (lot,) = builders.ready()
    posted = record_step(
        kind=Kind.CHARGE, step=step, inputs=[Take(lot.number)], at=timezone.now(), by=people.otto_operator(),
        additions=(Add(Addition.WATER, added),), place=builders.place(vessel),
        outputs=[Make(Form.IN_PROCESS, lot.gross_mg + added, _fine(lot), vessel=vessel)],
    )  # fmt: skip
    return builders.fresh(posted.lots[0])


def _finished(content):
    posted = record_step(
        kind=Kind.FINISH, inputs=[Take(content.number)], at=timezone.now(), by=people.otto_operator(),
        outputs=[Make(Form.SOLUTION, content.gross_mg, _fine(content))],
    )  # fmt: skip
    return builders.fresh(posted.lots[0])


def _fine(lot):
    return dict(zip(METALS, lot.metals_mg, strict=True))


def sign_in(page, person):
    session = people.signed_in(person).cookies["sessionid"]
    page.context.add_cookies([{"name": "sessionid", "value": session.value, "url": "http://127.0.0.1"}])


def test_every_page_is_readable_on_tablet_and_phone(page, plant):
    content, water, waiting = plant
    (lot,) = builders.ready(1000, Au=500_000, Ag=100_000, Cu=200_000)
    run = content.run.number
    pages = {
        people.otto_operator: {
            "charge": f"/plant/charge/?step=precipitate&lot={lot.number}",
            "charge-again": "/plant/charge/?vessel=VESSEL-1",
            "run": f"/plant/run/{run}/",
            "draw": f"/plant/run/{run}/draw/",
            "finish": f"/plant/run/{run}/finish/",
            "tanks": "/plant/tanks/",
            "tank": "/plant/tanks/VESSEL-1/",
            "water": "/plant/water/",
            "discharge": f"/plant/water/{water.number}/",
        },
        people.anna_assayer: {
            "solutions": "/laboratory/solutions/",
            "solution": f"/laboratory/solution/{content.number}/",
        },
        people.mona_manager: {
            "assay": f"/laboratory/solution-assay/{waiting.number}/",
            "limits": "/plant/water/limits/",
            "tank-manager": "/plant/tanks/VESSEL-1/",
        },
    }
    for person, addresses in pages.items():
        sign_in(page, person())
        for name, address in addresses.items():
            page.goto(address)
            for size, (width, height) in SIZES.items():
                page.set_viewport_size({"width": width, "height": height})
                assert page.evaluate("document.documentElement.scrollWidth") <= width, (name, size)
                if KEPT:
                    Path(KEPT, f"{name}-{size}.png").write_bytes(page.screenshot(full_page=True))
            found = Axe().run(page, options=RULES).response["violations"]
            assert not [f"{name}: {each['id']}: {node['html'][:120]}" for each in found for node in each["nodes"]]


def test_litres_count_in_the_balance_while_they_are_typed(page, plant):
    """2 L at 1.05 g/mL leave 10 kg: 7.9 kg stay."""
    content, *_ = plant
    sign_in(page, people.otto_operator())
    page.goto(f"/plant/run/{content.run.number}/draw/")
    row = page.locator("fieldset[data-row]", has_text="Product 2")
    row.get_by_label("Litres").fill("2")
    row.get_by_label("Density, g/mL").fill("1.05")
    figures = page.locator("[data-balance-row=gross] td").all_inner_texts()
    assert figures[1:3] == ["2\u202f100.000", "7\u202f900.000"]
    row.get_by_label("Litres").fill("2,0")
    assert "can" in page.inner_text("form") or page.locator("[aria-invalid=true]").count()
