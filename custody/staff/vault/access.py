"""Opening and closing a place with two people, and what was done while it was open."""

from typing import ClassVar

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe
from django_tables2 import RequestConfig

from custody.actions._sign import Signature, countersign
from custody.actions.vault import close_vault, open_vault
from custody.errors import Refusal
from custody.models import Place
from custody.queries import scope
from custody.queries import vault as queries
from custody.roles import Verb, may
from custody.staff.vault import vault_tables
from custody.web.access import needs
from custody.web.countersign import login_of, password_of
from custody.web.forms import EventForm
from custody.web.panels import Action, Fact, Panel

#: What the second person's signature means.
MEANING = "Opened together"
ACCESSES_A_PAGE = 30


class SecondPersonForm(EventForm):
    """An entry that always needs another person, who signs on the spot. ``meaning`` is what the signature says."""

    SIGNED: ClassVar = ("signer", "signer_password")
    verb = Verb.OPEN_VAULT
    meaning = MEANING

    signer = login_of("Second person")
    signer_password = password_of("Second person")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name in self.SIGNED:
            self.fields[name].asked = True

    @property
    def own_fields(self) -> list[forms.BoundField]:
        """The fields of the entry itself; those of the second person stand apart."""
        return [bound for bound in self.visible_fields() if bound.name not in self.SIGNED]

    @property
    def signed_fields(self) -> list[forms.BoundField]:
        """The second person's credentials."""
        return [self[name] for name in self.SIGNED]

    def ask_signature(self) -> None:
        """Says of both fields that they are missing, where they are."""
        for name in self.SIGNED:
            if not self.cleaned_data.get(name):
                self.add_error(name, f"{self.fields[name].label} is missing: two people sign.")

    def signature(self, request: HttpRequest) -> Signature:
        """The second person's signature; failed tries are throttled. Raises ``Refusal`` about the field ``signer``."""
        try:
            return countersign(
                username=self.cleaned_data["signer"],
                password=self.cleaned_data["signer_password"],
                meaning=self.meaning,
                verb=self.verb,
                request=request,
            )
        except Refusal as refusal:
            raise refusal.at("signer") from None


class OpenForm(SecondPersonForm):
    """What a place is opened for."""

    field_order = ("purpose", "at")

    purpose = forms.CharField(
        label="What for", max_length=200, help_text="Like: bars to the gate, the weekly count, the change of the shift."
    )

    def clean(self):
        self.ask_signature()
        return super().clean()


class CloseForm(EventForm):
    """When it was closed; a manager who is neither of the two says why neither of them closes it."""

    note = forms.CharField(label="Why neither of the two closes it", max_length=300)

    def __init__(self, *args, own: bool, **kwargs):
        super().__init__(*args, **kwargs)
        if own:
            del self.fields["note"]


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.OPEN_VAULT)
def open_place(request: HttpRequest, code: str) -> HttpResponse:
    """Two people open a place: one is signed in, the other signs on the spot."""
    place = get_object_or_404(Place, code=code, two_person=True, active=True)
    standing = queries.standing_of(request.user, place)
    form = OpenForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            one = open_vault(
                place=place,
                second=form.signature(request),
                purpose=said["purpose"],
                at=form.moment,
                by=request.user,
                request_key=said["request_key"],
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            two = f"{one.by} and {one.second}"
            messages.success(request, f"{place.name} is open: {two}. Close it when you leave.")
            return redirect("vault-place", place.code)
    return render(
        request, "staff/vault/open.html", {"place": place, "standing": standing, "form": form, "cancel_url": _of(place)}
    )


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.OPEN_VAULT)
def close_place(request: HttpRequest, number: str) -> HttpResponse:
    """One of the two closes it again, or a manager with the reason."""
    access = get_object_or_404(scope.accesses(request.user).select_related("place", "by", "second"), number=number)
    own = request.user in (access.by, access.second)
    form = CloseForm(request.POST or None, own=own)
    if request.method == "POST" and form.is_valid():
        try:
            note = form.cleaned_data.get("note", "")
            close_vault(access=access, at=form.moment, by=request.user, note=note)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"{access.place.name} is closed.")
            return redirect("vault-access", access.number)
    context = {"access": access, "own": own, "form": form, "cancel_url": _of(access.place)}
    return render(request, "staff/vault/close.html", context)


@require_safe
@needs(Verb.READ_BOOK)
def accesses(request: HttpRequest, code: str) -> HttpResponse:
    """The log of a place: who opened it, when, for what, and when it was closed."""
    place = get_object_or_404(Place, code=code)
    table = vault_tables.AccessTable(queries.accesses_of(request.user, place))
    RequestConfig(request, paginate={"per_page": ACCESSES_A_PAGE}).configure(table)
    return render(request, "staff/vault/accesses.html", {"place": place, "table": table})


@require_safe
@needs(Verb.READ_BOOK)
def access(request: HttpRequest, number: str) -> HttpResponse:
    """One access, with everything that was done in it."""
    found = scope.accesses(request.user).select_related("place", "by", "second", "closing__by")
    one = get_object_or_404(found, number=number)
    closing = getattr(one, "closing", None)
    standing = queries.Standing(one.place, None if closing else one)
    facts = [
        Fact(label="Opened", at=one.at),
        Fact(label="By", value=f"{one.by} and {one.second}"),
        Fact(label="For", value=one.purpose),
        Fact(label="Closed", at=closing.at) if closing else Fact(label="Closed", value="not yet"),
    ]
    facts += [Fact(label="Closed by", value=str(closing.by))] if closing else []
    actions = [Action(label="All accesses", url=reverse("vault-accesses", args=[one.place.code]))]
    if not closing and may(request.user.roles, Verb.OPEN_VAULT):
        actions.insert(0, Action(label="Close it", url=reverse("vault-close", args=[one.number]), tone="main"))
    context = {
        "access": one,
        "standing": standing,
        "tone": vault_tables.STANDING_TONES[standing.word],
        "panel": Panel(title="Two people", facts=facts, note=closing.note if closing else ""),
        "table": vault_tables.DoneTable(queries.done_in(one)),
        "actions": actions,
    }
    return render(request, "staff/vault/access.html", context)


def _of(place: Place) -> str:
    return reverse("vault-place", args=[place.code])
