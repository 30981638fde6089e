"""Runs over the book: charge, charge again, draw with provisional metals, finish."""

import pytest

from custody.models import Lot, Movement, Operation, Run
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db


@pytest.fixture
def client():
    builders.places()
    return people.signed_in(people.otto_operator())


def charged(client, *lots, acid="4000", step="dissolve"):
    """A run in VESSEL-1 that these lots opened or joined; gives its content."""
    rows = {"in": [{"lot": lot.number} for lot in lots], "add": [{"what": "acid", "gross": acid}]}
    sent(client, "/plant/charge/", body(rows=rows, vessel=builders.place("VESSEL-1").pk, step=step))
    return Run.objects.get(finished_by=None).content


def test_a_charge_makes_one_content_of_all_that_went_in(client):
    one, two = builders.ready(600, 400)
    content = charged(client, one, two)
    assert content.form == "in process"
    assert content.columns_mg == (5_000_000, 800_000, 150_000, 0, 0, 0)
    assert (content.place.code, content.run.step) == ("VESSEL-1", "dissolve")


def test_charged_again_the_old_content_goes_into_the_new(client):
    one, two = builders.ready(600, 400)
    first = charged(client, one)
    page = client.get("/plant/charge/", {"vessel": "VESSEL-1"}).content.decode()
    assert f"lot {first.number}" in page
    second = charged(client, two, acid="500")
    assert second.pk != first.pk
    assert second.columns_mg == (5_500_000, 800_000, 150_000, 0, 0, 0)
    assert builders.fresh(first.number).gross_mg == 0
    assert Run.objects.count() == 1


def draws(*products, **more):
    more = {"scale": builders.scale().code} | more
    return body(rows={"out": list(products), "in": [{}]}, **more)


def test_provisional_metals_are_offered_and_nothing_typed_is_lost(client):
    content = charged(client, *builders.ready())
    address = f"/plant/run/{content.run.number}/draw/"
    products = [
        {"form": "gold sand", "gross": "790"},
        {"form": "silver chloride", "gross": "100"},
        {"form": "residue", "gross": "9", "Au": "0.5"},
        {"form": "solution", "gross": "1,5"},
    ]
    answer = client.post(address, draws(*products, offer="1", reason="night shift"))
    rows = answer.context["row_sets"][1].forms
    assert [row["Au"].value() for row in rows[:3]] == ["790.000", "", "0.5"]
    assert rows[1]["Ag"].value() == "75.265"  # 100 g of AgCl hold 0.752648 of silver
    assert rows[3]["gross"].value() == "1,5"
    page = answer.content.decode()
    assert "night shift" in page
    assert 'class="errors"' not in page
    assert not Operation.objects.filter(kind="draw").exists()


def test_a_draw_takes_the_metals_it_names_and_the_rest_stays(client):
    content = charged(client, *builders.ready())
    address = f"/plant/run/{content.run.number}/draw/"
    number = sent(client, address, draws({"form": "gold sand", "gross": "799.9", "Au": "799.5", "place": "SHOP"}))
    sand = Operation.objects.get(number=number).created_lots.get()
    assert (sand.columns_mg, sand.place.code) == ((799_900, 799_500, 0, 0, 0, 0), "SHOP")
    assert builders.fresh(content.number).columns_mg == (4_200_100, 500, 150_000, 0, 0, 0)


def test_a_draw_richer_than_the_book_posts_the_excess_as_a_difference(client):
    content = charged(client, *builders.ready(), acid="200")
    data = draws({"form": "gold sand", "gross": "1055", "Au": "800.4"})
    number = sent(client, f"/plant/run/{content.run.number}/draw/", data)
    lines = Movement.objects.filter(operation__number=number).order_by("line")
    assert [(line.side, line.what, line.gross_mg, line.au_mg) for line in lines] == [
        ("in", "", 1_050_000, 800_000),
        ("add", "unweighed water or gas", 5_000, 0),
        ("out", "", 1_055_000, 800_400),
        ("loss", "measurement difference", 0, -400),
    ]
    assert builders.fresh(content.number).columns_mg == (150_000, 0, 150_000, 0, 0, 0), "the silver stays"


def test_a_finish_declares_what_the_vessel_still_holds(client):
    content = charged(client, *builders.ready())
    run = content.run.number
    sent(client, f"/plant/run/{run}/draw/", draws({"form": "gold sand", "gross": "799.9", "Au": "799.5"}))
    address = f"/plant/run/{run}/finish/"
    page = client.get(address).content.decode()
    assert 'data-metal="Ag" data-mg="150000"' in page, "the balance starts from the content's book"
    scale = builders.scale().code
    rows = {
        "out": [{"form": "silver chloride", "gross": "200", "Ag": "149.9"}],
        "loss": [{"cause": "spill", "gross": "4000.1", "Au": "0.5", "Ag": "0.05"}],
    }
    short = client.post(address, body(rows=rows | {"add": [], "in": [{}]}, scale=scale))
    assert "0.050 g of Ag still to explain" in faults(short)
    rows["loss"].append({"cause": "filter", "gross": "", "Ag": "0.05"})
    data = body(rows=rows | {"add": [], "in": [{}]}, scale=scale)
    number = sent(client, address, data)
    assert Run.objects.get().finished_by.number == number
    assert sent(client, address, data) == number, "sent again, it leads to what it recorded"
    assert client.get(address).status_code == 404, "a finished run has nothing to finish"
    assert "finished" in client.get(f"/plant/run/{run}/").content.decode()


def test_the_vessel_answers_for_another_persons_content(client):
    content = charged(client, *builders.ready())
    other = builders.handed_over(content, people.sam_sampler(), "VESSEL-1")
    answer = client.post(f"/plant/run/{other.run.number}/draw/", draws({"form": "gold sand", "gross": "1", "Au": "1"}))
    assert f"Lot {content.number} is in another person" in faults(answer)
    assert Lot.objects.filter(form="gold sand").count() == 0


def test_who_may_see_and_who_may_draw(client):
    run = charged(client, *builders.ready()).run.number
    for person in people.EVERYBODY:
        user = person()
        browser = people.signed_in(user)
        assert browser.get(f"/plant/run/{run}/").status_code == (403 if person in people.CUSTOMERS else 200), user
        for what in ("draw", "finish"):
            may = user.username == "otto"
            assert browser.get(f"/plant/run/{run}/{what}/").status_code == (200 if may else 403), user
    assert client.get("/plant/run/RUN00-00000/").status_code == 404
