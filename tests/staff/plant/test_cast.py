"""Casting bars over the book: serials, fine metal by weight and fineness, the remainder, sweepings."""

import pytest
from django.utils import timezone

from custody.actions.bar_types import enter_bar_type, set_aside_serials
from custody.calc.bar_types import Making
from custody.models import Bar, Operation
from custody.queries.verify import verify
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db


@pytest.fixture
def client():
    builders.places()
    builders.scale()
    return people.signed_in(people.otto_operator())


def fine_lot(grams=1200):
    """Gold of 999.85 with a little silver: 1.2 kg holds 1199.820 g Au and 0.060 g Ag."""
    (lot,) = builders.ready(grams, where="SHOP", Au=999_850, Ag=50)
    return lot


def bar(serial, gross="1000.000", fineness="999.9", **more):
    return {"serial": serial, "gross": gross, "fineness": fineness, "replaces": ""} | more


def cast(lot, *bars, rest=({"form": "skeleton", "gross": "199.950"},), loss=(), **more):
    rows = {"in": [{"lot": lot.number}], "bar": list(bars), "rest": list(rest), "add": [], "loss": list(loss)}
    return body(rows=rows, **({"metal": "Au", "scale": "BENCH-2", "fineness": "999.9", "first_serial": ""} | more))


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


def test_bars_are_laid_out_with_the_next_serials_and_wait_for_the_scale(client):
    sent(client, "/plant/cast/", cast(fine_lot(), bar("A000041"), loss=SWEPT))
    plan = cast(fine_lot(), {}, lay="1", count="3")
    answer = client.post("/plant/cast/", plan | {"in-0-part": "1,5"})
    rows = answer.context["row_sets"][1].forms[:3]
    assert [[row[name].value() for name in ("serial", "gross", "fineness")] for row in rows] == [
        [serial, None, "999.9"] for serial in ("A000042", "A000043", "A000044")
    ]
    assert 'value="1,5"' in answer.content.decode()
    assert Bar.objects.count() == 1
    unweighed = client.post("/plant/cast/", cast(fine_lot(), bar("A000042", gross="")))
    assert "Its weight is missing" in unweighed.content.decode()


def test_without_a_fineness_it_is_that_of_the_lots_in(client):
    answer = client.post("/plant/cast/", cast(fine_lot(), {}, lay="1", count="1", fineness=""))
    assert answer.context["row_sets"][1].forms[0]["fineness"].value() == "999.85"


def test_laying_out_goes_on_after_the_bars_that_are_there(client):
    answer = client.post("/plant/cast/", cast(fine_lot(), bar("A000001"), lay="1", count="2"))
    assert [row["serial"].value() for row in answer.context["row_sets"][1].shown] == ["A000001", "A000002", "A000003"]
    answer = client.post("/plant/cast/", cast(fine_lot(), bar("A000009"), lay="1", count="2", first_serial="B07"))
    assert [row["serial"].value() for row in answer.context["row_sets"][1].shown] == ["A000009", "B07", "B08"]


def kilobar():
    return enter_bar_type(
        code="AU-1000", name="1 kg gold", metal="Au", nominal_mg=1_000_000, least_mg=1_000_000, most_mg=1_000_050,
        least_ppm=999_800, making=Making.CAST, by=people.mona_manager(),
    )  # fmt: skip


def set_aside(first, last, **more):
    return set_aside_serials(
        mark="HFR", year=timezone.localdate().year, head="K", width=4, first=first, last=last, at=timezone.now(),
        by=people.mona_manager(), **more,
    )  # fmt: skip


def test_a_bar_of_a_type_keeps_its_weighing_and_a_serial_of_the_types_range(client):
    kind = kilobar()
    set_aside(1, 9, bar_type=kind)
    plan = client.post("/plant/cast/", cast(fine_lot(), {}, lay="1", count="1", bar_type=kind.pk))
    assert plan.context["row_sets"][1].forms[0]["serial"].value() == "K0001"
    number = sent(client, "/plant/cast/", cast(fine_lot(), bar("K0001"), loss=SWEPT, bar_type=kind.pk))
    one = Bar.objects.get(lot__created_by__number=number)
    assert one.bar_type == kind
    assert one.lot.weighings.get().scale.code == "BENCH-2"
    assert verify()["I6"].holds


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ({"gross": "999.999"}, "0.001 g too little: a bar is never below its weight. Remelt it"),
        ({"gross": "1000.051"}, "0.001 g more than 1 kg gold may: file it before it is stamped"),
        ({"fineness": "999.7"}, "1 kg gold asks for 999.8"),
        ({"serial": "", "gross": "999"}, "Remelt it"),
        ({"gross": "7000"}, "scale"),
    ],
)
def test_a_bar_outside_its_type_is_told_at_its_row(client, line, sentence):
    data = cast(fine_lot(), bar("K0001") | line, bar_type=kilobar().pk)
    answer = client.post("/plant/cast/", data)
    (errors,) = [row.errors for row in answer.context["row_sets"][1].filled]
    assert sentence in " ".join(said for told in errors.values() for said in told)
    assert not Bar.objects.exists()


def test_too_heavy_it_is_cast_as_a_blank(client):
    kind = kilobar()
    data = cast(
        fine_lot(), bar("", gross="1000.800"), rest=({"form": "skeleton", "gross": "199.200"},), bar_type=kind.pk
    )
    blank, _ = Operation.objects.get(number=sent(client, "/plant/cast/", data)).created_lots.order_by("id")
    assert (blank.form, blank.gross_mg, Bar.objects.count()) == ("blank", 1_000_800, 0)


def test_a_type_of_another_metal_and_a_range_without_free_serials_are_told(client):
    kind = kilobar()
    other = client.post("/plant/cast/", cast(fine_lot(), bar("A1"), bar_type=kind.pk, metal="Ag"))
    assert "1 kg gold is of Au" in other.content.decode()
    set_aside(1, 2)
    few = client.post("/plant/cast/", cast(fine_lot(), {}, lay="1", count="3"))
    assert "Only 2 serials of HFR" in faults(few)


@pytest.mark.parametrize(
    ("plan", "sentence"),
    [
        ({"count": ""}, "give how many"),
        ({"count": "x"}, "give how many"),
        ({"count": "201"}, "give how many"),
        ({"count": "2", "first_serial": "A"}, "does not end in a digit"),
    ],
)
def test_a_plan_that_cannot_be_laid_out_says_why(client, plan, sentence):
    answer = client.post("/plant/cast/", cast(fine_lot(), {}, lay="1", **plan))
    assert sentence in faults(answer)


def test_a_stamped_serial_is_never_stamped_again(client):
    sent(client, "/plant/cast/", cast(fine_lot(), bar("A000001"), loss=SWEPT))
    again = client.post("/plant/cast/", cast(fine_lot(), bar("A000001"), loss=SWEPT))
    assert "Serial A000001 is on a bar already this year" in faults(again)
    assert again.context["row_sets"][1].forms[0].errors["serial"], "it stands at the bar that it is about"
    twice = client.post("/plant/cast/", cast(fine_lot(2200), bar("B1"), bar("b1"), loss=SWEPT))
    assert "stands in bar 1 already" in faults(twice)
    assert Bar.objects.count() == 1


def test_more_gold_in_the_bars_than_came_in_is_told_in_grams(client):
    answer = client.post("/plant/cast/", cast(fine_lot(1000), bar("A000001", gross="1000.1"), rest=()))
    assert "0.150 g of Au more goes out than came in" in faults(answer)
    assert not Bar.objects.exists()


def test_silver_bars(client):
    (lot,) = builders.ready(1010, where="SHOP", Ag=999_000)
    data = cast(lot, bar("S1", fineness="999.0"), rest=({"form": "granules", "gross": "10"},), metal="Ag")
    one, rest = Operation.objects.get(number=sent(client, "/plant/cast/", data)).created_lots.order_by("id")
    assert one.ag_mg == 999_000
    assert rest.ag_mg == 9_990


def test_who_may_cast(client):
    for person in people.EVERYBODY:
        user = person()
        assert people.signed_in(user).get("/plant/cast/").status_code == (200 if user.username == "otto" else 403), user
