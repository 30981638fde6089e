"""Casting bars over the book: serials, fine metal by weight and fineness, the remainder, sweepings."""

import pytest

from custody.models import Bar, Operation
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db


@pytest.fixture
def client():
    builders.places()
    return people.signed_in(people.otto_operator())


def fine_lot(grams=1200):
    """Gold of 999.85 with a little silver: 1.2 kg holds 1199.820 g Au and 0.060 g Ag."""
    (lot,) = builders.ready(grams, where="SHOP", Au=999_850, Ag=50)
    return lot


def bar(serial, weighed="1000.000", fineness="999.9", **more):
    return {"serial": serial, "nominal": "1000", "weighed": weighed, "fineness": fineness, "replaces": ""} | more


def cast(lot, *bars, rest=({"form": "skeleton", "gross": "199.950"},), loss=(), **more):
    rows = {"in": [{"lot": lot.number}], "bar": list(bars), "rest": list(rest), "add": [], "loss": list(loss)}
    return body(rows=rows, **({"metal": "Au", "fineness": "999.9", "first_serial": ""} | more))


SWEPT = ({"cause": "sweepings", "gross": "0.050", "Au": "0.050"},)


def test_a_bar_holds_its_weight_times_its_fineness_and_the_remainder_the_rest(client):
    number = sent(client, "/plant/cast/", cast(fine_lot(), bar("A000041"), loss=SWEPT))
    one, rest = Operation.objects.get(number=number).created_lots.order_by("id")
    assert one.columns_mg == (1_000_000, 999_900, 0, 0, 0, 0)
    assert (one.bar.mark, one.bar.serial) == ("HFR", "A000041")
    # 1199.820 - 999.900 - 0.050 g of gold, and all the silver.
    assert (rest.form, rest.columns_mg) == ("skeleton", (199_950, 199_870, 60, 0, 0, 0))


def test_a_remainder_too_small_for_the_other_metals_leaves_them_in_the_bars(client):
    """1010 g of 999.5 gold hold 0.505 g of silver: 10 g of it have no room for that beside their gold."""
    (lot,) = builders.ready(1010, where="SHOP", Au=999_500, Ag=500)
    data = cast(lot, bar("A000001", fineness="999.5"), rest=({"form": "skeleton", "gross": "10"},))
    one, rest = Operation.objects.get(number=sent(client, "/plant/cast/", data)).created_lots.order_by("id")
    assert one.columns_mg == (1_000_000, 999_500, 500, 0, 0, 0)
    assert rest.columns_mg == (10_000, 9_995, 5, 0, 0, 0)


def test_gold_finer_than_the_bars_say_is_never_hidden_in_the_remainder(client):
    (lot,) = builders.ready(1010, where="SHOP", Au=999_990)
    answer = client.post("/plant/cast/", cast(lot, bar("A000001"), rest=({"form": "skeleton", "gross": "10"},)))
    assert "The remainder of 10.000 g would have to hold 10.090 g of metal" in faults(answer)


def test_bars_are_laid_out_with_serials_after_the_highest_of_the_year(client):
    sent(client, "/plant/cast/", cast(fine_lot(), bar("A000041"), loss=SWEPT))
    page = client.get("/plant/cast/")
    assert page.context["form"]["first_serial"].value() == "A000042"
    plan = cast(fine_lot(), {}, lay="1", count="3", nominal="100", first_serial="A000042")
    answer = client.post("/plant/cast/", plan | {"in-0-part": "1,5"})
    rows = answer.context["row_sets"][1].forms[:3]
    assert [[row[name].value() for name in ("serial", "nominal", "weighed", "fineness")] for row in rows] == [
        [serial, "100.000", "100.000", "999.9"] for serial in ("A000042", "A000043", "A000044")
    ]
    assert 'value="1,5"' in answer.content.decode()
    assert Bar.objects.count() == 1


def test_laying_out_goes_on_after_the_bars_that_are_there(client):
    answer = client.post(
        "/plant/cast/", cast(fine_lot(), bar("A000009"), lay="1", count="2", nominal="50 g", first_serial="A000010")
    )
    assert [row["serial"].value() for row in answer.context["row_sets"][1].shown] == ["A000009", "A000010", "A000011"]
    assert answer.context["form"]["first_serial"].value() == "A000012"


@pytest.mark.parametrize(
    ("plan", "sentence"),
    [
        ({"count": "", "nominal": "100"}, "give how many"),
        ({"count": "2", "nominal": "1,5"}, "give how many"),
        ({"count": "201", "nominal": "1"}, "give how many"),
        ({"count": "2", "nominal": "1", "first_serial": "A"}, "does not end in a digit"),
    ],
)
def test_a_plan_that_cannot_be_laid_out_says_why(client, plan, sentence):
    answer = client.post("/plant/cast/", cast(fine_lot(), {}, lay="1", **plan))
    assert sentence in faults(answer)


def test_a_stamped_serial_is_never_stamped_again(client):
    sent(client, "/plant/cast/", cast(fine_lot(), bar("A000001"), loss=SWEPT))
    again = client.post("/plant/cast/", cast(fine_lot(), bar("A000001"), loss=SWEPT))
    assert "stamped already this year" in faults(again)
    twice = client.post("/plant/cast/", cast(fine_lot(2200), bar("B1"), bar("b1"), loss=SWEPT))
    assert "stands in bar 1 already" in faults(twice)
    assert Bar.objects.count() == 1


def test_more_gold_in_the_bars_than_came_in_is_told_in_grams(client):
    answer = client.post("/plant/cast/", cast(fine_lot(1000), bar("A000001", weighed="1000.1"), rest=()))
    assert "0.150 g of Au more goes out than came in" in faults(answer)
    assert not Bar.objects.exists()


def test_silver_bars(client):
    (lot,) = builders.ready(1001, where="SHOP", Ag=999_000)
    data = cast(lot, bar("S1", fineness="999.0"), rest=({"form": "granules", "gross": "1"},), metal="Ag")
    one, rest = Operation.objects.get(number=sent(client, "/plant/cast/", data)).created_lots.order_by("id")
    assert one.ag_mg == 999_000
    assert rest.ag_mg == 999


def test_who_may_cast(client):
    for person in people.EVERYBODY:
        user = person()
        assert people.signed_in(user).get("/plant/cast/").status_code == (200 if user.username == "otto" else 403), user
