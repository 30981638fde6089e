"""The one step form, and its presets, over the book."""

import pytest

from custody.models import Movement, Operation
from custody.terms import Kind
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db

#: 1 kg of doré of 800 Au and 150 Ag melts to 1 kg with a gram of flux, a slag of 0.999 g and a little fume.
MELT_ROWS = {
    "add": [{"what": "flux", "gross": "1"}],
    "out": [
        {"form": "melt", "gross": "999.999", "Au": "799.9", "Ag": "149.95"},
        {"form": "slag", "gross": "0.999", "Au": "0.099", "Ag": "0.05"},
    ],
    "loss": [{"cause": "fume", "gross": "0.002", "Au": "0.001"}],
}


#: Said where a test weighs nothing.
UNWEIGHED = "Weights from the furnace book"


def melt(lot, **changes):
    return body(rows=MELT_ROWS | {"in": [{"lot": lot.number}]} | changes, reason=UNWEIGHED)


def test_a_melt_is_recorded_as_typed():
    (lot,) = builders.ready()
    number = sent(people.signed_in(people.otto_operator()), "/plant/step/melt/", melt(lot))
    operation = Operation.objects.get(number=number)
    assert operation.kind == Kind.MELT
    assert operation.by == people.otto_operator()
    lines = Movement.objects.filter(operation=operation).order_by("line")
    assert [(line.side, line.what, line.gross_mg, line.au_mg, line.ag_mg) for line in lines] == [
        ("in", "", 1_000_000, 800_000, 150_000),
        ("add", "flux", 1_000, 0, 0),
        ("out", "", 999_999, 799_900, 149_950),
        ("out", "", 999, 99, 50),
        ("loss", "fume", 2, 1, 0),
    ]
    assert builders.fresh(lot.number).gross_mg == 0


def test_a_part_goes_in_and_the_rest_stays_under_its_number():
    (lot,) = builders.ready()
    rows = {
        "in": [{"lot": lot.number.lower(), "part": "250 g"}],
        "out": [{"form": "granules", "gross": "250", "Au": "200", "Ag": "37.5", "place": "SHOP"}],
    }
    builders.places()
    data = body(rows=rows | {"add": [], "loss": []}, reason=UNWEIGHED)
    sent(people.signed_in(people.otto_operator()), "/plant/step/granulate/", data)
    left = builders.fresh(lot.number)
    assert left.columns_mg == (750_000, 600_000, 112_500, 0, 0, 0)


def test_what_does_not_balance_is_refused_with_everything_kept():
    (lot,) = builders.ready()
    data = melt(lot) | {"reason": "first pour", "out-0-Au": "799.8"}
    answer = people.signed_in(people.otto_operator()).post("/plant/step/melt/", data)
    assert answer.status_code == 200
    assert "0.100 g of Au still to explain" in faults(answer)
    page = answer.content.decode()
    for typed in ("799.8", "149.95", "0.999", "first pour", lot.number):
        assert typed in page
    assert not Operation.objects.filter(kind=Kind.MELT).exists()


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("out-0-gross", "999,999", "has a comma"),
        ("out-0-gross", "-1", "is negative"),
        ("out-0-gross", "0", "is zero"),
        ("out-0-gross", "NaN", "is not a number"),
        ("out-0-gross", "1e400", "exponent"),
        ("out-0-gross", "9" * 1_000_000, "1000000 characters long"),
        ("out-0-Au", "1000.1", "exceed its gross|weigh more than its gross|more goes out"),
        ("in-0-lot", "L-NONE", "There is no lot L-NONE"),
        ("loss-0-cause", "effluent", "Select a valid choice"),
        ("add-0-what", "acid", "Select a valid choice"),
        ("at", "2999-01-01T00:00", "in the future"),
        ("request_key", "x", "lost its key"),
    ],
)
def test_bad_input_is_answered_by_a_sentence_and_recorded_by_nobody(field, typed, sentence):
    (lot,) = builders.ready()
    answer = people.signed_in(people.otto_operator()).post("/plant/step/melt/", melt(lot) | {field: typed})
    assert answer.status_code == 200
    assert any(part in faults(answer) for part in sentence.split("|")), faults(answer)
    assert not Operation.objects.filter(kind=Kind.MELT).exists()


def test_the_same_lot_twice_and_a_lot_in_other_hands_are_told_at_their_row():
    one, two = builders.ready(100, 100)
    client = people.signed_in(people.otto_operator())
    twice = client.post("/plant/step/melt/", melt(one, **{"in": [{"lot": one.number}, {"lot": one.number}]}))
    assert "stands in lot in 1 already" in faults(twice)
    builders.handed_over(two, people.vera_vault(), "VAULT")
    other = client.post("/plant/step/melt/", melt(one, **{"in": [{"lot": one.number}, {"lot": two.number}]}))
    assert f"Lot in 2: Lot {two.number} is in another person" in faults(other)


def test_a_form_sent_twice_is_one_melt():
    (lot,) = builders.ready()
    client = people.signed_in(people.otto_operator())
    data = melt(lot)
    assert sent(client, "/plant/step/melt/", data) == sent(client, "/plant/step/melt/", data)
    assert Operation.objects.filter(kind=Kind.MELT).count() == 1


def test_past_the_tolerance_a_manager_signs_beside_the_operator():
    (lot,) = builders.ready()
    client = people.signed_in(people.otto_operator())
    lost = melt(lot) | {"out-0-gross": "979.999", "out-0-Au": "780", "loss-0-gross": "20.002", "loss-0-Au": "19.901"}
    asked = client.post("/plant/step/melt/", lost)
    assert "past the tolerance of this step (melt)" in faults(asked)
    assert 'name="countersign_password"' in asked.content.decode()
    signed = lost | {
        "reason": "crucible broke",
        "countersigner": "mona",
        "countersign_password": "wrong",
        "countersign_meaning": "seen, swept and weighed together",
    }
    wrong = client.post("/plant/step/melt/", signed)
    assert "name or password is not right" in faults(wrong)
    assert "wrong" not in wrong.content.decode().split('name="countersign_password"')[1].split(">")[0]
    people.anna_assayer()
    powerless = client.post(
        "/plant/step/melt/", signed | {"countersigner": "anna", "countersign_password": people.PASSWORD}
    )
    assert "may not countersign" in faults(powerless)
    number = sent(client, "/plant/step/melt/", signed | {"countersign_password": people.PASSWORD})
    operation = Operation.objects.get(number=number)
    assert operation.over_tolerance
    assert operation.countersigned_by == people.mona_manager()
    assert operation.countersign_meaning == "seen, swept and weighed together"


def test_a_batch_lays_its_products_out_and_ignores_those_that_did_not_come():
    (lot,) = builders.ready()
    client = people.signed_in(people.otto_operator())
    page = client.get("/plant/batch/").content.decode()
    for form in ("gold sand", "silver chloride", "residue", "solution"):
        assert f'<option value="{form}" selected>' in page
    assert "Safety: strong acids, chlorine and nitrogen oxides" in page
    rows = {
        "in": [{"lot": lot.number}],
        "add": [{"what": "acid", "gross": "4000"}, {"what": "water", "gross": ""}],
        "out": [
            {"form": "gold sand", "gross": "800.5", "Au": "799.5"},
            {"form": "silver chloride", "gross": "199", "Ag": "149.5"},
            {"form": "residue", "gross": ""},
            {"form": "solution", "gross": "3900", "Au": "0.4", "Ag": "0.3"},
        ],
        "loss": [{"cause": "fume", "gross": "100.5"}, {"cause": "filter", "gross": "", "Au": "0.1", "Ag": "0.2"}],
    }
    number = sent(client, "/plant/batch/", body(rows=rows, reason=UNWEIGHED))
    made = Operation.objects.get(number=number).created_lots.order_by("id")
    assert [lot.form for lot in made] == ["gold sand", "silver chloride", "solution"]


def test_looking_up_keeps_what_was_typed_and_says_what_the_parts_hold():
    (lot,) = builders.ready()
    client = people.signed_in(people.otto_operator())
    data = melt(lot, **{"in": [{"lot": lot.number, "part": "100"}, {"lot": "L-NONE"}]}) | {
        "look": "1",
        "out-0-gross": "1,5",
    }
    answer = client.post("/plant/step/melt/", data)
    page = answer.content.decode()
    assert 'class="errors"' not in page
    assert 'value="1,5"' in page
    assert "There is no lot L-NONE" in page
    assert answer.context["total_in"] == (100_000, 80_000, 15_000, 0, 0, 0)
    assert 'data-metal="Au" data-mg="800000"' in page
    assert not Operation.objects.filter(kind=Kind.MELT).exists()


def test_the_book_of_a_lot_for_the_page():
    (lot,) = builders.ready()
    client = people.signed_in(people.otto_operator())
    book = client.get("/plant/lot-book/", {"code": f" {lot.number.lower()} "}).json()
    assert book["number"] == lot.number
    assert book["mg"]["Au"] == "800000"
    assert "in your custody" in book["words"]
    assert client.get("/plant/lot-book/", {"code": "L-NONE"}).json()["mg"] == {}
    assert people.signed_in(people.stranger()).get("/plant/lot-book/", {"code": lot.number}).status_code == 403


@pytest.mark.parametrize(
    ("address", "who"),
    [
        ("/plant/step/melt/", {"sam", "otto"}),
        ("/plant/step/dissolve/", {"otto"}),
        ("/plant/step/recycle/", {"otto"}),
        ("/plant/batch/", {"otto"}),
        ("/plant/divide/", {"fiona", "sam", "anna", "otto", "vera"}),
    ],
)
def test_only_who_may_record_a_step_sees_its_page(address, who):
    for person in people.EVERYBODY:
        user = person()
        answer = people.signed_in(user).get(address)
        assert (answer.status_code == 200) == (user.username in who), user
        assert answer.status_code in (200, 403)


def test_no_step_of_that_name():
    assert people.signed_in(people.otto_operator()).get("/plant/step/receive/").status_code == 404


def test_every_step_has_its_page_with_its_own_causes():
    client = people.signed_in(people.otto_operator())
    builders.places()
    for slug in ("inquart", "cement-silver", "electrolyse-gold", "recycle"):
        page = client.get(f"/plant/step/{slug}/").content.decode()
        assert 'name="loss-0-cause"' in page, slug
    assert ">effluent<" in client.get("/plant/step/neutralise/").content.decode()
    assert ">effluent<" not in client.get("/plant/step/melt/").content.decode()


def test_a_key_of_its_own_for_every_page():
    client = people.signed_in(people.otto_operator())
    keys = {client.get("/plant/step/melt/").context["form"]["request_key"].value() for _ in range(2)}
    assert len(keys) == 2
