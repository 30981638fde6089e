"""Tanks and what runs from one vessel into the next: by the litre, in one transaction, within their capacity."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.routes import order_route
from custody.actions.tanks import set_vessel
from custody.calc.route import Step
from custody.models import Lot, Operation, RouteOrderWork, Run, Vessel
from custody.queries.verify import verify
from custody.terms import Kind
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db


@pytest.fixture
def client():
    builders.places()
    return people.signed_in(people.otto_operator())


def charged(client, *lots, vessel="VESSEL-1", step="precipitate", **more):
    rows = {
        "in": [{"lot": lot.number} for lot in lots],
        "add": [{"what": "water", "litres": "9", "density": "1"}],
    }
    sent(client, "/plant/charge/", body(rows=rows, vessel=builders.place(vessel).pk, step=step, **more))
    return content_of(vessel)


def content_of(vessel):
    return Lot.objects.get(place__code=vessel, form="in process", gross_mg__gt=0)


def chain(capacity_ml=None):
    set_vessel(place=builders.place("VESSEL-1"), capacity_ml=capacity_ml, overflows_to=builders.place("TANK-1"),
               by=people.mona_manager())  # fmt: skip


def test_litres_and_density_are_the_gross(client):
    """By hand: 9 L of water at 1.000 g/mL are 9 kg, beside a kilogram of lot."""
    content = charged(client, *builders.ready())
    assert content.columns_mg == (10_000_000, 800_000, 150_000, 0, 0, 0)


def test_the_charge_page_reckons_the_reagents_for_what_is_named(client):
    (lot,) = builders.ready(1000, Au=500_000, Ag=100_000)
    page = client.get("/plant/charge/", {"step": "precipitate", "lot": lot.number}).content.decode()
    assert "0.723833" in page, "metabisulfite a gram of gold, by the equation"
    assert "4 HAuCl4" in page or "4HAuCl4" in page.replace(" ", "")
    assert "Precipitate gold" in page
    unlaid = client.get("/plant/charge/", {"step": "nonsense"})
    assert unlaid.context["step"] == "dissolve"


def test_a_drawn_solution_runs_straight_into_the_next_vessel(client):
    """2 L at 1.05 g/mL are 2.1 kg; its content is charged there in the same transaction, on what stood there."""
    content = charged(client, *builders.ready())
    (more,) = builders.ready(500)
    charged(client, more, vessel="VESSEL-2", step="cement copper")
    rows = {
        "in": [{}],
        "out": [
            {"form": "gold sand", "gross": "799.9", "Au": "799.5"},
            {"form": "solution", "litres": "2", "density": "1.05", "Ag": "100", "into": "VESSEL-2"},
        ],
    }
    data = body(rows=rows, scale=builders.scale().code, onward="neutralise")
    number = sent(client, f"/plant/run/{content.run.number}/draw/", data)
    assert sent(client, f"/plant/run/{content.run.number}/draw/", data) == number, "sent twice, recorded once"
    assert content_of("VESSEL-1").columns_mg == (7_100_100, 500, 50_000, 0, 0, 0)
    there = content_of("VESSEL-2")
    assert there.columns_mg == (11_600_000, 400_000, 175_000, 0, 0, 0)
    assert there.run.step == "cement copper", "it goes on with its own step"
    sand = Operation.objects.get(number=number).created_lots.get(form="gold sand")
    assert sand.weighings.count() == 1
    assert not Lot.objects.filter(form="solution", gross_mg__gt=0).exists()
    assert verify().ok


def test_nothing_is_drawn_where_the_next_vessel_refuses(client):
    """The vessel there is in another person's custody: no draw stands alone."""
    content = charged(client, *builders.ready())
    (more,) = builders.ready(500)
    builders.handed_over(charged(client, more, vessel="VESSEL-2"), people.sam_sampler(), "VESSEL-2")
    rows = {"in": [{}], "out": [{"form": "solution", "litres": "2", "density": "1", "into": "VESSEL-2"}]}
    answer = client.post(f"/plant/run/{content.run.number}/draw/", body(rows=rows))
    assert "in another person" in faults(answer)
    assert not Operation.objects.filter(kind="draw").exists()


def test_a_finish_may_carry_all_of_it_into_an_empty_vessel(client):
    content = charged(client, *builders.ready())
    solution = {"form": "solution", "litres": "10", "density": "1", "Au": "800", "Ag": "150", "into": "VESSEL-2"}
    rows = {"in": [{}], "add": [], "out": [solution], "loss": []}
    page = client.get(f"/plant/run/{content.run.number}/finish/").content.decode()
    assert "manager" in page, "what a loss of all would need"
    answer = client.post(f"/plant/run/{content.run.number}/finish/", body(rows=rows, onward="cement copper"))
    assert "yield" in faults(answer).lower() or answer.status_code == 302
    signs = {"countersigner": "mona", "countersign_password": people.PASSWORD, "countersign_meaning": "Seen"}
    data = body(rows=rows, onward="cement copper", reason="Poured over, not precipitated", **signs)
    sent(client, f"/plant/run/{content.run.number}/finish/", data)
    assert content_of("VESSEL-2").columns_mg == content.columns_mg
    assert content_of("VESSEL-2").run.step == "cement copper"
    assert Run.objects.get(number=content.run.number).finished_by is not None


def test_a_finish_offers_what_is_left(client):
    """Sand takes the gold that it weighs, the last lot everything else; what is declared lost is left out."""
    content = charged(client, *builders.ready())
    rows = {
        "in": [{}],
        "out": [{"form": "gold sand", "gross": "799"}, {"form": "solution", "litres": "9", "density": "1"}],
        "loss": [{"cause": "filter", "gross": "", "Ag": "0.5"}],
    }
    answer = client.post(f"/plant/run/{content.run.number}/finish/", body(rows=rows, offer="1"))
    sand, liquor = answer.context["row_sets"][2].forms
    assert [sand[metal].value() for metal in ("Au", "Ag")] == ["799.000", ""]
    assert [liquor[metal].value() for metal in ("Au", "Ag")] == ["1.000", "149.500"]
    assert not Operation.objects.filter(kind="finish").exists()


def test_only_an_addition_goes_into_what_a_vessel_holds(client):
    charged(client, *builders.ready())
    rows = {"in": [{}], "add": [{"what": "reagent", "gross": "600"}]}
    sent(client, "/plant/charge/", body(rows=rows, vessel=builders.place("VESSEL-1").pk, step="precipitate"))
    assert content_of("VESSEL-1").gross_mg == 10_600_000


def test_cake_is_weighed_wet_and_says_its_moisture(client):
    """Neutralised, all metal falls into the cake: it is offered whole, and the water goes on to the next tank."""
    content = charged(client, *builders.ready(), step="neutralise")
    address = f"/plant/run/{content.run.number}/draw/"
    out = [{"form": "cake", "gross": "2500", "moisture": "62.5"}, {"form": "solution", "litres": "7", "density": "1"}]
    offered = client.post(address, body(rows={"in": [{}], "out": out}, offer="1")).context["row_sets"][1].forms
    assert [offered[0][metal].value() for metal in ("Au", "Ag")] == ["800.000", "150.000"]
    rows = {"in": [{}], "out": [out[0] | {"Au": "800", "Ag": "150"}, out[1] | {"into": "TANK-1"}]}
    number = sent(client, address, body(rows=rows, scale=builders.scale().code, onward="neutralise"))
    cake = Operation.objects.get(number=number).movements.get(side="out", lot__form="cake")
    assert (cake.gross_mg, cake.au_mg, cake.words) == (2_500_000, 800_000, "moisture 62.50 %")
    assert content_of("TANK-1").columns_mg == (7_000_000, 0, 0, 0, 0, 0)
    assert verify().ok


@pytest.mark.parametrize(
    ("product", "fault"),
    [
        ({"form": "solution", "litres": "2"}, "density is missing"),
        ({"form": "solution", "litres": "2", "density": "1", "gross": "5"}, "not both"),
        ({"form": "gold sand", "litres": "2", "density": "1"}, "Only a solution goes by its litres"),
        ({"form": "gold sand", "gross": "1", "Au": "1"}, "Choose the one that weighed"),
        ({"form": "solution", "Ag": "2"}, "weigh it, or give the litres"),
        ({"form": "cake", "gross": "2", "moisture": "100"}, "Nothing but moisture"),
        ({"form": "solution", "litres": "2,5", "density": "1"}, "comma"),
        ({"form": "solution", "litres": "0", "density": "1"}, "zero"),
        ({"form": "solution", "litres": "2", "density": "1050"}, "more than 20"),
        ({"form": "solution", "litres": "2", "density": "1", "into": "VESSEL-2", "place": "LAB"}, "the place blank"),
    ],
)  # fmt: skip
def test_what_cannot_be_a_product_is_refused_and_kept(client, product, fault):
    content = charged(client, *builders.ready())
    answer = client.post(f"/plant/run/{content.run.number}/draw/", body(rows={"in": [{}], "out": [product]}))
    assert fault in faults(answer)
    assert all(f'value="{typed}"' in answer.content.decode() for typed in product.values() if typed[0].isdigit())
    assert not Operation.objects.filter(kind="draw").exists()


def test_the_run_page_says_the_yield_beside_the_least(client):
    content = charged(client, *builders.ready())
    address = f"/plant/run/{content.run.number}/"
    assert "not yet reached" in client.get(address).content.decode()
    rows = {"in": [{}], "out": [{"form": "gold sand", "gross": "799.9", "Au": "799.5"}]}
    sent(client, f"{address}draw/", body(rows=rows, scale=builders.scale().code))
    page = client.get(address).content.decode()
    assert "99.9375" in page, "799.5 of 800 g"
    assert "not yet reached" not in page


def test_work_on_an_order_goes_on_with_its_run(client):
    (lot,) = builders.ready(1000, Au=900_000, Ag=50_000)
    order = order_route(
        lots=[lot.number], steps=[Step.AQUA_REGIA, Step.PRECIPITATE, Step.MELT], wanted_ppm=999_500, note="As planned",
        at=timezone.now(), by=people.otto_operator(),
    )  # fmt: skip
    station = str(Step.AQUA_REGIA)
    content = charged(client, lot, step="dissolve", order=f"{order.number}|{station}")
    rows = {"in": [{}], "out": [{"form": "solution", "litres": "2", "density": "1", "into": "VESSEL-2"}]}
    sent(client, f"/plant/run/{content.run.number}/draw/", body(rows=rows))
    works = RouteOrderWork.objects.filter(order=order).values_list("operation__kind", "station")
    assert list(works) == [("charge", station), ("draw", station), ("charge", station)]


def test_overflow_takes_litres_pro_rata_into_the_next_tank(client):
    """As water, 10 kg less 950 g of metal are 9.05 L; half of that takes half of everything."""
    chain()
    charged(client, *builders.ready())
    key = uuid4()
    data = body(what="overflow", volume="4.525", step="neutralise", key=key)
    assert client.post("/plant/tanks/VESSEL-1/", data).url == "/plant/tanks/VESSEL-1/"
    again = client.post("/plant/tanks/VESSEL-1/", data)
    assert again.url.startswith("/operation/")
    assert content_of("VESSEL-1").columns_mg == (5_000_000, 400_000, 75_000, 0, 0, 0)
    assert content_of("TANK-1").columns_mg == (5_000_000, 400_000, 75_000, 0, 0, 0)
    assert content_of("TANK-1").run.step == "neutralise"
    page = client.get("/plant/tanks/").content.decode()
    assert "Waste tank 1" in page
    assert "4.525, by weight, as water" in page
    assert "Au 88397.790" in page, "400 g in 4.525 L, mg/L"
    for volume, fault in (("9", "less than that runs over"), ("-1", "negative"), ("1e400", "exponent")):
        answer = client.post("/plant/tanks/VESSEL-1/", body(what="overflow", volume=volume, step="neutralise"))
        assert fault in answer.content.decode()
    assert Operation.objects.filter(kind="draw").count() == 1
    assert verify().ok


def test_over_its_capacity_a_charge_says_so_until_a_reason_is_given(client):
    chain(capacity_ml=5_000)
    (lot,) = builders.ready()
    rows = {"in": [{"lot": lot.number}], "add": [{"what": "water", "litres": "9", "density": "1"}]}
    told = body(rows=rows, vessel=builders.place("VESSEL-1").pk, step="dissolve")
    answer = client.post("/plant/charge/", told)
    assert "holds at most 5.000 L; with this it would hold about 9.050 L" in faults(answer)
    assert "Let it overflow to TANK-1" in faults(answer)
    sent(client, "/plant/charge/", told | {"reason": "The larger insert"})
    assert "181 % of 5.000 L" in client.get("/plant/tanks/").content.decode()


def test_a_manager_sets_capacity_and_overflow_never_in_a_circle(client):
    builders.places()
    mona = people.signed_in(people.mona_manager())
    tank = builders.place("TANK-1")

    def send(code, **said):
        return mona.post(f"/plant/tanks/{code}/", body(what="settings", **said))

    assert send("VESSEL-1", capacity="250.5", overflows_to=tank.pk).status_code == 302
    kept = Vessel.objects.get(place__code="VESSEL-1")
    assert (kept.capacity_ml, kept.overflows_to) == (250_500, tank)
    circle = send("TANK-1", capacity="", overflows_to=builders.place("VESSEL-1").pk)
    assert "does not run in a circle" in circle.content.decode()
    assert client.post("/plant/tanks/VESSEL-1/", body(what="settings", capacity="1")).status_code == 403
    assert Vessel.objects.get(place__code="VESSEL-1").capacity_ml == 250_500


def test_who_sees_the_tanks(client):
    chain()
    charged(client, *builders.ready())
    for person in people.EVERYBODY:
        user = person()
        browser = people.signed_in(user)
        allowed = 403 if person in people.CUSTOMERS else 200
        for address in ("/plant/tanks/", "/plant/tanks/VESSEL-1/"):
            assert browser.get(address).status_code == allowed, user
        if user.username != "otto":
            data = body(what="overflow", volume="1", step="neutralise")
            assert browser.post("/plant/tanks/VESSEL-1/", data).status_code == 403, user
    assert client.get("/plant/tanks/COUNTER/").status_code == 404
    assert Operation.objects.filter(kind=Kind.DRAW).count() == 0


def test_more_tanks_ask_no_more_queries(client):
    charged(client, *builders.ready())
    counts = []
    for vessel in ("", "VESSEL-2", "TANK-1"):
        if vessel:
            charged(client, *builders.ready(), vessel=vessel)
        if vessel != "VESSEL-2":
            with CaptureQueriesContext(
                connection,
            ) as asked:
                client.get("/plant/tanks/")
            counts.append(len(asked))
    assert counts[0] == counts[1]
