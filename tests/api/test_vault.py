"""A program does nothing at a place of two people that is closed, and nothing before its last count."""

from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.vault import close_vault, count_stock
from tests import builders, people
from tests.api.test_operations import said
from tests.staff.vault.test_access import cage_open


def test_a_closed_vault_is_a_conflict_and_so_is_what_was_counted_since(program):
    builders.refinery()
    vera, access = people.vera_vault(), cage_open()
    lot = builders.handed_over(builders.ready(50)[0], vera, "CAGE")
    before = timezone.now()
    close_vault(access=access, at=before, by=vera)

    def divided(at, key):
        made = {"lot": "L-V", "form": "granules", "gross_g": "50.000", "fine_g": {"Au": "40.000", "Ag": "7.500"}}
        record = {"record": "operation", "number": "A-1", "kind": "divide", "at": at.isoformat()}
        return program(vera).post("operations", record | {"inputs": [{"lot": lot.number}], "outputs": [made]}, key=key)

    refused = said(divided(timezone.now(), "k-1"), 409)
    assert (refused["code"], refused["lot"]) == ("vault_closed", lot.number)
    again = cage_open("Count")
    count_stock(
        place=again.place, found={lot.number: ""}, missing={}, second=Signature(people.max_manager(), "Counted"),
        at=timezone.now(), by=vera,
    )  # fmt: skip
    assert said(divided(again.at, "k-2"), 409)["code"] == "counted_since"
    assert divided(timezone.now(), "k-3").status_code == 201
