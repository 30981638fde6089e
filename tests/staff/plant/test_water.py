"""Water at the desk: the permit's limits, treated water beside them, its discharge and the register."""

import csv
import io
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.solutions import Found, accept_solution, assay_solution
from custody.actions.work import Add, Make, Take, record_step
from custody.models import EffluentLimit, Operation
from custody.queries.verify import verify
from custody.terms import METALS, Addition, Form, Kind
from tests import builders, people
from tests.staff.plant.posting import body

pytestmark = pytest.mark.django_db

#: 40 CFR 421.262, spent plating solutions, most of one day, mg/L, and its range of pH.
PUBLISHED = {"Cu": "1.900", "Zn": "1.460", "Au": "0.300"}
WITHIN = {"Cu": Found(1_900), "Zn": Found(50, below=True), "Au": Found(300), "Ag": Found(100)}


@pytest.fixture
def client():
    builders.places()
    return people.signed_in(people.otto_operator())


def set_limits(person=people.mona_manager, **more):
    rows = {"limit": [{"substance": symbol, "most": most} for symbol, most in PUBLISHED.items()]}
    told = {"valid_from": timezone.localdate().isoformat(), "ph_least": "7.50", "ph_most": "10.00"} | more
    return people.signed_in(person()).post("/plant/water/limits/", body(rows=rows, **told))


def treated(figures=WITHIN, ph_centi=850, vessel="VESSEL-1"):
    """A hundred litres of treated water, assayed by Anna and accepted by Ada; without figures not assayed."""
    (lot,) = builders.ready(10, Au=1_000, Ag=5_000)
    fine = dict(zip(METALS, lot.metals_mg, strict=True))
    told = {"at": timezone.now(), "by": people.otto_operator()}
    charged = record_step(
        kind=Kind.CHARGE, step=Kind.NEUTRALISE, inputs=[Take(lot.number)], place=builders.place(vessel),
        additions=(Add(Addition.WATER, 99_990_000),),
        outputs=[Make(Form.IN_PROCESS, 100_000_000, fine, vessel=vessel)], **told,
    )  # fmt: skip
    told["at"] = timezone.now()
    posted = record_step(
        kind=Kind.FINISH, inputs=[Take(charged.lots[0])], outputs=[Make(Form.SOLUTION, 100_000_000, fine)], **told
    )
    lot = builders.fresh(posted.lots[0])
    if figures:
        assay = assay_solution(
            lot=lot.number, volume_ml=100_000, density_mg_ml=1_000, figures=figures, method="ICP spectrometry",
            ph_centi=ph_centi, at=timezone.now(), by=people.anna_assayer(),
        )  # fmt: skip
        accept_solution(
            assay=assay, at=timezone.now(), by=people.ada_assayer(), reason="Treated",
            countersign=Signature(people.mona_manager(), "Seen"),
        )  # fmt: skip
    return lot


def test_a_manager_enters_the_limits_of_the_permit():
    builders.refinery()
    key = uuid4()
    assert set_limits(key=key).url == "/plant/water/limits/"
    set_limits(key=key)
    assert EffluentLimit.objects.count() == 4
    assert EffluentLimit.objects.get(substance="Cu").most == 1_900
    assert (EffluentLimit.objects.get(substance="pH").least, EffluentLimit.objects.get(substance="pH").most) == (
        750,
        1000,
    )
    page = people.signed_in(people.adam_auditor()).get("/plant/water/limits/").content.decode()
    assert "at most 1.900" in page
    assert "7.50 to 10.00" in page
    assert "Set these limits" not in page
    assert set_limits(people.otto_operator).status_code == 403


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"valid_from": (timezone.localdate() - timedelta(days=2)).isoformat()}, "from today or a later day"),
        ({"ph_least": "", "ph_most": "9"}, "Give both ends"),
        ({"ph_least": "9", "ph_most": "8"}, "not under the least"),
        ({"ph_most": "99"}, "between -2 and 16"),
        ({"ph_most": "nan"}, "not a number"),
    ],
)
def test_limits_that_cannot_be_are_refused(changes, fault):
    builders.refinery()
    assert fault in set_limits(**changes).content.decode()
    assert not EffluentLimit.objects.exists()


def test_water_within_the_permit_is_discharged_and_registered(client):
    """By hand: 40 of 100 L at 0.300 mg/L Au are 12 mg of 30, at 1.900 mg/L Cu 76 of 190, at 0.100 mg/L Ag 4 of 10."""
    set_limits()
    lot = treated()
    address = f"/plant/water/{lot.number}/"
    page = client.get(address).content.decode()
    assert "within the permit" in page
    data = body(volume="40", note="To the drain")
    assert client.post(address, data).url == "/plant/water/"
    assert client.post(address, data).url.startswith("/operation/"), "sent twice, it leads to what it recorded"
    assert client.post(address, body(volume="60")).status_code == 302, "what is left is still as it was assayed"
    (first, second) = Operation.objects.filter(kind="discharge").order_by("id")
    line = first.movements.get(side="loss")
    assert (line.what, line.gross_mg, line.metals_mg) == ("effluent", 40_000_000, (12, 4, 0, 0, 76))
    assert second.movements.get(side="loss").metals_mg == (18, 6, 0, 0, 114)
    assert builders.fresh(lot.number).gross_mg == 0
    page = client.get("/plant/water/").content.decode()
    assert "Cu 1.900 (at most 1.900)" in page
    assert "Zn &lt;0.050 (at most 1.460)" in page
    rows = list(csv.DictReader(io.StringIO(b"".join(client.get("/plant/water/register.csv")).decode())))
    assert [(row["litres"], row["Au_mg"], row["Cu_mg"]) for row in rows] == [
        ("60.000", "18", "114"),
        ("40.000", "12", "76"),
    ]
    assert verify().ok


def test_the_page_says_why_water_stays(client):
    lot = treated()
    address = f"/plant/water/{lot.number}/"
    assert "No limits for discharge are set" in client.get(address).content.decode()
    set_limits()
    raw = treated(figures=None, vessel="VESSEL-2")
    assert "not assayed as it is now" in client.get(f"/plant/water/{raw.number}/").content.decode()
    over = treated(WITHIN | {"Cu": Found(1_901)}, ph_centi=None, vessel="TANK-1")
    page = client.get(f"/plant/water/{over.number}/").content.decode()
    assert "Outside the permit or not measured: Cu, pH" in page
    answer = client.post(f"/plant/water/{over.number}/", body(volume="100"))
    assert "outside the permitted limit" in answer.content.decode()
    for volume, fault in (("101", "100.000"), ("0", "zero"), ("1 000 000", "plain number"), ("4,5", "comma")):
        answer = client.post(address, body(volume=volume))
        assert answer.status_code == 200, volume
        assert fault in answer.content.decode(), volume
    assert not Operation.objects.filter(kind="discharge").exists()


def test_who_sees_water_and_who_discharges(client):
    set_limits()
    lot = treated()
    for person in people.EVERYBODY:
        user = person()
        browser = people.signed_in(user)
        sees = 403 if person in people.CUSTOMERS else 200
        for address in ("/plant/water/", "/plant/water/limits/", "/plant/water/register.csv"):
            assert browser.get(address).status_code == sees, (user, address)
        assert browser.get(f"/plant/water/{lot.number}/").status_code == (200 if user.username == "otto" else 403), user
    assert client.get("/plant/water/L-NONE/").status_code == 404


def test_a_longer_register_asks_no_more_queries(client):
    set_limits()
    counts = []
    for number, vessel in enumerate(("VESSEL-1", "VESSEL-2", "TANK-1")):
        lot = treated(vessel=vessel)
        client.post(f"/plant/water/{lot.number}/", body(volume="100"))
        if number != 1:
            with CaptureQueriesContext(connection) as asked:
                client.get("/plant/water/")
            counts.append(len(asked))
    assert counts[0] == counts[1]
