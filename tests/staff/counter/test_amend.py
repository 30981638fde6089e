"""Correcting what was declared: first written stays, what is right shows everywhere, a new origin is countersigned."""

import pytest
from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.amend import Change, amend
from custody.actions.issue_receipt import issue_receipt
from custody.actions.work import Make, Take, record_step, reverse
from custody.errors import AmendedSince, MixingUnvalued, Refusal
from custody.models import Amendment, Parcel
from custody.queries.amendments import as_amended
from custody.queries.papers import content_of
from custody.queries.trace import origins_of
from custody.queries.verify import verify
from custody.terms import Form, Kind
from tests import builders, people
from tests.documents import reading
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db

SIGNED = {
    "countersigner": "mona",
    "countersign_password": people.PASSWORD,
    "countersign_meaning": "Papers compared",
}


def page(lot, who=people.fiona_frontdesk):
    return people.signed_in(who()).get(f"/counter/amend/{builders.receipt_of(lot).number}/")


def entry(lot, key=None, **changes):
    """The page sent back with changes; fields of the first parcel as ``parcel-0-…``."""
    shown = page(lot).context
    (rows,) = shown["row_sets"]
    told = [
        {name: row[name].value() if row[name].value() is not None else "" for name in row.fields} for row in rows.forms
    ]
    for row, form in zip(told, rows.forms, strict=True):
        for name, field in form.fields.items():
            row[name] = field.prepare_value(row[name])
    form = shown["form"]
    fields = {
        "delivered_by": form["delivered_by"].value(),
        "reason": "Read from the wrong paper",
        "seen": shown["shown"],
    }
    if "on_behalf_of" in form.fields:
        fields["on_behalf_of"] = form["on_behalf_of"].value()
    return body(key=key, rows={"parcel": told}, **fields) | changes


def sent(lot, who=people.fiona_frontdesk, **changes):
    address = f"/counter/amend/{builders.receipt_of(lot).number}/"
    return people.signed_in(who()).post(address, entry(lot, **changes))


def now(lot) -> Parcel:
    return as_amended(Parcel.objects.filter(lot=lot))[0]


def changed(lot, field="seal", before="", after="S-9", **more):
    """An amendment by the action itself."""
    told = {"changes": [Change(field, before, after, lot.number)], "reason": "Misread", "by": people.fiona_frontdesk()}
    return amend(receipt=builders.receipt_of(lot), **told | more)


def test_what_is_right_stands_beside_what_was_first_written():
    (lot,) = builders.received(builders.parcel(seal="S-1"))
    answer = sent(lot, **{"parcel-0-seal": "S-7", "parcel-0-declared": "18k", "delivered_by": "Mira Quill"})
    assert answer.status_code == 302, faults(answer)
    assert Parcel.objects.get(lot=lot).seal == "S-1"
    assert (now(lot).seal, now(lot).declared_au_ppm, now(lot).declared_words) == ("S-7", 750_000, "18 karat")
    text = people.signed_in(people.adam_auditor()).get(f"/receipt/{lot.receipt.number}/").content.decode()
    for wanted in ("S-1", "S-7", "800.0 ‰", "750.0 ‰", "Mira Quill", "Read from the wrong paper", "Fiona Marl"):
        assert wanted in text
    assert "S-7" in people.signed_in(people.adam_auditor()).get(f"/lot/{lot.number}/").content.decode()


def test_the_receipt_that_is_printed_again_says_both():
    (lot,) = builders.received(builders.parcel(seal="S-1"))
    changed(lot, before="S-1", after="S-7")
    paper = issue_receipt(receipt=lot.receipt, at=timezone.now(), by=people.fiona_frontdesk())
    text = reading.text(content_of(paper))
    assert "seal S-7" in text  # among the parcels
    assert "bag or seal S-1 S-7 Misread Fiona Marl" in text  # among the amendments


def test_of_a_reversed_receipt_nothing_is_amended():
    (lot,) = builders.received()
    receipt = builders.receipt_of(lot)
    reverse(operation=receipt, reason="Wrong", at=timezone.now(), by=people.mona_manager())
    answer = people.signed_in(people.fiona_frontdesk()).get(f"/counter/amend/{receipt.number}/", follow=True)
    assert answer.redirect_chain == [(f"/receipt/{receipt.number}/", 302)]
    assert f"{receipt.number} is reversed by OP" in answer.content.decode()


def test_nothing_changed_nothing_recorded():
    (lot,) = builders.received()
    assert "Nothing is changed." in faults(sent(lot))
    assert not Amendment.objects.exists()


def test_a_new_origin_is_countersigned_and_shows_at_every_desk():
    (lot,) = builders.received(builders.parcel(mine="Claim 7"))
    new = {"parcel-0-country": "Peru", "parcel-0-mine": "Ketter Creek"}
    answer = sent(lot, **new)
    assert "A manager countersigns a changed origin" in faults(answer)
    assert 'value="Ketter Creek"' in answer.content.decode()
    assert not Amendment.objects.exists()
    people.mona_manager()
    answer = sent(lot, **new, **SIGNED)
    assert answer.status_code == 302, faults(answer)
    assert {str(one.countersigned_by) for one in Amendment.objects.all()} == {"Mona Ravn"}
    assert builders.fresh(lot.number).amended_origin == "mined artisanal and small scale|PE|Ketter Creek"
    clara = people.signed_in(people.clara_compliance())
    for address in (f"/clearance/?lot={lot.number}", f"/lot/{lot.number}/", f"/receipt/{lot.receipt.number}/"):
        assert "Ketter Creek" in clara.get(address).content.decode()
    builders.valued(lot)
    assert {share.country for share in origins_of(builders.fresh(lot.number))} == {"PE"}
    assert verify()["I7"].holds


def test_who_amends_does_not_countersign_and_only_a_manager_does():
    (lot,) = builders.received()
    for signer in ("fiona", "clara"):
        people.clara_compliance()
        answer = sent(lot, **{"parcel-0-country": "PE"}, **SIGNED | {"countersigner": signer})
        assert answer.status_code == 200
    assert not Amendment.objects.exists()


def test_after_melting_every_change_is_countersigned():
    (lot,) = builders.ready(100)
    record_step(
        kind=Kind.MELT,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, lot.gross_mg, {"Au": lot.au_mg, "Ag": lot.ag_mg})],
        at=timezone.now(),
        by=people.otto_operator(),
    )
    assert "after the parcel was melted" in faults(sent(lot, **{"parcel-0-seal": "S-7"}))
    people.mona_manager()
    assert sent(lot, **{"parcel-0-seal": "S-7"}, **SIGNED).status_code == 302


def test_a_form_sent_twice_amends_once():
    (lot,) = builders.received()
    told = entry(lot, **{"parcel-0-seal": "S-7"})
    client = people.signed_in(people.fiona_frontdesk())
    address = f"/counter/amend/{builders.receipt_of(lot).number}/"
    client.post(address, told)
    again = client.post(address, told, follow=True)
    assert "Nothing was recorded twice." in again.content.decode()
    assert Amendment.objects.count() == 1


def test_nobody_overwrites_an_amendment_unseen():
    (lot,) = builders.received()
    told = entry(lot, **{"parcel-0-seal": "S-7"})
    changed(lot)
    address = f"/counter/amend/{builders.receipt_of(lot).number}/"
    assert "amended this meanwhile" in faults(people.signed_in(people.fiona_frontdesk()).post(address, told))
    with pytest.raises(AmendedSince, match="S-9"):
        changed(lot, after="S-8")
    assert now(lot).seal == "S-9"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"reason": " "}, "Reason is missing."),
        ({"delivered_by": ""}, "Delivered by is missing."),
        ({"parcel-0-country": "Atlantis"}, "Atlantis"),
        ({"parcel-0-pieces": "many"}, "number of pieces"),
        ({"parcel-0-declared": "18"}, "may be karat or per mille"),
        ({"parcel-0-declared_gross_mg": "-4"}, "declared gross"),
        ({"parcel-0-category": "stolen"}, "Select a valid choice."),
    ],
)
def test_what_cannot_be_read_is_said_and_kept(changes, sentence):
    (lot,) = builders.received()
    answer = sent(lot, **{"parcel-0-seal": "S-7"} | changes)
    assert sentence in faults(answer)
    assert 'value="S-7"' in answer.content.decode()
    assert not Amendment.objects.exists()


def test_what_is_no_declaration_is_not_amended():
    (lot,) = builders.received()
    for field in ("lot_id", "net_mg", "delivered_by"):
        with pytest.raises(Refusal, match="nothing that can be amended"):
            changed(lot, field=field)


@pytest.mark.parametrize("who", [people.otto_operator, people.adam_auditor, people.mona_manager, *people.CUSTOMERS])
def test_only_the_front_desk_amends(who):
    (lot,) = builders.received()
    assert page(lot, who).status_code == 403


def test_what_was_mixed_is_judged_by_what_was_declared_then():
    """Two parcels differ in origin, then prove to be of one: only from then on they melt together without an assay."""
    first, second = builders.received(builders.parcel(mine="Claim 7"), builders.parcel(mine="Claim 8"))
    otto = people.otto_operator()
    first, second = (builders.handed_over(lot, otto) for lot in (first, second))

    def melt(*lots):
        gross = sum(lot.gross_mg for lot in lots)
        inputs = [Take(lot.number) for lot in lots]
        return record_step(kind=Kind.MELT, inputs=inputs, outputs=[Make(Form.MELT, gross)], at=timezone.now(), by=otto)

    with pytest.raises(MixingUnvalued):
        melt(first, second)
    signed = Signature(people.mona_manager(), "Papers compared")
    changed(second, "mine", "Claim 8", "Claim 7", countersign=signed)
    made = builders.fresh(melt(first, second).lots[0])
    assert made.declared_origin == "mined artisanal and small scale|CA|Claim 7"
    assert verify()["I7"].holds
    changed(second, "mine", "Claim 7", "Claim 9", countersign=signed)
    assert builders.fresh(made.number).amended_origin is None  # both are in it
    assert verify()["I7"].holds


def test_a_lot_of_one_parcel_alone_takes_over_its_amended_origin():
    (lot,) = builders.received(builders.parcel(mine="Claim 7"))
    otto = people.otto_operator()
    lot = builders.handed_over(lot, otto)
    made = record_step(
        kind=Kind.MELT, inputs=[Take(lot.number)], outputs=[Make(Form.MELT, lot.gross_mg)], at=timezone.now(), by=otto
    )
    changed(lot, "mine", "Claim 7", "Claim 9", countersign=Signature(people.mona_manager(), "Papers compared"))
    assert builders.fresh(made.lots[0]).amended_origin == "mined artisanal and small scale|CA|Claim 9"
    assert verify()["I7"].holds
