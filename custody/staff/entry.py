"""One page that records an event of lots: its form and rows, read together and shown together."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from custody.actions._post import Posted
from custody.calc.balance import total
from custody.calc.refusals import Refused
from custody.errors import Refusal
from custody.models import Lot, User
from custody.queries import plant, scope
from custody.roles import may, verb_of
from custody.staff.lines import Choices, LotIn, taken_mg
from custody.terms import Kind
from custody.web.countersign import CountersignForm
from custody.web.keeping import Keeps
from custody.web.lot_field import show_books

#: Buttons that ask something and record nothing.
ASKS = ("look", "lay", "offer", "take")

Rows = Mapping[str, forms.BaseFormSet]


class StepForm(Keeps, CountersignForm):
    """What every step says beside its lines."""

    place = forms.ModelChoiceField(label="Place", queryset=None, required=False, empty_label="where the lots in stand")
    reason = forms.CharField(label="Reason", required=False, max_length=500)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if "place" in self.fields:
            self.fields["place"].queryset = plant.places()


@dataclass(frozen=True, slots=True)
class GoingIn:
    """What goes in of one lot by the book: gross and metals, milligrams."""

    lot: Lot
    columns_mg: tuple[int, ...]


class Entry:
    """A form and its rows on one page. Asked something (``asks``), it keeps what was typed and finds no fault."""

    def __init__(self, request: HttpRequest, form: forms.Form, rows: Rows) -> None:
        self.request = request
        self.form = form
        self.rows = rows
        naming = [row for lines in rows.values() for row in lines.forms if isinstance(row, LotIn)]
        self.lots = show_books(naming, request.user)
        self.naming = naming
        if self.asks:
            self.is_valid()
            self._hush()

    @property
    def asks(self) -> str:
        """Which question was asked, if one was."""
        asked = self.request.POST if self.request.method == "POST" else {}
        return next((ask for ask in ASKS if ask in asked), "")

    def is_valid(self) -> bool:
        """Whether every part can be read; all of them are, so that every fault is told at once."""
        readable = [part.is_valid() for part in (self.form, *self.rows.values())]
        return all(readable)

    def record(self, act: Callable[[], Posted], what: str) -> HttpResponse | None:
        """Acts on an entry that was sent and can be read, and leads to the operation; None shows the page (again)."""
        if self.request.method != "POST" or self.asks or not self.is_valid():
            return None
        before = sent_before(self.request)
        if before:
            return before
        try:
            posted = act()
        except (Refusal, Refused) as refusal:
            self.refuse(refusal)
            return None
        messages.success(self.request, f"{what} is recorded as {posted.number}.")
        return redirect("operation", posted.number)

    def head(self) -> dict[str, Any]:
        """Who, when, why and with whom: what every action on lots is told. Raises ``Refusal`` for a wrong signature."""
        said = self.form.cleaned_data
        return {
            "at": self.form.moment,
            "by": self.request.user,
            "reason": said["reason"],
            "countersign": self.form.signature(self.request),
            "request_key": said["request_key"],
        }

    def refuse(self, refusal: Refusal | Refused) -> None:
        """Says what was refused at the line that it is about, or above the page."""
        about = getattr(refusal, "detail", {}).get("lot")
        for row in self.naming:
            code = getattr(row, "cleaned_data", {}).get("lot", "").strip()
            if about and about in (code, self._number(code)):
                row.add_error("lot", refusal.sentence)
                return
        serial = getattr(refusal, "detail", {}).get("serial")
        for row in (row for rows in self.rows.values() for row in rows.forms if "serial" in row.fields):
            if serial and getattr(row, "cleaned_data", {}).get("serial", "").strip() == serial:
                row.add_error("serial", refusal.sentence)
                return
        self.form.refuse(refusal)

    def going_in(self) -> list[GoingIn]:
        """What the lots named give by the book, as far as they are known."""
        found = []
        for row in self.naming:
            code = str(row["lot"].value() or "").strip()
            part = getattr(row, "cleaned_data", {}).get("part")
            if code in self.lots:
                found.append(GoingIn(self.lots[code], taken_mg(self.lots[code], part)))
        return found

    def context(self, **more: Any) -> dict[str, Any]:
        """For staff/lots/entry.html."""
        going_in = self.going_in()
        return {
            "form": self.form,
            "row_sets": list(self.rows.values()),
            "going_in": going_in,
            "total_in": total(line.columns_mg for line in going_in),
            "any_valued": any(line.lot.valued for line in going_in),
            **more,
        }

    def _number(self, code: str) -> str:
        return self.lots[code].number if code in self.lots else code

    def _hush(self) -> None:
        self.form.quiet = True
        for lines in self.rows.values():
            lines.hush()


def sent_before(request: HttpRequest) -> HttpResponse | None:
    """Leads to the operation that this very form recorded already, if it did.

    What a run's form records follows from what its vessel holds, so the same form sent again would ask for something
    else. Two sent at the same moment meet in the book, which takes one of them.
    """
    try:
        key = UUID(request.POST.get("request_key", ""))
    except ValueError:
        return None
    earlier = scope.operations(request.user).filter(request_key=key).first()
    if earlier is None:
        return None
    messages.info(request, f"This form was recorded before, as {earlier.number}. Nothing was recorded twice.")
    return redirect("operation", earlier.number)


def allow(user: User, kind: Kind) -> None:
    """Turns away (403) who may not record this kind of step."""
    if not may(user.roles, verb_of(kind)):
        raise PermissionDenied(f"You may not record this step: {kind.label}.")


def place_choices() -> Choices:
    """The places in use, for the rows of a page."""
    return [(place.code, str(place)) for place in plant.places()]
