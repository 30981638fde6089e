"""What else is done at the counter: the other entries, offered at the head of the receipt's."""

from django.urls import reverse

from custody.models import User
from custody.roles import Verb, may
from custody.web.panels import Action

#: Label, name of the address, and the verb that it asks for; in the order in which they are offered.
OTHERS: tuple[tuple[str, str, Verb], ...] = (
    ("Buy at the counter", "buy", Verb.RECEIVE),
    ("Refuse a parcel", "refuse", Verb.RECEIVE),
    ("Paper slips", "slips", Verb.RECEIVE),
    ("Refused parcels", "refusals", Verb.READ_BOOK),
)


def other_entries(viewer: User) -> list[Action]:
    """The other entries that this person may make."""
    return [Action(label=label, url=reverse(name)) for label, name, verb in OTHERS if may(viewer.roles, verb)]
