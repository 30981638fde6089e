"""Assays of solutions in the laboratory: recorded by one person, accepted by another, everything typed kept."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.work import Add, Make, Take, record_step
from custody.models import Operation, SolutionAssay
from custody.queries import tanks
from custody.queries.verify import verify
from custody.terms import METALS, Addition, Form, Kind
from tests import builders, people
from tests.staff.plant.posting import body

pytestmark = pytest.mark.django_db

FOUND = {"Au": "8012", "Ag": "<1.5", "Ni": "12", "volume": "98.5", "density": "1.02", "ph": "0.5"}


def content(vessel="VESSEL-1"):
    builders.places()
    (lot,) = builders.ready()
    posted = record_step(
        kind=Kind.CHARGE, step=Kind.PRECIPITATE, inputs=[Take(lot.number)], at=timezone.now(),
        by=people.otto_operator(), additions=(Add(Addition.WATER, 99_000_000),), place=builders.place(vessel),
        outputs=[Make(Form.IN_PROCESS, 100_000_000, dict(zip(METALS, lot.metals_mg, strict=True)), vessel=vessel)],
    )  # fmt: skip
    return builders.fresh(posted.lots[0])


def send(lot, person=people.anna_assayer, **changes):
    rows = {"other": changes.pop("other", [])}
    told = {"method": "ICP spectrometry"} | FOUND | changes
    return people.signed_in(person()).post(f"/laboratory/solution/{lot.number}/", body(rows=rows, **told))


def test_an_assay_is_recorded_and_waits_for_another_person():
    """By hand: 98.5 L × 1.02 g/mL = 100.47 kg; 8012 mg/L × 98.5 L = 789.182 g; <1.5 counts as 1.5: 147.75 → 148 mg."""
    lot, key = content(), uuid4()
    for _ in range(2):
        send(lot, key=key, other=[{"substance": "CN", "found": "<0.05"}])
    assay = SolutionAssay.objects.get()
    assert (assay.volume_ml, assay.density_mg_ml, assay.ph_centi) == (98_500, 1_020, 50)
    figures = {figure.substance: (figure.ug_l, figure.below) for figure in assay.figures.all()}
    expected = {"Au": (8_012_000, False), "Ag": (1_500, True), "Ni": (12_000, False), "CN": (50, True)}
    assert figures == expected
    assert builders.fresh(lot.number).columns_mg == lot.columns_mg, "nothing is changed yet"
    ada = people.signed_in(people.ada_assayer())
    assert assay.number in ada.get("/laboratory/").content.decode()
    assert "1 assay" in ada.get("/").content.decode()
    assert "1 assay" not in people.signed_in(people.anna_assayer()).get("/").content.decode(), "nobody accepts it alone"
    page = people.signed_in(people.anna_assayer()).get(f"/laboratory/solution-assay/{assay.number}/").content.decode()
    assert "You recorded this" in page
    assert "789.182" in page
    shown = [row["found_mg"] for row in tanks.changes_by(assay)]
    address = f"/laboratory/solution-assay/{assay.number}/"
    assert "countersign" in ada.post(address, body()).content.decode()
    signed = {"countersigner": "mona", "countersign_password": people.PASSWORD, "countersign_meaning": "Seen"}
    data = body(reason="Gold stays on the filter", **signed)
    number = ada.post(address, data).url.removeprefix("/operation/").rstrip("/")
    assert ada.post(address, data).url.rstrip("/").endswith(number), "sent twice, accepted once"
    assert builders.fresh(lot.number).columns_mg == (100_470_000, 789_182, 148, 0, 0, 0)
    assert shown == [100_470_000, 789_182, 148], "what was shown is what was recorded"
    assert Operation.objects.filter(kind="value", solution_acceptance__isnull=False).count() == 1
    history = ada.get(f"/laboratory/solution/{lot.number}/").content.decode()
    assert "accepted" in history
    assert "CN &lt;0.050" in history
    assert assay.number not in ada.get("/laboratory/").content.decode()
    assert "98.500, by assay" in people.signed_in(people.otto_operator()).get("/plant/tanks/").content.decode()
    assert verify().ok


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"volume": "0"}, "zero"),
        ({"volume": "98,5"}, "comma"),
        ({"volume": "9" * 1_000_000}, "long"),
        ({"volume": "1000001"}, "more than 1000000"),
        ({"density": "1020"}, "more than 20"),
        ({"density": ""}, "Density, g/mL is missing"),
        ({"Au": "-1"}, "negative"),
        ({"Au": "<0"}, "more than zero"),
        ({"Au": "1e400"}, "exponent"),
        ({"Au": "NaN"}, "not a number"),
        ({"Au": "0.1234"}, "more than 3 decimals"),
        ({"Au": ""}, "holds Au"),
        ({"Au": "2000000"}, "weighs less than what it holds"),
        ({"ph": "17"}, "between -2 and 16"),
        ({"other": [{"substance": "gold!", "found": "1"}]}, "Write a symbol"),
        ({"other": [{"substance": "Cu", "found": "1"}]}, "has a field above"),
        ({"other": [{"substance": "CN", "found": "1"}, {"substance": "CN", "found": "2"}]}, "already"),
    ],
)
def test_what_cannot_be_an_assay_is_refused_and_kept(changes, fault):
    lot = content()
    answer = send(lot, note="Night shift", **changes)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert fault in page
    assert 'value="Night shift"' in page
    assert not SolutionAssay.objects.exists()


def test_asked_about_a_solution_the_laboratory_leads_to_its_assays():
    lot = content()
    answer = people.signed_in(people.anna_assayer()).get("/laboratory/", {"lot": lot.number})
    assert answer.url == f"/laboratory/solution/{lot.number}/"


def test_a_later_time_is_refused():
    lot = content()
    later = timezone.localtime() + timedelta(hours=2)
    assert "now or earlier" in send(lot, at=later.strftime("%Y-%m-%dT%H:%M")).content.decode()


def test_who_records_and_who_reads():
    lot = content()
    send(lot)
    number = SolutionAssay.objects.get().number
    for person in people.EVERYBODY:
        user = person()
        browser = people.signed_in(user)
        sees = 403 if person in people.CUSTOMERS else 200
        for address in (f"solution/{lot.number}/", "solutions/", f"solution-assay/{number}/"):
            assert browser.get(f"/laboratory/{address}").status_code == sees, (user, address)
        if user.username != "anna":
            assert send(lot, person).status_code == 403, user
        if user.username not in ("anna", "mona"):
            assert browser.post(f"/laboratory/solution-assay/{number}/", body()).status_code == 403, user
    anna = people.signed_in(people.anna_assayer())
    assert "does not accept it" in anna.post(f"/laboratory/solution-assay/{number}/", body()).content.decode()
    (gold,) = builders.ready(10)
    assert anna.get(f"/laboratory/solution/{gold.number}/").status_code == 404


def test_more_assays_ask_no_more_queries():
    lot, ada = content(), people.signed_in(people.ada_assayer())
    counts = []
    for number in range(3):
        send(lot)
        if number != 1:
            with CaptureQueriesContext(connection) as asked:
                ada.get(f"/laboratory/solution/{lot.number}/")
            counts.append(len(asked))
    assert counts[0] == counts[1]
