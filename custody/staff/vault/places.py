"""The places of the house: a manager adds one, sets it out of use, or has it opened by two people."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from custody.actions.house import add_place, change_place
from custody.errors import Refusal
from custody.models import Place
from custody.queries import vault as queries
from custody.roles import Verb
from custody.staff.vault.vault_tables import ChangeTable, HousePlaceTable
from custody.terms import PlaceKind
from custody.web.access import needs
from custody.web.forms import BaseForm


class StandingForm(BaseForm):
    """Whether a place is in use, and whether two people open it. ``seen`` carries what was there."""

    mark_optional = False
    about_all = None

    seen = forms.CharField(widget=forms.HiddenInput)
    active = forms.BooleanField(label="The place is in use", required=False)
    two_person = forms.BooleanField(
        label="Two people open it",
        required=False,
        help_text="Then lots are touched there only while two keepers or managers have it open.",
    )

    def __init__(self, *args, place: Place, **kwargs):
        self.place = place
        standing = {"active": place.active, "two_person": place.two_person}
        super().__init__(*args, initial=standing | {"seen": _seen(place)}, **kwargs)

    def clean(self):
        said = super().clean()
        wanted = (said.get("active"), said.get("two_person"))
        if said.get("seen") != _seen(self.place) and wanted != (self.place.active, self.place.two_person):
            raise forms.ValidationError("Somebody else changed this place meanwhile. Open it again, then change it.")
        return said


class PlaceForm(BaseForm):
    """A new place."""

    code = forms.RegexField(
        r"^[A-Z0-9][A-Z0-9-]*$",
        label="Code",
        max_length=30,
        help_text="What stands on its label, like VAULT-2.",
        error_messages={"invalid": "A code is of capitals, digits and hyphens, like VAULT-2."},
        widget=forms.TextInput(attrs={"class": "mark", "autocomplete": "off", "autocapitalize": "characters"}),
    )
    name = forms.CharField(label="Name", max_length=120)
    kind = forms.ChoiceField(label="Kind", choices=[("", "choose…"), *PlaceKind.choices()])
    two_person = forms.BooleanField(label="Two people open it", required=False)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["two_person"].asked = True


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.MANAGE_PEOPLE)
def places(request: HttpRequest) -> HttpResponse:
    """Every place, and the entry of another."""
    form = PlaceForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        known = Place.objects.filter(code=said["code"]).first()
        told = {name: said[name] for name in ("name", "kind", "two_person")}
        try:
            # The same place sent twice is one; its code tells.
            if known is None or any(getattr(known, name) != value for name, value in told.items()):
                add_place(code=said["code"], by=request.user, **told | {"kind": PlaceKind(said["kind"])})
        except Refusal as refusal:
            form.refuse(refusal.at("code"))
        else:
            messages.success(request, f"{said['name']} is a place of the house now: {said['code']}.")
            return redirect("places")
    table = HousePlaceTable(queries.places(request.user))
    return render(request, "staff/vault/places.html", {"form": form, "table": table})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.MANAGE_PEOPLE)
def change(request: HttpRequest, code: str) -> HttpResponse:
    """One place: in use or not, opened by two people or not; who changed it, and when."""
    place = get_object_or_404(Place, code=code)
    form = StandingForm(request.POST or None, place=place)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            changed = change_place(place=place, active=said["active"], two_person=said["two_person"], by=request.user)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"{place.name} is changed." if changed else f"{place.name} stands as it was.")
            return redirect("place-change", place.code)
    context = {
        "place": place,
        "kind": PlaceKind(place.kind).label.capitalize(),
        "form": form,
        "table": ChangeTable(queries.changes_of(place)),
        "cancel_url": reverse("places"),
    }
    return render(request, "staff/vault/place_change.html", context)


def _seen(place: Place) -> str:
    return f"{place.active} {place.two_person}"
