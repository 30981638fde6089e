"""Where each kind of step has its page."""

from collections.abc import Sequence
from urllib.parse import urlencode

from django.urls import reverse

from custody.terms import Kind

#: Steps of strips, blanks and bars, on pages of their own.
OF_BARS = (Kind.CAST_STRIP, Kind.ROLL, Kind.PUNCH, Kind.ANNEAL, Kind.ADJUST, Kind.STAMP)


def slug_of(kind: Kind) -> str:
    """A kind's name in an address."""
    return kind.value.replace(" ", "-")


def own_page(kind: Kind, lots: Sequence[str] = ()) -> str:
    """The page of a step that no recipe lays out; empty for the others. Water is let go lot by lot."""
    if kind in OF_BARS:
        return reverse("bar-work", kwargs={"slug": slug_of(kind)})
    if kind is Kind.CLEAN_OUT:
        return reverse("clean-out")
    if kind is Kind.DISCHARGE:
        return reverse("discharge", kwargs={"number": lots[0]}) if len(lots) == 1 else reverse("water")
    return ""


def address_of(kind: Kind, lots: Sequence[str] = (), **asked: str) -> str:
    """The page of a step, with the lots to work on it and whatever else is said beforehand."""
    page = own_page(kind, lots) or reverse("step", kwargs={"slug": slug_of(kind)})
    query = [("lot", lot) for lot in lots if kind is not Kind.DISCHARGE] + list(asked.items())
    return f"{page}?{urlencode(query)}" if query else page
