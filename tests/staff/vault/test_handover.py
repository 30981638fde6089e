"""Handing lots over: scanned and weighed again, at book with the reason, explained and countersigned."""

from uuid import uuid4

import pytest
from django.utils import timezone

from custody.actions.work import reverse
from custody.models import Handover, Weighing
from custody.terms import NotWeighed
from tests import builders, people

pytestmark = pytest.mark.django_db

SEALED = {"not_weighed": str(NotWeighed.SEALED)}
SIGNED = {"countersigner": "mona", "countersign_password": people.PASSWORD, "countersign_meaning": "Weighed again"}


def rows(*entries):
    """Rows as the page sends them: lot, gross, tare, explanation."""
    data = {"lots-TOTAL_FORMS": str(max(len(entries), 1)), "lots-INITIAL_FORMS": "0"}
    for number, entry in enumerate(entries):
        names = ("lot", "gross", "tare", "explanation")
        data |= {f"lots-{number}-{name}": value for name, value in zip(names, entry, strict=False)}
    return data


def entry(client, **changes):
    """The handover form as the page sends it, its moment untouched."""
    form = client.get("/vault/handover/").context["form"]
    at = form["at"].value().strftime("%Y-%m-%dT%H:%M")
    sent = {
        "request_key": str(uuid4()),
        "at": at,
        "initial-at": at,
        "to_person": str(people.vera_vault().pk),
        "to_place": builders.place("VAULT").code,
        "scale": "BENCH-2",
        "note": "",
        "at_book": "",
        "not_weighed": "",
    }
    return sent | rows() | changes


def sent(person, **changes):
    client = people.signed_in(person)
    return client.post("/vault/handover/", entry(client, **changes), follow=True)


def test_several_lots_pass_at_once_weighed_or_at_book():
    weighed, first, second = builders.received(1_000_000, 500_000, 250_000)
    both = f"{first.number}\n{second.number}\n"
    row = rows((weighed.number, "1012.290", "12.3"))
    answer = sent(people.fiona_frontdesk(), at_book=both, **SEALED, **row)
    assert answer.redirect_chain[-1][0] == "/vault/place/VAULT/"
    text = answer.content.decode()
    assert "3 lots passed to Vera Lock at Main vault." in text
    assert "weighed 999.990 g, −0.010 g against the book" in text
    passed = {h.lot.number: h for h in Handover.objects.select_related("lot", "weighing")}
    again = passed[weighed.number]
    assert (again.weighed_mg, again.book_mg, again.not_weighed) == (999_990, 1_000_000, "")
    assert (again.weighing.gross_mg, again.weighing.tare_mg, again.weighing.keyed) == (1_012_290, 12_300, True)
    assert again.allowed_ug == 400_000  # 10 000 e of 0.1 g: one e, doubled in service, on both scales
    assert passed[first.number].not_weighed == NotWeighed.SEALED
    for lot in (weighed, first, second):
        fresh = builders.fresh(lot.number)
        assert (fresh.custodian, fresh.place.code) == (people.vera_vault(), "VAULT")


def test_who_takes_may_record_it_and_a_bar_passes_by_its_serial():
    lot = builders.bar("A000001")
    sent(people.vera_vault(), at_book="a000001", not_weighed=str(NotWeighed.SERIAL))
    assert builders.fresh(lot.number).custodian == people.vera_vault()


def test_a_difference_stops_it_until_it_is_explained_and_countersigned():
    light, even = builders.received(1_000_000, 500_000)
    people.mona_manager()
    person = people.fiona_frontdesk()
    both = (light.number, "998"), (even.number, "500")
    answer = sent(person, note="to the vault", **rows(*both))
    text = answer.content.decode()
    assert "Book 1\u202f000.000 g, weighed 2.000 g less; both scales together may be 0.400 g off." in text
    assert "Weigh it again. If it stays, say why" in text
    assert "Countersignature" in text
    assert 'value="to the vault"' in text
    assert 'value="998"' in text
    explained = (light.number, "998", "", "A piece broke off in the bag"), both[1]
    answer = sent(person, **rows(*explained))
    assert "Weigh it again; if it stays, explain it and have it countersigned." in answer.content.decode()
    assert not Handover.objects.exists()
    assert not Weighing.objects.filter(purpose="handover").exists()
    sent(person, **rows(*explained), **SIGNED)
    passed = {h.lot.number: h for h in Handover.objects.select_related("lot", "countersigned_by")}
    assert passed[light.number].explanation == "A piece broke off in the bag"
    assert passed[light.number].countersigned_by == people.mona_manager()
    assert passed[light.number].countersign_meaning == "Weighed again"
    assert passed[even.number].countersigned_by is None
    assert builders.fresh(light.number).gross_mg == 1_000_000  # passing on corrects nothing


@pytest.mark.parametrize(
    ("signature", "sentence"),
    [
        (SIGNED | {"countersigner": "vera"}, "may not countersign"),
        (SIGNED | {"countersign_password": "wrong"}, "name or password is not right"),
        (SIGNED | {"countersign_meaning": ""}, "Say what the signature means"),
    ],
)
def test_a_countersignature_that_does_not_count(signature, sentence):
    (lot,) = builders.received()
    people.vera_vault()
    row = rows((lot.number, "990", "", "Spilt"))
    answer = sent(people.fiona_frontdesk(), **row, **signature)
    text = answer.content.decode()
    assert sentence in text
    assert 'value="Spilt"' in text
    assert people.PASSWORD not in text
    assert not Handover.objects.exists()


def test_that_no_scale_could_be_used_is_countersigned():
    (lot,) = builders.received()
    people.mona_manager()
    power = {"at_book": lot.number, "not_weighed": str(NotWeighed.POWER)}
    answer = sent(people.fiona_frontdesk(), **power)
    assert f"No scale could be used for lot {lot.number}: a manager countersigns" in answer.content.decode()
    assert not Handover.objects.exists()
    sent(people.fiona_frontdesk(), **power, **SIGNED)
    assert Handover.objects.get().countersigned_by == people.mona_manager()


def test_a_load_above_the_scales_max_names_another_scale():
    (lot,) = builders.received(builders.parcel(7_000_000, scale="FLOOR-1"))
    builders.scale("BENCH-2")
    answer = sent(people.fiona_frontdesk(), **rows((lot.number, "7000")))
    assert "It can be weighed on FLOOR-1 Floor scale 1." in answer.content.decode()
    assert not Handover.objects.exists()


def test_a_scale_that_was_not_checked_today_weighs_nothing():
    (lot,) = builders.received()
    builders.scale("SHOP-1", checked=False)
    answer = sent(people.fiona_frontdesk(), scale="SHOP-1", **rows((lot.number, "1000")))
    assert "Scale SHOP-1 was not checked that day." in answer.content.decode()


@pytest.mark.parametrize("gross", ["1000", "5"])
def test_a_third_person_is_refused_beside_the_lot_and_never_asked_why_it_weighs_otherwise(gross):
    (lot,) = builders.received()
    answer = sent(people.sam_sampler(), **rows((lot.number, gross)))
    assert "is in another person&#x27;s custody" in answer.content.decode()
    assert "Weigh it again" not in answer.content.decode()
    assert not Handover.objects.exists()


def test_an_empty_lot_is_said_to_be_empty():
    (lot,) = builders.received()
    reverse(operation=builders.receipt_of(lot), reason="Wrong", at=timezone.now(), by=people.mona_manager())
    answer = sent(people.fiona_frontdesk(), **rows((lot.number, "5")))
    assert "Weigh it again" not in answer.content.decode()
    assert "nothing of it is left in the book" in answer.content.decode()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({}, "Scan at least one lot."),
        ({"at_book": "L99-1"}, "There is no lot L99-1."),
        ({"at_book": "L99-1\nl99-1"}, "Line 2: l99-1 stands in line 1 already."),
        ({"at_book": "x" * 65}, "Line 1 is no lot"),
        ({"at_book": "\n".join(map(str, range(201)))}, "No more than 200 lots fit in one entry."),
        ({"not_weighed": "it is heavy"}, "Select a valid choice"),
        (rows(("L99-1", "1000,1")), "has a comma"),
        (rows(("L99-1", "-5")), "is negative"),
        (rows(("L99-1", "")), "weigh the lot, or scan it below"),
        (rows(("L99-1", "5", "6")), "The tare is not less than the gross."),
        (rows(("L99-1", "5", "", "x" * 301)), "at most 300 characters"),
        (rows(("L99-1", "5")) | {"scale": ""}, "Scale is missing."),
        ({"to_person": ""}, "To is missing."),
        ({"at": "yesterday"}, "Give a date and a time"),
    ],
)
def test_what_cannot_be_read_is_said_and_kept(changes, sentence):
    builders.received()
    answer = sent(people.fiona_frontdesk(), note="to the vault", **changes)
    assert answer.status_code == 200
    text = answer.content.decode()
    assert sentence in text
    assert 'value="to the vault"' in text
    assert not Handover.objects.exists()


def test_what_passes_at_book_says_why_and_what_is_no_bar_has_no_serial():
    (lot,) = builders.received()
    person = people.fiona_frontdesk()
    assert "Say why these lots are not weighed" in sent(person, at_book=lot.number).content.decode()
    answer = sent(person, at_book=lot.number, not_weighed=str(NotWeighed.SERIAL))
    assert f"Lot {lot.number} is no bar with a serial." in answer.content.decode()
    assert not Handover.objects.exists()


def test_one_refused_lot_keeps_all_from_passing():
    first, second = builders.received(1_000_000, 500_000)
    builders.handed_over(second, people.otto_operator())
    answer = sent(people.fiona_frontdesk(), at_book=f"{first.number}\n{second.number}", **SEALED)
    assert f"Lot {second.number} is in another person" in answer.content.decode()
    assert builders.fresh(first.number).custodian == people.fiona_frontdesk()


def test_a_form_sent_twice_passes_once_even_after_the_lot_went_on():
    (lot,) = builders.received()
    client = people.signed_in(people.fiona_frontdesk())
    form = entry(client, at_book=lot.number, **SEALED)
    client.post("/vault/handover/", form)
    builders.handed_over(builders.fresh(lot.number), people.fiona_frontdesk(), "COUNTER")
    client.post("/vault/handover/", form)
    assert Handover.objects.count() == 2
    assert builders.fresh(lot.number).custodian == people.fiona_frontdesk()


def test_what_the_address_names_stands_in_the_form():
    first, second = builders.received(1_000_000, 500_000)
    builders.place("LAB")
    anna = people.anna_assayer()
    address = f"/vault/handover/?lot={first.number}&lot={second.number}&to_place=LAB"
    page = people.signed_in(anna).get(address)
    text = page.content.decode()
    assert text.count(f'value="{first.number}"') == text.count(f'value="{second.number}"') == 1
    assert '<option value="LAB" selected>' in text
    assert page.context["form"]["to_person"].value() == anna.pk  # who holds none of them takes them
    page = people.signed_in(people.fiona_frontdesk()).get(f"{address}&to_person=anna")
    assert page.context["form"]["to_person"].value() == anna.pk


@pytest.mark.parametrize(
    "who", [people.matt_accountant, people.clara_compliance, people.mona_manager, people.adam_auditor]
)
@pytest.mark.parametrize("address", ["/vault/handover/", "/vault/takeover/COUNTER/"])
def test_who_may_not_hold_metal_is_turned_away(who, address):
    builders.place()
    assert people.signed_in(who()).get(address).status_code == 403
