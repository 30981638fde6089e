"""Handing lots over: some by scanning, or everything at a place when the shift changes."""

from django.contrib import messages
from django.db.models import QuerySet
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
from custody.staff.vault.forms import HandoverForm, PassingRows, PassingRowSet, TakeOverForm
from custody.staff.vault.tables import PassingTable
from custody.web.access import needs
from custody.web.lot_field import show_books
from custody.web.lot_list import lots_in
from custody.web.seen import seal

LOOK_AGAIN = "The list that you saw was another one. Below is what would pass to {}: look at it, then press again."


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.HAND_OVER)
def hand_over_lots(request: HttpRequest) -> HttpResponse:
    """Lots that are scanned pass to a person at a place; who gives or who takes records it."""
    viewer = request.user
    named = [{"lot": lot} for lot in request.GET.getlist("lot")]
    rows = PassingRowSet(request.POST or None, prefix="lots", initial=named)
    weighed = show_books(rows.forms, viewer)
    takes = bool(weighed) and all(lot.custodian_id != viewer.pk for lot in weighed.values())
    form = HandoverForm(request.POST or None, initial={"to_person": viewer.pk} if takes else None)
    if request.method == "POST" and all([form.is_valid(), rows.is_valid()]):
        answer = _hand_over(request, form, rows, weighed)
        if answer:
            return answer
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
    if readable:
        answer = _take_over(request, form, place, lots, shown)
        if answer:
            return answer
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


def _hand_over(
    request: HttpRequest, form: HandoverForm, rows: PassingRows, weighed: dict[str, Lot]
) -> HttpResponse | None:
    """Records the lots weighed and those at book together; None where something was refused."""
    at_book = lots_in(form, "at_book", request.user)
    passings = [row.passing(weighed) for row in rows.filled] + [Passing(lot.number) for lot in at_book]
    if not passings:
        form.add_error("at_book", "Scan at least one lot.")
    if form.errors:
        return None
    said = form.cleaned_data
    try:
        count = hand_over(
            lots=passings,
            to_person=said["to_person"],
            to_place=said["to_place"],
            at=form.moment,
            by=request.user,
            note=said["note"],
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        _refuse(form, rows, weighed, refusal)
        return None
    messages.success(request, f"{_counted(count)} passed to {said['to_person']} at {said['to_place'].name}.")
    _tell_differences(request, passings, weighed)
    return redirect("vault-place", said["to_place"].code)


def _take_over(
    request: HttpRequest, form: TakeOverForm, place: Place, lots: list[Lot], shown: str
) -> HttpResponse | None:
    """Records that the list which was shown passes; None where it is another one by now, or was refused."""
    taker = form.cleaned_data["to_person"]
    if not lots:
        form.add_error("to_person", f"Nothing at {place.name} is there for {taker} to take over from you.")
    elif form.cleaned_data["seen"] != shown:
        form.add_error(None, LOOK_AGAIN.format(taker))
    if form.errors:
        return None
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
        return None
    messages.success(request, f"{taker} took over {_counted(count)} at {place.name}, at book, not weighed.")
    return redirect("vault-place", place.code)


def _passing(place: Place, taker: User, viewer: User) -> QuerySet[Lot]:
    """What the taker does not hold yet; who gives passes on only what is in their own custody."""
    lots = holdings.lots_at(viewer, place).exclude(custodian=taker)
    return lots if taker == viewer else lots.filter(custodian=viewer)


def _refuse(form: HandoverForm, rows: PassingRows, weighed: dict[str, Lot], refusal: Refusal) -> None:
    """Says what was refused beside the lot that it is about: its row, or the list of those at book."""
    about = refusal.detail.get("lot")
    for row in rows.filled:
        if about and row.passing(weighed).lot == about:
            row.add_error("lot", refusal.sentence)
            return
    if about:
        form.add_error("at_book", refusal.sentence)
    else:
        form.refuse(refusal)


def _tell_differences(request: HttpRequest, passings: list[Passing], weighed: dict[str, Lot]) -> None:
    """A check weighing that is not the book's is told at once: the scale is still warm."""
    book = {lot.number: lot.gross_mg for lot in weighed.values()}
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
