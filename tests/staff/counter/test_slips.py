"""Paper slips: printed with numbers, entered late once, or spoiled; and the register says what became of each."""

from datetime import timedelta

import pytest
from django.utils import timezone

from custody.actions.slips import spoil_slip
from custody.errors import SlipRule
from custody.models import Document, Operation, Slip, Weighing
from custody.terms import DocumentKind
from tests import builders, counter, people
from tests.documents import reading
from tests.staff.counter.test_counter import PARCEL
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def house():
    builders.places()
    people.party("P-01")
    builders.scale("BENCH-2", checked=False)


def minutes_ago(minutes=2):
    """A full minute, as a slip has it; the scale checked in that minute."""
    at = (timezone.now() - timedelta(minutes=minutes)).replace(second=0, microsecond=0)
    builders.scale("BENCH-2", at=at)
    return at


def printed(how_many=2):
    return people.signed_in(people.fiona_frontdesk()).post("/counter/slips/", body(how_many=how_many))


def entry(slip, at):
    told = {"party": "P-01", "delivered_by": "Mara Quill", "basis": "toll", "slip": slip}
    told |= {"place": str(builders.place().pk), "at": timezone.localtime(at).strftime("%Y-%m-%dT%H:%M")}
    return body(rows={"parcel": [PARCEL]}, **told)


def entered(slip, at):
    return people.signed_in(people.fiona_frontdesk()).post("/counter/", entry(slip, at))


def test_a_form_sent_twice_prints_once():
    said = body(how_many=2)
    client = people.signed_in(people.fiona_frontdesk())
    addresses = {client.post("/counter/slips/", said).url for _ in range(2)}
    assert len(addresses) == 1
    assert (Slip.objects.count(), Document.objects.filter(kind=DocumentKind.SLIPS).count()) == (2, 1)


def test_blank_slips_are_printed_each_with_a_number_of_its_own():
    answer = printed(3)
    paper = Document.objects.get(kind=DocumentKind.SLIPS)
    numbers = [slip.number for slip in Slip.objects.all()]
    assert answer.url == f"/counter/slips/{numbers[0]}/"  # a page: a download would leave the entry standing
    address = f"/papers/{paper.pk}/"
    page = people.signed_in(people.fiona_frontdesk()).get(answer.url).content.decode()
    assert address in page
    assert len(set(numbers)) == 3
    assert all(number.startswith("SL") for number in numbers)
    content = b"".join(people.signed_in(people.fiona_frontdesk()).get(address))
    assert reading.page_count(content) == 3
    for page, number in enumerate(numbers, start=1):
        assert reading.codes(content, page=page) == [number]
        text = reading.text(content, page=page)
        assert text.count(number) >= 2  # the slip's and the customer's part
        for blank in ("Gross g", "Tare g", "Bag or seal no.", "Declared", "Checked at, by", "battery"):
            assert blank in text


@pytest.mark.parametrize(
    ("how_many", "sentence"),
    [("0", "zero"), ("51", "Print 1 to 50"), ("many", "number of slips"), ("", "Blank slips is missing.")],
)
def test_so_many_slips_are_not_printed(how_many, sentence):
    assert sentence in faults(printed(how_many))
    assert not Slip.objects.exists()


def test_a_slip_is_entered_late_with_the_time_on_it_and_its_scale_checked_that_day():
    slip = counter.slip()
    power_cut = (timezone.now() - timedelta(days=2)).replace(second=0, microsecond=0)
    client = people.signed_in(people.fiona_frontdesk())
    assert f"/counter/?slip={slip.number}" in client.get(f"/counter/slips/{slip.number}/").content.decode()
    page = client.get(f"/counter/?slip={slip.number}").content.decode()
    assert f'value="{slip.number}"' in page
    assert "time that is written on it" in faults(client.post("/counter/", body(
        rows={"parcel": [PARCEL]}, party="P-01", delivered_by="Mara Quill", basis="toll", slip=slip.number,
        place=str(builders.place().pk),
    )))  # fmt: skip
    assert "checked" in faults(entered(slip.number, power_cut))
    builders.scale("BENCH-2", at=power_cut)  # the check is entered late, too
    answer = entered(slip.number, power_cut)
    assert answer.status_code == 302, faults(answer)
    receipt = Operation.objects.get()
    assert (receipt.delivery.slip, receipt.at.date()) == (slip, power_cut.date())
    assert Weighing.objects.get().at == receipt.at
    register = client.get("/counter/slips/").content.decode()
    assert "entered" in register
    assert receipt.number in register


def test_a_slip_was_printed_before_it_was_written_on():
    at = minutes_ago()
    late, same_minute = (
        Slip.objects.create(
            number=number, printed_at=at + timedelta(seconds=seconds), printed_by=people.fiona_frontdesk()
        )
        for number, seconds in (("SL26-90003", 60), ("SL26-90004", 59))
    )
    assert "was not printed by then. Check its number and time." in faults(entered(late.number, at))
    assert not Operation.objects.exists()
    assert entered(same_minute.number, at).status_code == 302


def test_an_entered_slip_is_neither_entered_again_nor_spoiled():
    slip = counter.slip()
    at = minutes_ago()
    assert entered(slip.number, at).status_code == 302
    assert f"Slip {slip.number} is not open" in faults(entered(slip.number, at))
    client = people.signed_in(people.fiona_frontdesk())
    answer = client.post(f"/counter/slips/{slip.number}/", body(reason="Torn"))
    assert f"Slip {slip.number} is not open" in faults(answer)
    assert Operation.objects.count() == 1


def test_a_spoiled_slip_is_not_entered_nor_spoiled_again():
    slip = counter.slip()
    client = people.signed_in(people.fiona_frontdesk())
    assert "Reason is missing." in faults(client.post(f"/counter/slips/{slip.number}/", body(reason="")))
    assert client.post(f"/counter/slips/{slip.number}/", body(reason="Torn in two")).status_code == 302
    assert "Torn in two" in client.get("/counter/slips/").content.decode()
    assert f"Slip {slip.number} is not open" in faults(entered(slip.number, minutes_ago()))
    with pytest.raises(SlipRule):
        spoil_slip(slip=slip, reason="Lost", at=timezone.now(), by=people.fiona_frontdesk())


def test_an_unknown_slip_is_refused_and_everything_kept():
    answer = entered("SL26-77777", minutes_ago())
    assert "Slip SL26-77777 is not open" in faults(answer)
    assert 'value="SL26-77777"' in answer.content.decode()
    assert people.signed_in(people.fiona_frontdesk()).get("/counter/slips/SL26-77777/").status_code == 404


def test_the_register_asks_as_much_for_three_as_for_one(django_assert_num_queries):
    client = people.signed_in(people.adam_auditor())

    def queries():
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as captured:
            client.get("/counter/slips/")
        return len(captured)

    counter.slip("SL26-00011")
    first = queries()
    counter.spoiled("SL26-00012")
    counter.bought(said=counter.Said(**{**_known(), "slip": counter.slip("SL26-00013").number}))
    assert queries() == first


def _known():
    return {"identity_kind": counter.KNOWN.identity_kind, "identity_number": "X1"}


def test_only_the_front_desk_prints_and_spoils():
    slip = counter.slip()
    auditor = people.signed_in(people.adam_auditor())
    page = auditor.get(f"/counter/slips/{slip.number}/").content.decode()
    assert "Enter this slip" not in page
    assert "Spoil this slip" not in page
    auditor.post("/counter/slips/", body(how_many="3"))
    auditor.post(f"/counter/slips/{slip.number}/", body(reason="Torn"))
    assert Slip.objects.count() == 1
    assert not hasattr(Slip.objects.get(), "spoiled")
    for who in people.CUSTOMERS:
        assert people.signed_in(who()).get("/counter/slips/").status_code == 403
