"""Counting a place by scan: blind, then told against the book, signed by two; and what a count found."""

from collections.abc import Iterator

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from custody.actions.issue_count import issue_count_sheet
from custody.actions.vault import count_stock
from custody.calc.mass import format_grams, plain_grams
from custody.errors import Refusal
from custody.models import Place, StockCount
from custody.queries import holdings, scope
from custody.queries import vault as queries
from custody.roles import Verb, may
from custody.staff.vault import vault_tables
from custody.staff.vault.count_form import CountForm, tally_of
from custody.staff.vault.handover import counted as counted_lots
from custody.web.access import needs
from custody.web.csv_file import csv_file
from custody.web.panels import Action, Fact, Panel

NEXT = (
    "Look again, then count anew: a count changes nothing in the book.",
    "What stays missing is in the book with who holds it. When it is given up, the book is corrected by a difference,"
    " with a reason and a countersignature.",
)
NEXT_STRAY = "What lies here and belongs elsewhere by the book is taken back, or handed over to this place."


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.COUNT)
def count(request: HttpRequest, code: str) -> HttpResponse:
    """Everything is scanned first; then the page says what is missing, and a second person signs."""
    viewer = request.user
    place = get_object_or_404(Place, code=code, active=True)
    lots = list(holdings.lots_at(viewer, place).select_related("owner", "custodian", "bar", "place"))
    form = CountForm(request.POST or None, lots=lots)
    valid = request.method == "POST" and form.is_valid()
    if valid:
        earlier = scope.stock_counts(viewer).filter(request_key=form.cleaned_data["request_key"]).first()
        if earlier:
            messages.info(request, "This count was recorded before. Nothing was recorded twice.")
            return redirect("counted", earlier.number)
    if form.is_bound and "scanned" in form.cleaned_data:
        form.compare(viewer)  # also where something else is to be mended: nothing typed below is lost
    if valid and form.cleaned_data["told"] and "again" not in request.POST:
        recorded = _record(request, place, form)
        if recorded:
            return redirect("counted", recorded.number)
    standing = queries.standing_of(viewer, place)
    context = {
        "place": place,
        "standing": standing,
        "closed": place.two_person and standing.access is None,
        "form": form,
        "tally": form.tally,
        "kept": f"count {place.code} {viewer.pk}",
        "cancel_url": reverse("vault-place", args=[place.code]),
    }
    return render(request, "staff/vault/count.html", context)


@require_safe
@needs(Verb.COUNT)
def look(request: HttpRequest, code: str) -> JsonResponse:
    """What one label says, for the page's script: whether it belongs here, and nothing of what else should."""
    place = get_object_or_404(Place, code=code)
    scanned = " ".join(request.GET.get("code", "").split())[:60]
    lots = list(holdings.lots_at(request.user, place).select_related("owner", "custodian", "bar", "place"))
    tally = tally_of([scanned], lots, request.user)
    words = " ".join(dict.fromkeys(stray.words for stray in tally.strays))
    if tally.several:
        words = "Several bars here bear it: scan the labels of their lots."
    elif tally.found:
        one = next(iter(tally.found))
        bar = getattr(one, "bar", None)
        words = (
            f"{len(tally.found)} bars in a closed box" if len(tally.found) > 1 else str(bar or one.get_form_display())
        )
    return JsonResponse({"words": words, "here": bool(tally.found) and not tally.strays})


@require_safe
@needs(Verb.READ_BOOK)
def counted(request: HttpRequest, number: str) -> HttpResponse:
    """What one count found, and what comes next."""
    one = get_object_or_404(_counts(request), number=number)
    lines = list(one.lines.select_related("lot__bar", "custodian"))
    missing, found = [line for line in lines if not line.found], [line for line in lines if line.found]
    strays = list(one.strays.select_related("lot", "place", "custodian"))
    papers = scope.documents(request.user).filter(title=queries.sheet_title(one))
    context = {
        "count": one,
        "kept": f"count {one.place.code} {one.by_id}" if one.by_id == request.user.pk else "",
        "panel": _panel(one, found, missing, strays),
        "missing": vault_tables.CountLineTable(missing, caption="Not found") if missing else None,
        "strays": vault_tables.StrayTable(strays) if strays else None,
        "found": vault_tables.CountLineTable(found, caption="Found") if found else None,
        "tally": f"{len(found)} of {len(lines)} found",
        "next": [*(NEXT if missing else ()), *([NEXT_STRAY] if strays else [])],
        "papers": papers,
        "actions": _actions(request, one),
    }
    return render(request, "staff/vault/counted.html", context)


@require_POST
@needs(Verb.COUNT)
def sheet(request: HttpRequest, number: str) -> HttpResponse:
    """The count sheet as PDF, kept as issued; a reprint says which copy it is."""
    one = get_object_or_404(_counts(request), number=number)
    paper = issue_count_sheet(count=one, by=request.user)
    messages.success(request, f"{paper.title} is issued and kept.")
    return redirect("document", paper.pk)


@require_safe
@needs(Verb.READ_BOOK)
def count_csv(request: HttpRequest, number: str) -> HttpResponse:
    """The lines of a count as CSV: found, missing, and what was scanned besides; masses in grams."""
    one = get_object_or_404(_counts(request), number=number)
    return csv_file(f"count-{one.number.lower()}.csv", _lines(one))


def _lines(one: StockCount) -> Iterator[tuple]:
    yield ("standing", "code", "lot", "form", "bar", "gross_g", "held_by", "place", "told")
    for line in one.lines.select_related("lot__bar", "custodian"):
        standing, bar = "found" if line.found else "missing", getattr(line.lot, "bar", "")
        grams, form, number = plain_grams(line.book_mg), line.lot.get_form_display(), line.lot.number
        yield (standing, number, number, form, bar, grams, line.custodian, one.place.code, line.note)
    for stray in one.strays.select_related("lot__bar", "place", "custodian"):
        lot, where = stray.lot, stray.place.code if stray.place else ""
        form, bar = (lot.get_form_display(), getattr(lot, "bar", "")) if lot else ("", "")
        yield ("not by the book", stray.code, lot or "", form, bar, "", stray.custodian or "", where, stray.note)


def _record(request: HttpRequest, place: Place, form: CountForm) -> StockCount | None:
    """Records the count; None where something is missing or refused."""
    missing = form.ask_missing()
    form.ask_signature()
    if form.errors:
        return None
    try:
        one = count_stock(
            place=place,
            found={lot.number: how for lot, how in form.tally.found.items()},
            missing=missing,
            strays=[stray.as_stray() for stray in form.tally.strays],
            second=form.signature(request),
            at=form.moment,
            by=request.user,
            note=form.cleaned_data["note"],
            request_key=form.cleaned_data["request_key"],
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return None
    messages.success(request, f"The count is recorded: {one.number}. Both signed.")
    return one


def _counts(request: HttpRequest):
    return scope.stock_counts(request.user).select_related("place", "by", "second")


def _panel(one: StockCount, found: list, missing: list, strays: list) -> Panel:
    facts = [
        Fact(label="Counted", at=one.at),
        Fact(label="By", value=f"{one.by} and {one.second}"),
        Fact(label="Found", value=f"{counted_lots(len(found))}, {format_grams(sum(line.book_mg for line in found))} g"),
        Fact(
            label="Not found",
            value=f"{counted_lots(len(missing))}, {format_grams(sum(line.book_mg for line in missing))} g",
        ),
        Fact(label="Not here by the book", value=str(len(strays))),
    ]
    return Panel(title=one.place.name, facts=facts, note=one.note)


def _actions(request: HttpRequest, one: StockCount) -> list[Action]:
    found = [Action(label="As CSV", url=reverse("count-csv", args=[one.number]))]
    if may(request.user.roles, Verb.COUNT):
        found.insert(
            0, Action(label="Print the count sheet", url=reverse("count-sheet", args=[one.number]), method="post")
        )
        found.append(Action(label="Count again", url=reverse("count", args=[one.place.code])))
    return found
