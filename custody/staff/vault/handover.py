"""Handing lots over: some by scanning, or everything at a place when the shift changes."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from custody.actions.move import Passing, hand_over
from custody.calc.mass import MINUS, format_grams
from custody.errors import Refusal
from custody.models import Lot, Place, User
from custody.queries import holdings
from custody.roles import Verb
from custody.staff.vault.forms import HandoverForm, PassingRow, PassingRowSet, TakeOverForm
from custody.staff.vault.tables import PassingTable
from custody.web.access import needs
from custody.web.lot_field import show_books
from custody.web.seen import seal

LOOK_AGAIN = (
    "The list that you saw was another one. Below is what would pass to {taker} now: look at it, then press again."
)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.HAND_OVER)
def hand_over_lots(request: HttpRequest) -> HttpResponse:
    """Lots that are scanned pass to a person at a place; who gives or who takes records it."""
    viewer = request.user
    named = [{"lot": lot} for lot in request.GET.getlist("lot")]
    rows = PassingRowSet(request.POST or None, prefix="lots", initial=named)
    lots = show_books(rows.forms, viewer)
    takes = bool(lots) and all(lot.custodian_id != viewer.pk for lot in lots.values())
    form = HandoverForm(request.POST or None, initial={"to_person": viewer.pk} if takes else None)
    if request.method == "POST" and all([form.is_valid(), rows.is_valid()]):
        passings = [row.passing(lots) for row in rows.filled]
        said = form.cleaned_data
        try:
            count = hand_over(
                lots=passings,
                to_person=said["to_person"],
                to_place=said["to_place"],
                at=form.moment,
                by=viewer,
                note=said["note"],
                request_key=said["request_key"],
            )
        except Refusal as refusal:
            _refuse(form, rows.filled, lots, refusal)
        else:
            messages.success(request, f"{_counted(count)} passed to {said['to_person']} at {said['to_place'].name}.")
            _tell_differences(request, passings, list(lots.values()))
            return redirect("vault-place", said["to_place"].code)
    return render(
        request, "staff/vault/handover.html", {"form": form, "row_sets": [rows], "cancel_url": reverse("vault")}
    )


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.HAND_OVER)
def take_over(request: HttpRequest, code: str) -> HttpResponse:
    """Everything at a place passes to one person, at book: at the change of a shift."""
    place = get_object_or_404(Place, code=code)
    form = TakeOverForm(request.POST or None, initial={"to_person": request.user.pk})
    readable = request.method == "POST" and form.is_valid()
    if readable and holdings.handed_over_by(form.cleaned_data["request_key"]):
        messages.info(request, "This take-over was recorded before. Nothing was recorded twice.")
        return redirect("vault-place", place.code)
    taker = form.cleaned_data["to_person"] if readable else request.user
    lots = list(_passing(place, taker, request.user))
    shown = seal([lot.number for lot in lots])
    if readable and not lots:
        form.add_error("to_person", f"Nothing at {place.name} is there for {taker} to take over from you.")
    elif readable and form.cleaned_data["seen"] != shown:
        form.add_error(None, LOOK_AGAIN.format(taker=taker))
    elif readable:
        try:
            count = hand_over(
                lots=[Passing(lot.number) for lot in lots],
                to_person=taker,
                to_place=place,
                at=form.moment,
                by=request.user,
                note=form.cleaned_data["note"],
                request_key=form.cleaned_data["request_key"],
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"{taker} took over {_counted(count)} at {place.name}, at book, not weighed.")
            return redirect("vault-place", place.code)
    return render(
        request,
        "staff/vault/takeover.html",
        {
            "place": place,
            "form": form,
            "shown": shown,
            "table": PassingTable(lots),
            "cancel_url": reverse("vault-place", args=[place.code]),
        },
    )


def _passing(place: Place, taker: User, viewer: User):
    """What the taker does not hold yet; who gives passes on only what is in their own custody."""
    lots = holdings.lots_at(viewer, place).exclude(custodian=taker)
    return lots if taker == viewer else lots.filter(custodian=viewer)


def _refuse(form: HandoverForm, rows: list[PassingRow], lots: dict[str, Lot], refusal: Refusal) -> None:
    """Says what was refused beside the lot that it is about, or above the page."""
    about = refusal.detail.get("lot")
    for row in rows:
        if about and row.passing(lots).lot == about:
            row.add_error("lot", refusal.sentence)
            return
    form.refuse(refusal)


def _tell_differences(request: HttpRequest, passings: list[Passing], lots: list[Lot]) -> None:
    """A check weighing that is not the book's is told at once: the scale is still warm."""
    book = {lot.number: lot.gross_mg for lot in lots}
    for passing in passings:
        off = passing.weighed_mg - book[passing.lot] if passing.weighed_mg is not None else 0
        if off:
            sign = "+" if off > 0 else MINUS
            messages.warning(
                request,
                f"Lot {passing.lot} weighed {format_grams(passing.weighed_mg)} g, {sign}{format_grams(abs(off))} g"
                f" against the book's {format_grams(book[passing.lot])} g. The handover is recorded with both figures.",
            )


def _counted(count: int) -> str:
    return f"{count} lot{'s' if count != 1 else ''}"
