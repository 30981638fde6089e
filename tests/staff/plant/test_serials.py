"""Serials at the desk: ranges set aside, every serial with its state, the next free one."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.bar_types import set_aside_serials, tell_serials
from custody.actions.move import dispatch
from custody.actions.work import Make, Take, record_step, reverse
from custody.models import Operation, SerialEvent, SerialRange
from custody.queries import serials as queries
from custody.terms import Against, Form, Kind, SerialFate
from tests import builders, people

pytestmark = pytest.mark.django_db
PAGE = "/plant/bars/serials/"


@pytest.fixture
def manager():
    builders.places()
    return people.signed_in(people.mona_manager())


@pytest.fixture
def operator():
    builders.places()
    return people.signed_in(people.otto_operator())


def this_year():
    return timezone.localdate().year


def aside(first=1, last=20, head="A", **more):
    builders.refinery()
    return set_aside_serials(
        mark="HFR", year=this_year(), head=head, width=6, first=first, last=last, at=timezone.now(),
        by=people.mona_manager(), **more,
    )  # fmt: skip


def told(fate, *serials, reason="Mint 2"):
    tell_serials(
        mark="HFR",
        year=this_year(),
        serials=serials,
        fate=fate,
        reason=reason,
        at=timezone.now(),
        by=people.otto_operator(),
    )


def sent(client, **changes):
    said = {"request_key": str(uuid4()), "year": str(this_year()), "first": "A000001", "count": "500", "bar_type": ""}
    return client.post(PAGE, said | changes)


def test_a_range_is_set_aside_once(manager):
    key = str(uuid4())
    for _ in range(2):
        assert sent(manager, request_key=key).status_code == 302
    made = SerialRange.objects.get()
    assert (made.mark, made.head, made.width, made.first, made.last) == ("HFR", "A", 6, 1, 500)
    assert "shares serials with an earlier one" in sent(manager, first="A000500").content.decode()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"first": "A"}, "ends in digits"),
        ({"first": ""}, "First serial is missing"),
        ({"count": "0"}, "number"),
        ({"count": "9999999"}, "more than 1"),
        ({"first": "A9", "count": "2"}, "fit into 1 digits"),
        ({"year": "26"}, "2000"),
    ],
)
def test_what_is_no_range_is_said_at_its_field(manager, changes, sentence):
    answer = sent(manager, **changes)
    assert answer.status_code == 200
    assert sentence in answer.content.decode()
    assert not SerialRange.objects.exists()


def tell(client, one, **changes):
    said = {"request_key": str(uuid4()), "fate": "reserved", "serial": "A000003", "count": "", "reason": "Order 7"}
    return client.post(f"{PAGE}{one.pk}/", said | changes)


def test_a_serial_that_no_bar_bears_is_found_by_scanning_it(operator):
    one = aside()
    found = f"{PAGE}{one.pk}/?serial=A000003"
    for code in ("A000003", "a000003", f"HFR A000003 {this_year()}"):
        assert operator.get("/find/", {"code": code}).url == found
    for code in ("A000021", "A003", "B000003", "A000003 HFR", f"HFR A000003 {this_year() - 1}"):
        assert operator.get("/find/", {"code": code}).status_code == 200, "it lies in no range"
    page = operator.get(found)
    assert [row.record.serial for row in page.context["table"].rows] == ["A000003"]
    assert page.context["form"]["serial"].value() == "A000003"
    assert list(operator.get(f"{PAGE}{one.pk}/?serial=B7").context["table"].rows) == []


def test_reserved_freed_and_spoiled(operator):
    one = aside()
    assert tell(operator, one, count="3").status_code == 302
    assert tell(operator, one, serial="A000004", fate="freed").status_code == 302
    assert tell(operator, one, serial="A000005", fate="spoiled", reason="Struck askew").status_code == 302
    rows = {row.serial: (row.state, row.words) for row in queries.Register(one).page("", 0, 6)}
    assert rows == {
        "A000001": ("free", ""), "A000002": ("free", ""), "A000003": ("reserved", "for Order 7, by Otto Flux"),
        "A000004": ("free", ""), "A000005": ("spoiled", "Struck askew, by Otto Flux"), "A000006": ("free", ""),
    }  # fmt: skip
    again = tell(operator, one, serial="A000005", fate="freed")
    assert "was spoiled and is never used" in again.content.decode()
    assert "lies in no range" in tell(operator, one, serial="A000021").content.decode()
    key = str(uuid4())
    for _ in range(2):
        tell(operator, one, serial="A000009", request_key=key)
    assert SerialEvent.objects.filter(serial="A000009").count() == 1


def test_next_serials_leave_out_what_is_not_free():
    one = aside(last=6)
    told(SerialFate.RESERVED, "A000001")
    told(SerialFate.SPOILED, "A000003")
    builders.bar("A000002", grams=10)
    otto = people.otto_operator()
    assert queries.next_serials(otto, this_year(), "HFR", 2) == ["A000004", "A000005"]
    assert queries.next_serials(otto, this_year(), "HFR", 9) == ["A000004", "A000005", "A000006"]
    assert queries.Register(one).counts()["free"] == 3


def test_without_a_range_they_follow_the_highest():
    builders.places()
    otto = people.otto_operator()
    assert queries.next_serials(otto, this_year(), "HFR", 2) == ["A000001", "A000002"]
    builders.bar("A000041", grams=10)
    assert queries.next_serials(otto, this_year(), "HFR", 1) == ["A000042"]
    assert queries.next_serials(otto, this_year() + 1, "HFR", 1) == ["A000001"]


def test_every_end_of_a_bar_is_found_in_the_register():
    one = aside()
    otto, vera = people.otto_operator(), people.vera_vault()
    (left,) = [builders.handed_over(builders.bar("A000004", grams=10), vera, "VAULT")]
    gone = dispatch(
        lots=[left.number], party=builders.party(), at=timezone.now(), by=vera, collected=builders.COLLECTED,
        against=Against.OWN,
    )  # fmt: skip
    builders.bar("A000001", grams=10)
    melted = builders.bar("A000002", grams=10)
    remelt = record_step(
        kind=Kind.RECYCLE, inputs=[Take(melted.number)], outputs=[Make(Form.MELT, 10_000, {"Au": melted.au_mg})],
        at=timezone.now(), by=otto,
    )  # fmt: skip
    wrong = builders.bar("A000003", grams=10)
    undone = reverse(operation=wrong.created_by, reason="Wrong weight", at=timezone.now(), by=otto)
    rows = {row.serial: row for row in queries.Register(one).page("", 0, 20)}
    assert (rows["A000001"].state, rows["A000001"].words) == ("stamped", "at Bar workshop")
    assert (rows["A000002"].state, rows["A000002"].words) == ("remelted", f"went into recycle {remelt.number}")
    assert (rows["A000003"].state, rows["A000003"].words) == ("cancelled", f"by {undone.number}")
    metal = builders.fresh(Operation.objects.get(pk=undone.id).reverses.movements.get(side="in").lot.number)
    record_step(
        kind=Kind.CAST, inputs=[Take(metal.number)], at=timezone.now(), by=otto,
        outputs=[Make(Form.BAR, 10_000, {"Au": metal.au_mg}, serial="A000003", replaces=wrong.number)],
    )  # fmt: skip
    (again,) = queries.Register(one).page("stamped", 1, 5)
    assert again.serial == "A000003"
    assert f"replaces lot {wrong.number}, cancelled" in again.words
    assert (rows["A000004"].state, rows["A000004"].words) == (
        "dispatched", f"{gone.number}, to Tern Valley Placer Cooperative"
    )  # fmt: skip
    builders.received(builders.parcel(10_000, form=Form.BAR, returned_from=left.number))
    (back,) = queries.Register(one).page("returned", 0, 5)
    assert back.serial == "A000004"


def test_counts_add_up_and_pages_follow_in_order(operator):
    one = aside(last=120)
    told(SerialFate.RESERVED, *(f"A{n:06d}" for n in range(1, 8)))
    builders.bar("A000060", grams=10)
    counts = queries.Register(one).counts()
    assert (counts["reserved"], counts["stamped"], counts["free"], sum(counts.values())) == (7, 1, 112, 120)
    page = operator.get(f"{PAGE}{one.pk}/?page=2").content.decode()
    assert "A000051" in page
    assert "A000050" not in page
    assert "A000100" in page
    free = operator.get(f"{PAGE}{one.pk}/?state=free").content.decode()
    assert "A000008" in free
    assert "A000007" not in free
    assert "A000061" in operator.get(f"{PAGE}{one.pk}/?state=free&page=2").content.decode()
    assert "nothing" in operator.get(f"{PAGE}{one.pk}/?state=spoiled").content.decode()


def test_the_csv_has_every_serial(operator):
    one = aside(last=1005)
    told(SerialFate.SPOILED, "A001002", reason='Fell, "twice"')
    answer = operator.get(f"{PAGE}{one.pk}/csv/")
    lines = b"".join(answer.streaming_content).decode().splitlines()
    assert len(lines) == 1006
    assert lines[1002] == f'HFR,{this_year()},A001002,spoiled,,"Fell, ""twice"", by Otto Flux"'
    spoiled = operator.get(f"{PAGE}{one.pk}/csv/?state=spoiled")
    assert len(b"".join(spoiled.streaming_content).decode().splitlines()) == 2


def test_a_stray_among_the_serials_of_a_range_is_none_of_its():
    builders.places()
    builders.bar("A00000X", grams=10)
    assert queries.Register(aside()).counts()["free"] == 20


def test_who_may(manager):
    one = aside()
    for person in people.EVERYBODY:
        user = person()
        client, reads = people.signed_in(user), person in people.STAFF
        for address in (PAGE, f"{PAGE}{one.pk}/", f"{PAGE}{one.pk}/csv/"):
            assert client.get(address).status_code == (200 if reads else 403), user
        assert sent(client, first=f"B{user.pk:05d}1", count="1").status_code == (
            302 if user.username == "mona" else 403
        )
        assert tell(client, one).status_code == (302 if user.username == "otto" else 403), user


def test_more_serials_ask_no_more(operator):
    def asked(address):
        with CaptureQueriesContext(connection) as captured:
            operator.get(address)
        return len(captured)

    one = aside()
    told(SerialFate.RESERVED, "A000001")
    first = asked(f"{PAGE}{one.pk}/"), asked(PAGE)
    told(SerialFate.RESERVED, "A000002", "A000003")
    aside(head="B")
    aside(head="C")
    assert (asked(f"{PAGE}{one.pk}/"), asked(PAGE)) == first
