"""Handing lots over: scanned and weighed again, or at book with the reason; and what one form recorded."""

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from custody.actions.move import Passing, hand_over
from custody.calc.mass import MINUS, format_grams
from custody.calc.refusals import Refused
from custody.calc.scales import check_load
from custody.errors import Refusal
from custody.models import Handover, Lot, User
from custody.queries import handovers, holdings
from custody.queries.boxes import unboxed
from custody.queries.scales import plate_of
from custody.roles import Verb
from custody.staff.vault.forms import HandoverForm, PassingRows, PassingRowSet
from custody.staff.vault.tables import PassedTable
from custody.terms import Form, NotWeighed
from custody.web.access import needs
from custody.web.countersign import ASKED, CountersignForm
from custody.web.lot_field import lots_by_code, show_books
from custody.web.lot_list import lots_in
from custody.web.panels import Fact, Panel
from custody.web.weighing import weighing_kwargs


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.HAND_OVER)
def hand_over_lots(request: HttpRequest) -> HttpResponse:
    """Lots that are scanned pass to a person at a place; who gives or who takes records it.

    ``?lot=…`` (several), ``?to_place=…`` and ``?to_person=…`` (a login) stand in the form beforehand.
    """
    viewer = request.user
    weighing = weighing_kwargs(viewer)
    named = lots_by_code(request.GET.getlist("lot"), viewer)
    boxed = unboxed([code for code in request.GET.getlist("lot") if code not in named], viewer)
    rows = PassingRowSet(
        request.POST or None,
        prefix="lots",
        initial=[{"lot": code} for code in request.GET.getlist("lot") if not _at_book(code, named, boxed)],
        form_kwargs=weighing,
    )
    weighed = show_books(rows.forms, viewer)
    form = HandoverForm(request.POST or None, initial=_initial(request, named, list(boxed)), **weighing)
    if request.method == "POST" and all([form.is_valid(), rows.is_valid()]):
        answer = _hand_over(request, form, rows, weighed)
        if answer:
            return answer
    return render(
        request, "staff/vault/handover.html", {"form": form, "row_sets": [rows], "cancel_url": reverse("vault")}
    )


@require_safe
@needs(Verb.READ_BOOK)
def passed(request: HttpRequest, key: UUID) -> HttpResponse:
    """What one form passed on, as a list to print: by whom it was signed, how each lot passed, what was not found."""
    found = list(handovers.recorded(request.user, key))
    if not found:
        raise Http404
    first, missing = found[0], [one.lot.number for one in found if not one.seen]
    return render(
        request,
        "staff/vault/passed.html",
        {
            "title": f"{first.from_person} to {_taker(first)}",
            "places": ", ".join(sorted({one.to_place.name for one in found})),
            "first": first,
            "missing": missing,
            "panel": _panel(first, len(found)),
            "table": PassedTable(found),
        },
    )


def check_weighings(form: CountersignForm, rows: PassingRows, lots: dict[str, Lot]) -> None:
    """Says of every row at once what stands against it: no scale, a load it does not weigh, a difference."""
    weighed = [(row, row.cleaned_data["lot"].strip()) for row in rows.filled]
    if not weighed:
        return
    scale = rows.forms[0].scales.get(form.cleaned_data["scale"])
    if scale is None:
        form.add_error("scale", "Scale is missing. Choose the one that weighed the lots.")
        return
    for row, _ in weighed:
        try:
            check_load(plate_of(scale), row.cleaned_data["gross"])
        except Refused as refused:
            row.add_error("gross", _other_scale(str(refused), row.cleaned_data["gross"]))
    readable = [(row, lots[code]) for row, code in weighed if code in lots and not row.errors]
    compared = handovers.compare({lot: (scale, row.weighed_on(scale.code).net_mg) for row, lot in readable})
    for row, lot in readable:
        difference = compared.get(lot.number)
        if difference and not difference.explained:
            row.tell(difference, lot.gross_mg)
            form.asked = True


def refuse(form: CountersignForm, rows: PassingRows, lots: dict[str, Lot], refusal: Refusal, list_field: str) -> None:
    """Says what was refused beside the lot that it is about: its row, or the list of those at book."""
    about = refusal.detail.get("lot")
    if refusal.field == ASKED or not about:
        form.refuse(refusal)
        return
    for row in rows.filled:
        if row.number(lots) == about:
            row.add_error("lot", refusal.sentence)
            return
    form.add_error(list_field, refusal.sentence)


def tell_differences(request: HttpRequest, passings: list[Passing], weighed: dict[str, Lot]) -> None:
    """A check weighing that is not the book's is told at once: the scale is still warm."""
    book = {lot.number: lot.gross_mg for lot in weighed.values()}
    for passing in passings:
        off = passing.weighed.net_mg - book[passing.lot] if passing.weighed else 0
        if off:
            sign = "+" if off > 0 else MINUS
            messages.warning(
                request,
                f"Lot {passing.lot} weighed {format_grams(passing.weighed.net_mg)} g, {sign}{format_grams(abs(off))} g"
                f" against the book's {format_grams(book[passing.lot])} g. The handover is recorded with both figures.",
            )


def counted(count: int) -> str:
    """So many lots, in words."""
    return f"{count} lot{'s' if count != 1 else ''}"


def _hand_over(
    request: HttpRequest, form: HandoverForm, rows: PassingRows, weighed: dict[str, Lot]
) -> HttpResponse | None:
    """Records the lots weighed and those at book together; None where something was refused."""
    at_book = lots_in(form, "at_book", request.user)
    said = form.cleaned_data
    if not at_book and not rows.filled:
        form.add_error("at_book", "Scan at least one lot.")
    if not said["not_weighed"] and any(not _in_vessel(lot) for lot in at_book):
        form.add_error("not_weighed", "Say why these lots are not weighed, or weigh them above.")
    # A lot that can't pass at all is refused as such by the book: nobody is asked why it weighs otherwise.
    passable = {
        code: lot
        for code, lot in weighed.items()
        if lot.gross_mg and (lot.custodian_id == request.user.pk or request.user.pk == said["to_person"].pk)
    }
    check_weighings(form, rows, passable)
    if form.errors or any(row.errors for row in rows.filled):
        return None
    passings = [row.passing(weighed, said["scale"]) for row in rows.filled]
    passings += [Passing(lot.number, not_weighed=form.reason_for(lot)) for lot in at_book]
    try:
        count = hand_over(
            lots=passings,
            to_person=said["to_person"],
            to_place=said["to_place"],
            at=form.moment,
            by=request.user,
            note=said["note"],
            countersign=form.signature(request),
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        refuse(form, rows, weighed, refusal, "at_book")
        return None
    messages.success(request, f"{counted(count)} passed to {said['to_person']} at {said['to_place'].name}.")
    tell_differences(request, passings, weighed)
    return redirect("vault-place", said["to_place"].code)


def _taker(first: Handover) -> User:
    """Who took over; where not one lot was found, who should have: that person signed as well."""
    if first.seen:
        return first.to_person
    return first.by if first.by != first.from_person else first.signed_by


def _panel(first: Handover, count: int) -> Panel:
    facts = [
        Fact(label="When", at=first.at),
        Fact(label="Given by", value=str(first.from_person)),
        Fact(label="Taken by", value=str(_taker(first))),
        Fact(label="Recorded by", value=str(first.by)),
        Fact(label="Signed beside by", value=str(first.signed_by or "nobody: who gives or takes records it")),
        Fact(label="Lots", value=str(count)),
    ]
    return Panel(title="Passing on", facts=facts, note=first.note)


def _initial(request: HttpRequest, named: dict[str, Lot], boxed: list[str]) -> dict:
    """What the address says of the handover. Who holds none of the lots is who takes them."""
    viewer: User = request.user
    asked = request.GET.get("to_person", "")
    taker = holdings.takers().filter(username=asked).first() if asked else None
    if taker is None and named and all(lot.custodian_id != viewer.pk for lot in named.values()):
        taker = viewer
    in_vessels = [code for code in request.GET.getlist("lot") if _in_vessel(named.get(code))]
    return {
        "to_person": taker.pk if taker else None,
        "to_place": request.GET.get("to_place"),
        "at_book": "\n".join(in_vessels + boxed),
        "not_weighed": str(NotWeighed.SEALED) if boxed else None,
    }


def _at_book(code: str, named: dict[str, Lot], boxed: dict[str, list[Lot]]) -> bool:
    """Whether what a code names passes at book: a box by its seal, a content in its vessel."""
    return code in boxed or _in_vessel(named.get(code))


def _in_vessel(lot: Lot | None) -> bool:
    return lot is not None and lot.form == Form.IN_PROCESS


def _other_scale(sentence: str, gross_mg: int) -> str:
    """Names the scales that weigh this load, where there are any."""
    others = " or ".join(str(scale) for scale in handovers.scales_for(gross_mg))
    return f"{sentence} It can be weighed on {others}." if others else sentence
