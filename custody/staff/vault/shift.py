"""The change of a shift: everything that one person answers for at a place passes to another, and both sign."""

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from custody.actions.move import Passing, take_over
from custody.errors import Refusal
from custody.models import Lot, Place, User
from custody.queries import handovers, holdings
from custody.roles import Verb
from custody.staff.vault.handover import check_weighings, counted, refuse, tell_differences
from custody.staff.vault.shift_form import ShiftForm, WeighedRowSet
from custody.terms import Form
from custody.web.access import needs
from custody.web.lot_field import show_books
from custody.web.panels import Action
from custody.web.weighing import weighing_kwargs

SCRIPTS = ("custody/tick.js", "custody/rows.js", "custody/lots.js", "custody/scale.js")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.HAND_OVER)
def shift(request: HttpRequest, code: str) -> HttpResponse:
    """The list of a place is scanned, then signed by who gives and who takes.

    ``?from=`` (a login) is who gives: without it whoever else has the most there. ``?and=`` adds another place.
    """
    viewer = request.user
    place = get_object_or_404(Place, code=code)
    holders = handovers.holders_at(viewer, place)
    giver = _giver(request, holders)
    also = list(Place.objects.filter(code__in=request.GET.getlist("and")).exclude(pk=place.pk))
    lots = list(handovers.held_at(viewer, giver, [place, *also])) if giver else []
    lots.sort(key=lambda lot: lot.form == Form.IN_PROCESS)
    weighing = weighing_kwargs(viewer)
    other = "The other person" if giver == viewer else str(giver)
    rows = WeighedRowSet(request.POST or None, prefix="lots", form_kwargs=weighing)
    weighed = show_books(rows.forms, viewer)
    form = ShiftForm(request.POST or None, lots=lots, other=other, **weighing)
    if request.method == "POST" and all([form.is_valid(), rows.is_valid()]):
        key = form.cleaned_data["request_key"]
        if holdings.handed_over_by(key):
            messages.info(request, "This handover was recorded before. Nothing was recorded twice.")
            return redirect("passed", key)
        answer = _record(request, form, rows, weighed, giver)
        if answer:
            return answer
    return render(
        request,
        "staff/vault/takeover.html",
        {
            "place": place,
            "also": also,
            "giver": giver,
            "gives": giver == viewer,
            "address": _address(place, giver, also) if giver else "",
            "form": form,
            "row_sets": [rows],
            "scripts": SCRIPTS,
            "actions": _others(viewer, place, giver, holders, also),
            "cancel_url": reverse("vault-place", args=[place.code]),
        },
    )


def _giver(request: HttpRequest, holders: list[tuple[User, int]]) -> User | None:
    """Who is asked for; else who has the most there and is not who looks; else who looks."""
    people = [person for person, _ in holders]
    asked = [person for person in people if person.username == request.GET.get("from")]
    others = [person for person in people if person != request.user]
    return next(iter(asked + others + people), None)


def _record(
    request: HttpRequest, form: ShiftForm, rows, weighed: dict[str, Lot], giver: User | None
) -> HttpResponse | None:
    """Records the list as it was scanned, weighed and signed; None where something was refused."""
    if not form.lots:
        form.add_error("scanned", "There is nothing here to hand over.")
    form.tick_scanned(request.user)
    check_weighings(form, rows, weighed)
    for row in rows.filled:
        form.ticked.add(row.number(weighed))  # what is on the scale is there
        if row.number(weighed) not in form.numbers:
            row.add_error("lot", "This lot is not on the list. Hand it over by itself.")
    readable = [row.passing(weighed, form.cleaned_data["scale"]) for row in rows.filled if not row.errors]
    passing = {one.lot: one for one in readable}
    lots = form.passings(passing)
    if form.errors or any(row.errors for row in rows.filled):
        return None
    try:
        signed = form.other_signature(request)
        taker = signed.user if giver == request.user else request.user
        take_over(
            lots=lots,
            from_person=giver,
            to_person=taker,
            at=form.moment,
            by=request.user,
            signed=signed,
            note=form.cleaned_data["note"],
            countersign=form.signature(request),
            request_key=form.cleaned_data["request_key"],
        )
    except Refusal as refusal:
        refuse(form, rows, weighed, refusal, "scanned")
        return None
    _tell(request, lots, giver, taker)
    tell_differences(request, list(passing.values()), weighed)
    return redirect("passed", form.cleaned_data["request_key"])


def _tell(request: HttpRequest, lots: list[Passing], giver: User, taker: User) -> None:
    missing = [one.lot for one in lots if not one.seen]
    messages.success(request, f"{taker} took over {counted(len(lots) - len(missing))} from {giver}. Both signed.")
    if missing:
        messages.warning(request, f"NOT FOUND: {', '.join(missing)}. {giver} still answers for what was not found.")


def _others(
    viewer: User, place: Place, giver: User | None, holders: list[tuple[User, int]], also: list[Place]
) -> list[Action]:
    """Other lists: of who else answers for lots here, and with the other places of who gives."""
    found = [
        Action(
            label=f"Pass on your own {counted(count)}" if person == viewer else f"{counted(count)} held by {person}",
            url=_address(place, person, []),
        )
        for person, count in holders
        if person != giver
    ]
    taken = [place, *also]
    for other, count in handovers.places_of(viewer, giver) if giver else []:
        if other not in taken:
            found.append(
                Action(label=f"Add {other.name}, {counted(count)}", url=_address(place, giver, [*also, other]))
            )
    return found


def _address(place: Place, giver: User, also: list[Place]) -> str:
    asked = [("from", giver.username), *(("and", one.code) for one in also)]
    return f"{reverse('takeover', args=[place.code])}?{urlencode(asked)}"
