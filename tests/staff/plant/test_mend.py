"""Dividing a lot, and correcting the book by a countersigned difference."""

import pytest

from custody.models import Operation
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db


def division(lot, *grams, lost=()):
    rows = {"in": [{"lot": lot.number}], "out": [{"gross": each} for each in grams], "loss": list(lost)}
    return body(rows=rows)


def test_parts_carry_their_share_and_the_rest_keeps_the_number():
    (lot,) = builders.ready(1000, Au=333_333, Ag=333_333)
    client = people.signed_in(people.otto_operator())
    lost = [{"cause": "sweepings", "gross": "0.001"}]
    number = sent(client, "/plant/divide/", division(lot, "300", "200", lost=lost))
    parts = Operation.objects.get(number=number).created_lots.order_by("id")
    assert [(part.form, part.columns_mg[:3]) for part in parts] == [
        ("dore", (300_000, 100_000, 100_000)),
        ("dore", (200_000, 66_667, 66_667)),
    ]
    left = builders.fresh(lot.number)
    assert left.gross_mg == 499_999
    assert sum(part.au_mg for part in parts) + left.au_mg in (333_333, 333_332)


def test_a_lot_divided_whole_is_gone_and_an_unvalued_one_needs_no_metals():
    (lot,) = builders.received()
    builders.handed_over(lot, people.otto_operator())
    client = people.signed_in(people.otto_operator())
    sent(client, "/plant/divide/", division(lot, "600", "400"))
    assert builders.fresh(lot.number).gross_mg == 0


def test_no_more_than_there_is():
    (lot,) = builders.ready(100)
    answer = people.signed_in(people.otto_operator()).post("/plant/divide/", division(lot, "60", "41"))
    assert "less than asked" in faults(answer)
    nobody = people.signed_in(people.otto_operator()).post(
        "/plant/divide/", body(rows={"in": [{"lot": "L-0"}], "out": [{"gross": "1"}], "loss": []})
    )
    assert "There is no lot L-0" in faults(nobody)


def correction(lot, **changes):
    measured = {"gross": "999.9", "Au": "799.8", "Ag": "150"}
    data = body(
        rows={"in": [{}], "out": [measured]},
        seen=str(lot.last_movement),
        reason="scale 2 was read wrong",
        countersigner="mona",
        countersign_password=people.PASSWORD,
        countersign_meaning="weighed again together",
    )
    return data | changes


def test_a_difference_is_posted_with_its_reason_and_its_second_signature():
    (lot,) = builders.ready()
    client = people.signed_in(people.matt_accountant())
    page = client.get(f"/plant/correct/{lot.number}/").content.decode()
    assert 'value="800.000"' in page, "it begins with the book"
    assert 'name="countersign_password"' in page
    number = sent(client, f"/plant/correct/{lot.number}/", correction(lot))
    operation = Operation.objects.get(number=number)
    assert (operation.countersigned_by, operation.reason) == (people.mona_manager(), "scale 2 was read wrong")
    assert builders.fresh(lot.number).columns_mg == (999_900, 799_800, 150_000, 0, 0, 0)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"reason": " "}, "Write the reason"),
        ({"countersigner": "", "countersign_password": "", "countersign_meaning": ""}, "a manager countersigns"),
        ({"countersign_password": "guess"}, "name or password is not right"),
        ({"seen": "1"}, "Somebody worked this lot"),
        ({"out-0-Au": "1000"}, "weigh more than its gross"),
    ],
)
def test_a_difference_without_its_papers_is_refused(changes, sentence):
    (lot,) = builders.ready()
    answer = people.signed_in(people.matt_accountant()).post(
        f"/plant/correct/{lot.number}/", correction(lot, **changes)
    )
    assert sentence in faults(answer)
    assert not Operation.objects.filter(kind="difference").exists()


def test_nobody_countersigns_for_himself():
    (lot,) = builders.ready()
    answer = people.signed_in(people.mona_manager()).post(f"/plant/correct/{lot.number}/", correction(lot))
    assert "Nobody countersigns for himself" in faults(answer)


def test_who_may_correct():
    (lot,) = builders.received()
    for person in people.EVERYBODY:
        user = person()
        may = user.username in ("matt", "mona")
        answer = people.signed_in(user).get(f"/plant/correct/{lot.number}/")
        assert answer.status_code == (200 if may else 403), user
    assert people.signed_in(people.matt_accountant()).get("/plant/correct/L-0/").status_code == 404
