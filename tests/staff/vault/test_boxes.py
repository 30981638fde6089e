"""Boxes and bar lists at the desk: packed by scanning, listed, passed and sent by the seal, opened for a reason."""

import csv
import os
from io import StringIO
from pathlib import Path
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.boxes import pack_box
from custody.actions.issue_bar_list import issue_bar_list, issue_box_list
from custody.actions.issue_dispatch_note import issue_dispatch_note
from custody.actions.work import Make, Take, record_step
from custody.models import AccountEntry, Box, Document, Handover, Operation, Weighing
from custody.queries import papers
from custody.queries.bar_lists import Chosen
from custody.terms import Against, DocumentKind, Form, Kind, Outturn
from tests import builders, everything_of_bars, people, settling
from tests.documents import reading
from tests.ledger.test_boxes import typed_bar

pytestmark = pytest.mark.django_db


def bars(*serials, grams=100):
    return [builders.handed_over(builders.bar(serial, grams=grams), people.vera_vault(), "VAULT") for serial in serials]


def packed(*lots, seal="S-100"):
    return pack_box(bars=[lot.number for lot in lots], seal=seal, at=timezone.now(), by=people.vera_vault())


def keeper():
    return people.signed_in(people.vera_vault())


def entry(client, address, **changes):
    at = client.get(address).context["form"]["at"].value().strftime("%Y-%m-%dT%H:%M")
    return {"request_key": str(uuid4()), "at": at, "initial-at": at} | changes


def content(paper):
    """The bytes of an issued paper; kept for looking at where ``PAPERS`` names a folder."""
    if folder := os.environ.get("PAPERS"):
        Path(folder, f"{paper.title.replace(' ', '-').replace(':', '')}.pdf").write_bytes(papers.content_of(paper))
    return papers.content_of(paper)


def test_serials_are_scanned_into_a_box_and_its_list_is_printed():
    bars("B1", "B2", "B3")
    client = keeper()
    said = client.get("/vault/tally/", {"code": ["B1", "b2", "X9"]}).json()["words"]
    assert said == "2 scanned: gross 200.000 g, fine Au 199.980 g. Not known: X9."
    sent = entry(client, "/vault/boxes/pack/", bars="B2\nB1\nB3", seal="S-100", note="Shelf 4")
    answer = client.post("/vault/boxes/pack/", sent, follow=True)
    box = Box.objects.get()
    assert answer.redirect_chain[-1][0] == f"/vault/box/{box.number}/"
    assert [line.lot.bar.serial for line in box.lines.all()] == ["B2", "B1", "B3"]
    client.post("/vault/boxes/pack/", sent)
    assert Box.objects.count() == 1
    (paper,) = Document.objects.filter(kind=DocumentKind.BOX_LIST)
    text = reading.text(content(paper))
    for wanted in (
        box.number,
        "S-100",
        "Vera Lock",
        "B1",
        "B2",
        "B3",
        "299.970",
        "agreed fine content",
        "3.215",
        "9.645",
    ):
        assert wanted in text
    assert reading.codes(content(paper)) == [box.number]
    assert client.get("/find/", {"code": "s-100"})["Location"] == f"/vault/box/{box.number}/"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"bars": ""}, "Bars is missing."),
        ({"seal": " "}, "Seal is missing."),
        ({"bars": "B9"}, "There is no lot B9."),
        ({"bars": "B1\nLOOSE"}, "is no bar with a serial"),
        ({"bars": "B1\nFAR"}, "stands at another place"),
        ({"seal": "s-1"}, "Seal S-1 was put on box"),
        ({"bars": "B2"}, "B2 lies in box"),
    ],
)
def test_what_cannot_be_packed_is_said_and_kept(changes, sentence):
    _, two = bars("B1", "B2")
    packed(two, seal="S-1")
    (loose,) = builders.ready(20, by=people.vera_vault(), where="VAULT")
    far = builders.handed_over(builders.bar("B7", grams=100), people.vera_vault(), "SHOP")
    told = {"bars": "B1", "seal": "S-2", "note": "Shelf 4"} | changes
    told["bars"] = told["bars"].replace("LOOSE", loose.number).replace("FAR", far.number)
    client = keeper()
    text = client.post("/vault/boxes/pack/", entry(client, "/vault/boxes/pack/", **told)).content.decode()
    assert sentence.replace("B2", two.number) in text
    assert 'value="Shelf 4"' in text
    assert Box.objects.count() == 1


def test_a_box_is_opened_once_for_a_reason():
    box = packed(*bars("B1"))
    client = keeper()
    address = f"/vault/box-open/{box.number}/"
    assert "Reason is missing." in client.post(address, entry(client, address, reason="")).content.decode()
    client.post(address, entry(client, address, reason="Wrong list"))
    assert box.__class__.objects.get(pk=box.pk).opening.reason == "Wrong list"
    text = client.get(f"/vault/box/{box.number}/").content.decode()
    assert "Wrong list" in text
    assert "Send it out" not in text


@pytest.mark.parametrize("who", [people.otto_operator, people.matt_accountant, people.adam_auditor])
def test_who_reads_the_book_sees_boxes_and_packs_none(who):
    box = packed(*bars("B1"))
    client = people.signed_in(who())
    for address in ("/vault/boxes/", f"/vault/box/{box.number}/", "/vault/bars/?place=VAULT", "/vault/tally/?code=B1"):
        assert client.get(address).status_code == 200
    for address in ("/vault/boxes/pack/", f"/vault/box-open/{box.number}/"):
        assert client.get(address).status_code == 403
    assert client.post(f"/vault/box-list/{box.number}/").status_code == 403
    assert client.post("/vault/bars/issue/", {"place": "VAULT"}).status_code == 403


@pytest.mark.parametrize("who", [people.cora_customer, people.stranger])
def test_customers_see_no_box(who):
    box = packed(*bars("B1"))
    client = people.signed_in(who())
    for address in ("/vault/boxes/", f"/vault/box/{box.number}/", "/vault/bars/", "/vault/tally/?code=B1"):
        assert client.get(address).status_code in (403, 404)


def test_a_box_is_handed_over_by_its_seal_and_never_in_part():
    one, two = bars("B1", "B2")
    box = packed(one, two)
    client = keeper()
    page = client.get("/vault/handover/", {"lot": box.number})
    form = page.context["form"]
    assert (form["at_book"].value(), form["not_weighed"].value()) == (box.number, "sealed, the seal seen unbroken")
    rows = {"lots-TOTAL_FORMS": "0", "lots-INITIAL_FORMS": "0"}
    told = rows | {
        "to_person": people.otto_operator().pk,
        "to_place": "SHOP",
        "not_weighed": form["not_weighed"].value(),
    }
    before = Handover.objects.count()
    text = client.post("/vault/handover/", entry(client, "/vault/handover/", at_book="B1", **told)).content.decode()
    assert "A box passes and leaves whole." in text
    assert Handover.objects.count() == before
    client.post("/vault/handover/", entry(client, "/vault/handover/", at_book="s-100", **told))
    assert {builders.fresh(lot.number).custodian for lot in (one, two)} == {people.otto_operator()}


def test_a_shift_ticks_a_whole_box_by_its_seal():
    one, two = bars("B1", "B2")
    box = packed(one, two)
    address = "/vault/takeover/VAULT/?from=vera"
    mona = people.mona_manager()
    otto = people.signed_in(people.otto_operator())
    assert box.number in otto.get(address).content.decode()
    rows = {"lots-TOTAL_FORMS": "0", "lots-INITIAL_FORMS": "0"}
    told = rows | {"scanned": "s-100", "signer": "vera", "signer_password": people.PASSWORD}
    otto.post(address, entry(otto, address, **told))
    assert {builders.fresh(lot.number).custodian.username for lot in (one, two)} == {"otto"}
    assert mona


# The gate


COLLECTED = {"order": "Order 12", "collector": "Piet Haul", "identity_kind": "passport", "identity_number": "X1234567"}


def leaving(client, **changes):
    told = {"party": "P-01", "against": "own", "reason": "", "carrier": "Fell Transit, van 3", "seen": ""} | COLLECTED
    return entry(client, "/vault/gate/", **told | changes)


def shown(client, sent):
    return client.post("/vault/gate/", sent | {"look": "1"})


def weighed_rows(*weighed):
    rows = {"leave-TOTAL_FORMS": str(len(weighed)), "leave-INITIAL_FORMS": "0"}
    for at, (lot, grams) in enumerate(weighed):
        rows |= {f"leave-{at}-lot": lot.number, f"leave-{at}-scale": "BENCH-2", f"leave-{at}-gross": grams}
    return rows


def copper(grams=50):
    """Cement copper of P-01 in the vault."""
    (lot,) = builders.ready(grams, Ag=20_000, Cu=900_000)
    made = record_step(
        kind=Kind.MELT, inputs=[Take(lot.number)], at=timezone.now(), by=people.otto_operator(),
        outputs=[Make(Form.CEMENT_COPPER, lot.gross_mg, {"Ag": lot.ag_mg, "Cu": lot.cu_mg})],
    )  # fmt: skip
    return builders.handed_over(builders.fresh(made.lots[0]), people.vera_vault(), "VAULT")


def test_a_box_and_a_lot_leave_together_with_their_papers():
    builders.scale("BENCH-2")
    box = packed(*bars("B1", "B2"))
    lot = copper()
    (loose,) = bars("B3")
    client = keeper()
    sent = leaving(client, lots=f"s-100\n{lot.number}\nB3")
    page = shown(client, sent)
    assert [row["lot"].value() for row in page.context["rows"].forms] == [lot.number]
    sent |= {"seen": page.context["shown"]}
    text = client.post("/vault/gate/", sent).content.decode()
    assert (
        "The gross is missing: this lot is weighed as it leaves."
        in client.post("/vault/gate/", sent | weighed_rows((lot, ""))).content.decode()
    )
    assert not Operation.objects.filter(kind=Kind.DISPATCH).exists()
    client.post("/vault/gate/", sent | weighed_rows((lot, "50.01")))
    one = Operation.objects.get(kind=Kind.DISPATCH)
    weighing = Weighing.objects.get(operation=one)
    assert (weighing.net_mg, weighing.purpose) == (50_010, "gate")
    assert text
    note = Document.objects.get(kind=DocumentKind.DISPATCH_NOTE)
    said = reading.text(content(note))
    for wanted in (
        "Return of metal to its owner", "Fell Transit, van 3", "Order 12", box.number, "S-100", "1 more bar loose",
        lot.number, "cement copper", "50.010", "50.000", "BENCH-2", "B3", one.number, "350.010",
    ):  # fmt: skip
        assert wanted in said
    assert "X1234567" not in said
    assert reading.codes(content(note)) == [one.number]
    receipt = reading.text(content(Document.objects.get(kind=DocumentKind.COLLECTION)))
    assert "sealed box, 2 bars, seal S-100" in receipt
    assert "B1" not in receipt
    assert loose.number in receipt
    # The box has left closed: its list is the party's from now on.
    issue_box_list(box=box, at=timezone.now(), by=people.vera_vault())
    listed = issue_bar_list(
        chosen=Chosen(f"dispatch {one}", one.number, dispatch=one), at=timezone.now(), by=people.vera_vault()
    )
    assert {paper.kind for paper in Document.objects.filter(party__code="P-01")} >= {
        DocumentKind.BOX_LIST, DocumentKind.BAR_LIST, DocumentKind.DISPATCH_NOTE, DocumentKind.COLLECTION,
    }  # fmt: skip
    for who, answer in ((people.cora_customer, 200), (people.stranger, 404)):
        for paper in (note, listed):
            assert people.signed_in(who()).get(f"/papers/{paper.pk}/").status_code == answer


def test_half_a_box_does_not_leave():
    packed(*bars("B1", "B2"))
    client = keeper()
    page = shown(client, leaving(client, lots="B1"))
    assert "of which other bars stay: send it whole, or open it" in page.content.decode()
    assert page.context["outlook"].stops


def test_a_weight_that_differs_is_explained_and_countersigned():
    builders.scale("BENCH-2")
    lot = copper()
    people.mona_manager()
    client = keeper()
    sent = leaving(client, lots=lot.number)
    sent |= {"seen": shown(client, sent).context["shown"]} | weighed_rows((lot, "49.000"))
    text = client.post("/vault/gate/", sent).content.decode()
    assert "1.000 g less than the book" in text
    assert 'name="countersigner"' in text
    assert not Operation.objects.filter(kind=Kind.DISPATCH).exists()
    signed = {"countersigner": "mona", "countersign_password": people.PASSWORD, "countersign_meaning": "Weighed again"}
    text = client.post("/vault/gate/", sent | signed).content.decode()
    assert "write the reason as the note" in " ".join(text.split())
    client.post("/vault/gate/", sent | signed | {"reason": "Dust in the tray"})
    one = Operation.objects.get(kind=Kind.DISPATCH)
    assert (one.countersigned_by.username, one.reason) == ("mona", "Dust in the tray")
    assert "Weighed again, Mona Ravn" in reading.text(content(Document.objects.get(kind=DocumentKind.DISPATCH_NOTE)))


def test_what_was_weighed_stays_when_more_is_scanned():
    builders.scale("BENCH-2")
    one, two = copper(50), copper(60)
    client = keeper()
    sent = leaving(client, lots=one.number) | weighed_rows((one, "50.000"))
    page = shown(client, sent | {"lots": f"{one.number}\n{two.number}"})
    assert [row["gross"].value() for row in page.context["rows"].forms] == ["50.000", None]


def test_a_claim_is_paid_by_a_bar_in_its_metal_and_the_note_says_what_left_beside():
    builders.places()
    everything_of_bars.kilobar()
    bar = typed_bar("K1")
    settling.settled(builders.valued(builders.received(3_000_000)[0], Au=999_900), Outturn.METAL)
    client = keeper()
    page = shown(client, leaving(client, lots="K1", against="claim"))
    assert not page.context["outlook"].stops
    assert "leaving as the house's own: Ag 0.030 g" in page.content.decode()
    one = settling.dispatched(bar, against=Against.CLAIM)
    assert list(AccountEntry.objects.filter(operation=one).values_list("account__metal", "mg")) == [("Au", -bar.au_mg)]
    note = issue_dispatch_note(dispatch=one, at=timezone.now(), by=people.vera_vault())
    said = " ".join(reading.text(content(note)).split())
    assert "Drawn on its metal account: Au 999.950 g." in said
    assert "In the bars, and not charged: Ag 0.030 g." in said
    assert "return of metal" not in said.lower()


# Lists


def test_a_list_by_place_cast_days_and_box_as_table_and_as_csv():
    one, two = bars("B1", "B2")
    box = packed(two)
    client = keeper()
    cast = one.created_by.number
    day = timezone.localdate().isoformat()
    for asked, wanted in (
        ({"place": "VAULT"}, {"B1", "B2"}), ({"cast": cast}, {"B1"}), ({"box": box.seal}, {"B2"}),
        ({"since": day, "until": day}, {"B1", "B2"}), ({"since": "2020-01-01", "until": "2020-01-02"}, set()),
    ):  # fmt: skip
        table = client.get("/vault/bars/", asked).context["table"]
        assert {line.bar.serial for line in table.data} == wanted
    answer = client.get("/vault/bars/", {"place": "VAULT", "csv": "1"})
    head, *lines, total = csv.reader(StringIO(answer.getvalue().decode()))
    assert head[:3] == ["mark", "serial", "year"]
    assert [line[1] for line in lines] == ["B1", "B2"]
    assert total == ["total", "2 bars", "", "", "", "200.000", "6.430", "Au", "", "199.980", "6.430", ""]
    paper = client.post("/vault/bars/issue/", {"place": "VAULT"})
    (listed,) = Document.objects.filter(kind=DocumentKind.BAR_LIST)
    assert paper["Location"] == f"/papers/{listed.pk}/"
    assert "Main vault" in reading.text(content(listed))
    assert people.signed_in(people.cora_customer()).get(f"/papers/{listed.pk}/").status_code == 404


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"box": "BX-9"}, "There is no box BX-9."),
        ({"dispatch": "OP-9"}, "There is no dispatch OP-9."),
        ({"cast": "OP-9"}, "There is no cast OP-9."),
        ({"place": ""}, "Say which bars"),
        ({"place": "VAULT", "box": "BX-9"}, "A list is of one of these"),
        ({"since": "2026-01-02"}, "Give both days"),
        ({"since": "2026-01-02", "until": "2026-01-01"}, "The last day lies before the first."),
    ],
)
def test_what_no_list_can_be_of_is_said(asked, sentence):
    builders.places()
    assert sentence in keeper().get("/vault/bars/", asked).content.decode()


def test_lists_ask_the_database_the_same_for_one_box_and_for_three():
    client = keeper()
    all_bars = bars("B1", "B2", "B3", "B4")
    packed(all_bars[0], seal="S-1")

    def asked(address):
        client.get(address)
        with CaptureQueriesContext(connection) as queries:
            client.get(address)
        return len(queries)

    before = [asked(address) for address in ("/vault/boxes/", "/vault/bars/?place=VAULT")]
    packed(all_bars[1], all_bars[2], seal="S-2")
    packed(all_bars[3], seal="S-3")
    bars("B5")
    assert [asked(address) for address in ("/vault/boxes/", "/vault/bars/?place=VAULT")] == before
