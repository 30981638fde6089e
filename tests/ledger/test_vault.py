"""The vault past every line of Python: two people open it, nothing is touched while it is closed, counts are whole."""

import json
from datetime import timedelta
from types import SimpleNamespace

import psycopg
import pytest
from django.utils import timezone

from custody.actions import _post
from custody.actions._sign import Signature
from custody.actions.house import add_place
from custody.actions.vault import close_vault, open_vault
from custody.errors import VaultClosed
from custody.models import Place
from custody.terms import PlaceKind
from refinery import roles
from tests import builders, people


@pytest.fixture(scope="module")
def scene(book):
    """The cage, closed, with a lot and a bar of Vera's in it; another lot of hers outside; all counted once before."""
    cage, vera, max_ = Place.objects.get(code="CAGE"), people.vera_vault(), people.max_manager()
    for code in ("FURNACE-1", "VAULT"):
        builders.place(code)
    add_place(code="SHED", name="Empty shed", kind=PlaceKind.STRONGROOM, by=people.mona_manager())
    signed = Signature(max_, "Opened with Vera")
    access = open_vault(place=cage, second=signed, purpose="Stock", at=timezone.now(), by=vera)
    inside, bar = (builders.handed_over(lot, vera, "CAGE") for lot in (builders.ready(50)[0], builders.bar("HF-IN")))
    began = timezone.now()
    close_vault(access=access, at=began, by=vera)
    outside = builders.handed_over(builders.ready(60)[0], vera, "VAULT")
    others = list(cage.lots.filter(gross_mg__gt=0).exclude(pk__in=[inside.pk, bar.pk]))
    return SimpleNamespace(
        cage=cage, inside=inside, bar=bar, outside=outside, others=others, began=began, vera=vera, max=max_,
        otto=people.otto_operator(), matt=people.matt_accountant(), mona=people.mona_manager(),
        adam=people.adam_auditor(),
    )  # fmt: skip


def call(function, **said):
    said = {"at": timezone.now().isoformat()} | {key: value for key, value in said.items() if value is not None}
    return f"SELECT {function}(%s)", [json.dumps(said, default=str)]


def opening(s, **changes):
    said = {"place": "CAGE", "by": s.vera.pk, "second": s.max.pk, "purpose": "Bars to the gate"}
    return call("custody_open_vault", **said | changes)


def closing(s, **changes):
    number = "(SELECT number FROM custody_vaultaccess ORDER BY id DESC LIMIT 1)"
    said = {"by": s.vera.pk, "at": timezone.now().isoformat()} | changes
    return (
        f"SELECT custody_close_vault(jsonb_build_object('access', {number}) || %s::jsonb)",
        [json.dumps(said, default=str)],
    )


def handing(lot, giver, taker, place, **more):
    said = {"lot": lot.number, "to_person": taker.pk, "to_place": place, "by": giver.pk}
    return call("custody_hand_over", **said | {"not_weighed": "sealed, the seal seen unbroken"} | more)


def posting(**body):
    return "SELECT custody_post(%s)", [json.dumps({"at": timezone.now().isoformat()} | body, default=str)]


def fine(lot):
    return {"Au": lot.au_mg, "Ag": lot.ag_mg}


def dividing(lot, by, **more):
    made = {"form": "granules", "gross_mg": lot.gross_mg, "fine_mg": fine(lot)} | more.pop("out", {})
    return posting(kind="divide", by=by.pk, inputs=[{"lot": lot.number}], outputs=[made], **more)


def dispatching(s):
    collection = {"order": "7", "collector": "P", "identity_kind": "passport", "identity_number": "X1"}
    return posting(
        kind="dispatch",
        by=s.vera.pk,
        party="P-01",
        against="own",
        inputs=[{"lot": s.bar.number}],
        collection=collection,
    )


def counting(s, **changes):
    lots = [s.inside, s.bar, *s.others]
    said = {
        "place": "CAGE", "by": s.vera.pk, "second": s.matt.pk, "found": {lot.number: "" for lot in lots}, "missing": {}
    }  # fmt: skip
    return call("custody_count_stock", **said | changes)


def changing(s, **changes):
    return call(
        "custody_change_place", **{"place": "CAGE", "active": True, "two_person": True, "by": s.mona.pk} | changes
    )


def outcome(attack, *calls, role=roles.APP):
    """The rule that refuses one of these calls, which are taken back; None where all of them pass."""
    with attack(role) as connection:
        try:
            for query, parameters in calls:
                connection.execute(query, parameters)
        except psycopg.Error as error:
            return error.diag.constraint_name or error.sqlstate
    return None


def soon(scene):
    """A moment after everything so far, within what the clocks of two machines may differ by."""
    return (scene.opened + timedelta(seconds=1)).isoformat()


HOURS = timedelta(hours=1)
MOMENT = timedelta(microseconds=1)
#: What is done at the cage while nobody has it open; then the same with it open by Vera and Max.
TOUCHING = {
    "handed out": lambda s: handing(s.inside, s.vera, s.otto, "FURNACE-1"),
    "handed in": lambda s: handing(s.outside, s.vera, s.vera, "CAGE"),
    "dispatched": dispatching,
    "divided": lambda s: dividing(s.inside, s.vera),
    "made outside and put in": lambda s: dividing(s.outside, s.vera, out={"place": "CAGE"}),
    "by a program": lambda s: dividing(s.inside, s.vera, source="api", number="API-1"),
    "received into it": lambda s: posting(
        kind="receive", by=s.vera.pk, party="P-01", place="CAGE", outputs=[{"form": "dore", "gross_mg": 5}]),
    "packed in a box": lambda s: call(
        "custody_pack_box", by=s.vera.pk, lots=[s.bar.number], seal="S-9", place="CAGE"),
    "counted": lambda s: counting(s),
}  # fmt: skip


@pytest.mark.parametrize("touch", TOUCHING.values(), ids=TOUCHING.keys())
def test_nothing_is_touched_while_it_is_closed(scene, attack, touch):
    assert outcome(attack, touch(scene)) == "vault_closed"
    assert outcome(attack, opening(scene), touch(scene)) is None
    assert outcome(attack, opening(scene), closing(scene), touch(scene)) == "vault_closed"


def test_past_records_and_words_of_the_book_need_no_open_door(scene, attack):
    assert outcome(attack, dividing(scene.inside, scene.vera, source="history", number="OLD-V")) is None
    smaller = {"form": "dore", "gross_mg": scene.inside.gross_mg, "fine_mg": fine(scene.inside)}
    corrected = posting(
        kind="difference", by=scene.matt.pk, reason="Seen", countersigned_by=scene.mona.pk, countersign_meaning="Seen",
        inputs=[{"lot": scene.inside.number}], outputs=[smaller],
    )  # fmt: skip
    assert outcome(attack, corrected) is None


def test_only_one_of_the_two_works_there_and_a_shift_passes_between_both(scene, attack):
    theirs = opening(scene, by=scene.max.pk, second=scene.mona.pk)
    assert outcome(attack, theirs, handing(scene.inside, scene.vera, scene.otto, "FURNACE-1")) == "vault_closed"

    def shift():
        return handing(
            scene.inside, scene.vera, scene.max, "CAGE", signed_by=scene.max.pk,
            not_weighed="shift handover, seen and scanned",
        )  # fmt: skip

    assert outcome(attack, opening(scene), shift()) is None
    assert outcome(attack, opening(scene, second=scene.mona.pk), shift()) == "vault_closed"


def test_the_refusal_is_named_for_the_person(scene):
    with pytest.raises(VaultClosed) as caught:
        _post.post({"at": timezone.now(), "by": scene.vera.pk} | json.loads(dividing(scene.inside, scene.vera)[1][0]))
    assert caught.value.sentence.startswith("Place CAGE is opened by two people: open it first.")
    assert caught.value.detail["lot"] == scene.inside.number


OPENINGS = {
    "by two": (lambda s: [opening(s)], None),
    "by one": (lambda s: [opening(s, second=s.vera.pk)], "vault_opened_by_two"),
    "by nobody beside": (lambda s: [opening(s, second=None)], "vault_opened_by_two"),
    "with an operator": (lambda s: [opening(s, second=s.otto.pk)], "vault_right"),
    "with an accountant": (lambda s: [opening(s, second=s.matt.pk)], "vault_right"),
    "for nothing": (lambda s: [opening(s, purpose="")], "vault_purpose"),
    "twice": (lambda s: [opening(s), opening(s, by=s.mona.pk)], "vault"),
    "another place": (lambda s: [opening(s, place="VAULT")], "vault"),
    "no place": (lambda s: [opening(s, place=None)], "vault"),
    "an unknown place": (lambda s: [opening(s, place="MOON")], "unknown_place"),
    "before it was closed": (lambda s: [opening(s, at=(s.began - HOURS).isoformat())], "vault"),
    "tomorrow": (lambda s: [opening(s, at=(timezone.now() + 24 * HOURS).isoformat())], "future"),
    "closed by one of the two": (lambda s: [opening(s), closing(s, by=s.max.pk)], None),
    "closed by a manager in silence": (lambda s: [opening(s), closing(s, by=s.mona.pk)], "vault_purpose"),
    "closed by a manager who says why": (lambda s: [opening(s), closing(s, by=s.mona.pk, note="Both went home")], None),
    "closed by an accountant": (lambda s: [opening(s), closing(s, by=s.matt.pk, note="I was there")], "vault_right"),
    "closed before it was opened": (lambda s: [opening(s), closing(s, at=(s.began - HOURS).isoformat())], "vault"),
    "closed before what was done there": (
        lambda s: [opening(s, at=s.began.isoformat()), handing(s.inside, s.vera, s.otto, "FURNACE-1"),
                   closing(s, at=s.began.isoformat())], "vault"),
    "closed before a count": (
        lambda s: [opening(s, at=s.began.isoformat()), counting(s), closing(s, at=s.began.isoformat())], "vault"),
    "an access that is none": (lambda s: [call("custody_close_vault", access="VA-NONE", by=s.vera.pk)], "vault"),
}  # fmt: skip


@pytest.mark.parametrize(("calls", "rule"), OPENINGS.values(), ids=OPENINGS.keys())
def test_opening_and_closing(scene, attack, calls, rule):
    assert outcome(attack, *calls(scene)) == rule


COUNTS = {
    "whole": (lambda s: [counting(s)], None),
    "by one": (lambda s: [counting(s, second=s.vera.pk)], "counted_by_two"),
    "by nobody beside": (lambda s: [counting(s, second=None)], "counted_by_two"),
    "with an auditor": (lambda s: [counting(s, second=s.adam.pk)], "count_right"),
    "a lot untold": (lambda s: [counting(s, found={s.inside.number: ""})], "count_told"),
    "a lot missing without words": (
        lambda s: [counting(s, found={}, missing={lot.number: "" for lot in [s.inside, s.bar, *s.others]})],
        "count_told"),
    "a lot missing with words": (
        lambda s: [counting(s, found={lot.number: "" for lot in [s.inside, *s.others]},
                            missing={s.bar.number: "Not in its tray"})], None),
    "a lot of another place found": (
        lambda s: [counting(s, found={lot.number: "" for lot in [s.inside, s.bar, s.outside, *s.others]})], None),
    "no place": (lambda s: [counting(s, place=None)], "count"),
    "twice at one moment": (lambda s: [counting(s, at=soon(s)), counting(s, at=soon(s))], "count"),
    "of yesterday": (lambda s: [counting(s, at=(s.began - 24 * HOURS).isoformat())], "count"),
    "counted, then touched before": (
        lambda s: [counting(s), handing(s.inside, s.vera, s.otto, "FURNACE-1", at=s.opened.isoformat())],
        "counted_since"),
    "counted, then put in before": (
        lambda s: [counting(s), handing(s.outside, s.vera, s.vera, "CAGE", at=s.opened.isoformat())], "counted_since"),
    "counted, then divided before": (
        lambda s: [counting(s), dividing(s.inside, s.vera) , dividing(s.bar, s.vera, at=s.opened.isoformat())],
        "counted_since"),
    "counted, then touched": (lambda s: [counting(s), handing(s.inside, s.vera, s.otto, "FURNACE-1")], None),
}  # fmt: skip


@pytest.mark.parametrize(("calls", "rule"), COUNTS.values(), ids=COUNTS.keys())
def test_counts(scene, attack, calls, rule):
    scene.opened = timezone.now()
    assert outcome(attack, opening(scene), *calls(scene)) == rule


PLACES = {
    "as it is": (lambda s: [changing(s)], None),
    "no longer by two": (
        lambda s: [changing(s, two_person=False), handing(s.inside, s.vera, s.otto, "SHOP", at=soon(s))], None),
    "no longer by two, and then": (
        lambda s: [changing(s, two_person=False),
                   handing(s.inside, s.vera, s.otto, "SHOP", at=(s.began + MOMENT).isoformat())],
        "vault_closed"),
    "while it is open": (lambda s: [opening(s), changing(s, two_person=False)], "place"),
    "by a keeper": (lambda s: [changing(s, two_person=False, by=s.vera.pk)], "place_right"),
    "out of use with lots": (lambda s: [changing(s, active=False)], "place"),
    "an unknown place": (lambda s: [changing(s, place="MOON")], "unknown_place"),
    "out of use, then used": (
        lambda s: [changing(s, place="SHED", active=False, two_person=False),
                   handing(s.outside, s.vera, s.vera, "SHED")], "unknown_place"),
    "by two from now on, and at once": (
        lambda s: [changing(s, place="VAULT"), handing(s.outside, s.vera, s.otto, "FURNACE-1")], "vault_closed"),
    "by two from now on, and before": (
        lambda s: [changing(s, place="VAULT"),
                   handing(s.outside, s.vera, s.otto, "FURNACE-1", at=s.outside.last_at.isoformat())], "vault_closed"),
}  # fmt: skip


@pytest.mark.parametrize(("calls", "rule"), PLACES.values(), ids=PLACES.keys())
def test_places(scene, attack, calls, rule):
    scene.opened = timezone.now()
    assert outcome(attack, *calls(scene)) == rule


def test_past_the_functions_a_constraint_still_stands(refused, scene):
    one = "INSERT INTO custody_{} SELECT (jsonb_populate_record(t, '{}')).* FROM custody_{} t ORDER BY id LIMIT 1"
    own = f'{{"id": 900, "number": "X-1", "by_id": {scene.vera.pk}, "second_id": {scene.vera.pk}}}'
    assert refused(one.format("vaultaccess", own, "vaultaccess")) == "vault_opened_by_two"
    assert refused(one.format("stockcount", own, "stockcount")) == "counted_by_two"
    assert refused(one.format("stockcountline", '{"id": 900}', "stockcountline")) == "counted_once"


def test_the_application_changes_no_place_by_itself(attack):
    assert outcome(attack, ("UPDATE custody_place SET two_person = false", None)) == "42501"
    changed = "INSERT INTO custody_placechange SELECT * FROM custody_placechange"
    assert outcome(attack, (changed, None)) == "42501"
