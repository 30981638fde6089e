"""A count by scan: blind, then told against the book, signed by two; its page, sheet and CSV."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.boxes import pack_box
from custody.actions.issue_count import issue_count_sheet
from custody.models import Document, StockCount
from custody.queries import papers
from custody.queries.verify import verify
from tests import builders, people
from tests.documents import reading
from tests.staff.vault.test_access import cage_open, words

pytestmark = pytest.mark.django_db
ADDRESS = "/vault/count/VAULT/"


def in_vault(*serials, where="VAULT"):
    return [builders.handed_over(builders.bar(one, grams=100), people.vera_vault(), where) for one in serials]


def entry(client, address=ADDRESS, **changes):
    people.matt_accountant()
    at = client.get(address).context["form"]["at"].value().strftime("%Y-%m-%dT%H:%M")
    sent = {"request_key": str(uuid4()), "at": at, "initial-at": at, "scanned": "", "note": ""}
    return sent | changes


def signed(**changes):
    return {"told": "on", "signer": "matt", "signer_password": people.PASSWORD} | changes


def keeper():
    return people.signed_in(people.vera_vault())


def test_who_counts_sees_nothing_of_what_should_be_there_until_the_scanning_is_done():
    there, gone = in_vault("HF-1", "HF-2")
    client = keeper()
    text = words(client.get(ADDRESS))
    for hidden in (there.number, gone.number, "HF-1", "HF-2", "0 of 2", "100.000"):
        assert hidden not in text
    look = client.get("/vault/count-look/VAULT/", {"code": "hf-1"}).json()
    assert look == {"words": "HFR HF-1 2026", "here": True}
    text = words(client.post(ADDRESS, entry(client, scanned=f"{there.number}\n{there.number.lower()}\n")))
    assert "1 of 2 found" in text
    assert f"What is known of {gone.number}" in text
    assert "Vera Lock" in text
    assert f"{there.number} {there.number.lower()} </textarea>" in text
    assert not StockCount.objects.exists()


def test_a_count_is_recorded_once_with_words_for_what_is_missing_and_where_strays_belong():
    builders.refinery()
    there, gone = in_vault("HF-1", "HF-2")
    (elsewhere,) = builders.ready(70)
    client = keeper()
    sent = entry(client, scanned=f"HF-1\n{elsewhere.number}\nX-9\n", note="Weekly", **signed())
    text = words(client.post(ADDRESS, sent))
    assert f"Lot {gone.number} was not scanned. Look for it, or say what is known." in text
    assert people.PASSWORD not in text
    assert f"by the book at {elsewhere.place}, held by Otto Flux" in text
    assert "The book knows no such lot, bar or box." in text
    assert not StockCount.objects.exists()
    sent |= {f"missing_{gone.pk}": "Its tray is empty"}
    text = words(client.post(ADDRESS, sent, follow=True))
    one = StockCount.objects.get()
    assert (one.by, one.second, one.note) == (people.vera_vault(), people.matt_accountant(), "Weekly")
    for wanted in (
        one.number,
        "1 of 2 found",
        "1 lot, 100.000 g",
        "Its tray is empty",
        "X-9",
        "unknown",
        str(gone.bar),
    ):
        assert wanted in text
    assert "Look again, then count anew" in text
    assert "taken back, or handed over to this place" in text
    assert "Nothing was recorded twice." in words(client.post(ADDRESS, sent, follow=True))
    assert StockCount.objects.count() == 1
    assert {line.lot: line.found for line in one.lines.all()} == {there: True, gone: False}
    strays = {stray.code: (stray.lot, stray.place, stray.custodian) for stray in one.strays.all()}
    assert strays == {elsewhere.number: (elsewhere, elsewhere.place, people.otto_operator()), "X-9": (None, None, None)}
    assert one.number in words(client.get("/vault/place/VAULT/"))
    assert "never" in words(client.get("/vault/"))
    assert verify().ok


def test_a_closed_box_is_counted_by_its_seal():
    bars = in_vault("HF-1", "HF-2")
    box = pack_box(bars=[bar.number for bar in bars], seal="S-77", at=timezone.now(), by=people.vera_vault())
    client = keeper()
    assert client.get("/vault/count-look/VAULT/", {"code": "s-77"}).json()["words"] == "2 bars in a closed box"
    client.post(ADDRESS, entry(client, scanned=box.number, **signed()))
    assert [line.note for line in StockCount.objects.get().lines.all()] == [f"in closed box {box.number}"] * 2


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"signer": ""}, "login is missing: two people sign."),
        ({"signer": "vera"}, "Nobody counts alone"),
        ({"signer": "otto"}, "may not count"),
        ({"signer_password": "wrong"}, "name or password is not right"),
        ({"at": "2999-01-01T00:00"}, "This date is in the future."),
        ({"at": "2020-01-01T00:00"}, "Something was done there after that time. Count as of now."),
        ({"at": "yesterday"}, "Give a date and a time"),
        ({"scanned": "x" * 61}, "is no label"),
    ],
)
def test_what_stops_a_count_is_said_and_what_was_scanned_stays(changes, sentence):
    (gone,) = in_vault("HF-1")
    people.otto_operator()
    client = keeper()
    missing = {f"missing_{gone.pk}": "Its tray is empty"}
    text = words(client.post(ADDRESS, entry(client, **{"scanned": "X-9"} | signed() | missing | changes)))
    assert sentence in text
    assert changes.get("scanned", "X-9") in text
    assert "scanned" in changes or 'value="Its tray is empty"' in text
    assert not StockCount.objects.exists()


def test_compared_again_nothing_is_recorded_yet():
    in_vault("HF-1")
    client = keeper()
    assert "1 of 1 found" in words(client.post(ADDRESS, entry(client, scanned="HF-1", again="1", **signed())))
    assert not StockCount.objects.exists()


def test_a_place_of_two_people_is_counted_while_it_is_open_and_with_an_accountant():
    address = "/vault/count/CAGE/"
    builders.place("CAGE")
    client = keeper()
    assert "it is closed: open it first, then count" in words(client.get(address))
    assert "is opened by two people: open it first" in words(client.post(address, entry(client, address, **signed())))
    cage_open()
    accountant = people.signed_in(people.matt_accountant())
    accountant.post(address, entry(accountant, address, **signed(signer="vera")))
    one = StockCount.objects.get()
    assert (one.by, one.second) == (people.matt_accountant(), people.vera_vault())


def counted(*serials, missing=()):
    client = keeper()
    bars = in_vault(*serials)
    words_of = {f"missing_{bar.pk}": "=CMD()" for bar in bars if bar.bar.serial in missing}
    here = "\n".join(one for one in serials if one not in missing)
    client.post(ADDRESS, entry(client, scanned=f"{here}\n=X-9", **signed() | words_of))
    return StockCount.objects.latest("pk")


def test_the_sheet_says_what_the_count_found_and_a_reprint_is_a_copy():
    builders.refinery()
    one = counted("HF-1", "HF-2", missing=("HF-2",))
    client = keeper()
    assert client.get(f"/vault/count-sheet/{one.number}/").status_code == 405
    assert client.post(f"/vault/count-sheet/{one.number}/").status_code == 302
    paper = Document.objects.get(title=f"Count sheet {one.number}")
    pdf = papers.content_of(paper)
    text = reading.text(pdf)
    for wanted in (
        "Count sheet",
        one.number,
        "VAULT Main vault",
        "1 of 2 lots",
        "HFR HF-1 2026",
        "Vera Lock",
        "Matt Tally",
    ):
        assert wanted in text
    assert one.number in reading.codes(pdf)
    assert client.get("/find/", {"code": one.number})["Location"] == f"/vault/counted/{one.number}/"
    again = issue_count_sheet(count=one, by=people.vera_vault())
    assert f"{one.number}, copy 2" in reading.text(papers.content_of(again))
    assert paper.title in words(client.get(f"/vault/counted/{one.number}/"))


def test_the_csv_has_every_line_and_no_formula():
    one = counted("HF-1", "HF-2", missing=("HF-2",))
    answer = keeper().get(f"/vault/count-csv/{one.number}/")
    head, first, second, stray = answer.getvalue().decode().splitlines()
    assert head == "standing,code,lot,form,bar,gross_g,held_by,place,told"
    assert first.startswith("found,")
    assert "HFR HF-1 2026,100.000,Vera Lock,VAULT," in first
    assert second.startswith("missing,")
    assert second.endswith(",'=CMD()")
    assert stray.startswith("not by the book,'=X-9,")


def test_those_who_read_the_book_read_counts_and_those_who_count_count():
    one = counted("HF-1")
    counters = ("vera_vault", "mona_manager", "matt_accountant")
    for person in people.EVERYBODY:
        client, reads = people.signed_in(person()), person in people.STAFF
        for address in (f"/vault/counted/{one.number}/", f"/vault/count-csv/{one.number}/"):
            assert client.get(address).status_code == (200 if reads else 403)
        counts = person.__name__ in counters
        for address in (ADDRESS, "/vault/count-look/VAULT/?code=HF-1"):
            assert client.get(address).status_code == (200 if counts else 403)
        assert client.post(f"/vault/count-sheet/{one.number}/").status_code == (302 if counts else 403)
    assert people.signed_in(people.adam_auditor()).get("/vault/counted/SC-NONE/").status_code == 404
    assert keeper().get("/vault/count/NOWHERE/").status_code == 404


def test_three_lots_cost_as_many_queries_as_one():
    one = counted("HF-1")
    client = keeper()
    taken = []
    for number in (one.number, counted("HF-2", "HF-3").number):
        with CaptureQueriesContext(connection) as page:
            client.get(f"/vault/counted/{number}/")
        with CaptureQueriesContext(connection) as empty:
            client.post(ADDRESS, entry(client, scanned="HF-1"))
        taken.append((len(page), len(empty)))
    assert taken[0] == taken[1]
