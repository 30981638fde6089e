"""Bar lists: bars of a dispatch, a box, a cast, a place or some days, on the screen, as CSV and as PDF."""

from collections.abc import Sequence

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from custody.actions.issue_bar_list import issue_bar_list
from custody.calc.mass import plain_grams
from custody.errors import Refusal
from custody.models import User
from custody.queries import bar_lists, boxes, scope
from custody.queries.bar_lists import BarLine, Chosen
from custody.roles import Verb, may
from custody.staff.vault.box_tables import BarListTable
from custody.staff.vault.boxes_form import ListForm
from custody.terms import Kind
from custody.web.access import needs
from custody.web.csv_file import csv_file
from custody.web.panels import Action

HEAD = (
    "mark", "serial", "year", "type", "lot", "gross_g", "gross_ozt", "metal", "fineness_permille", "fine_g", "fine_ozt",
    "rule",
)  # fmt: skip


@require_safe
@needs(Verb.READ_BOOK)
def bars(request: HttpRequest) -> HttpResponse:
    """What is asked for as a table; ``csv`` gives the same as a file."""
    form = ListForm(request.GET if set(request.GET) & set(ListForm.base_fields) else None)
    chosen = _chosen(form, request.user)
    lines = bar_lists.lines(chosen, request.user) if chosen else []
    if chosen and "csv" in request.GET:
        return _csv(chosen, lines)
    return render(
        request,
        "staff/vault/bar_list.html",
        {
            "form": form,
            "title": f"Bars of {chosen.words}" if chosen else "Bar list",
            "actions": _actions(request, chosen) if lines else [],
            "table": BarListTable(lines) if chosen else None,
        },
    )


@require_POST
@needs(Verb.DISPATCH)
def issue(request: HttpRequest) -> HttpResponse:
    """Issues the list as PDF, kept as it was issued."""
    form = ListForm(request.POST)
    chosen = _chosen(form, request.user)
    back = f"{reverse('bar-list')}?{_asked(request.POST)}"
    if chosen is None:
        return redirect(back)
    try:
        paper = issue_bar_list(chosen=chosen, at=timezone.now(), by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
        return redirect(back)
    messages.success(request, f"{paper.title} is issued and kept.")
    return redirect("document", paper.pk)


def _chosen(form: ListForm, viewer: User) -> Chosen | None:
    """What the form asks for; what is unknown is said at its field."""
    if not form.is_bound or not form.is_valid():
        return None
    said = form.cleaned_data
    operations = scope.operations(viewer).select_related("party")
    if said["dispatch"]:
        one = operations.filter(number__iexact=said["dispatch"], kind=Kind.DISPATCH).first()
        return Chosen(f"dispatch {one}", one.number, dispatch=one) if one else _unknown(form, "dispatch")
    if said["cast"]:
        one = operations.filter(number__iexact=said["cast"], created_lots__bar__isnull=False).first()
        return Chosen(f"{one.kind} {one}", one.number, cast=one) if one else _unknown(form, "cast")
    if said["box"]:
        one = boxes.named(said["box"], viewer)
        return Chosen(f"box {one}", one.number, box=one) if one else _unknown(form, "box")
    if said["place"]:
        return Chosen(said["place"].name, place=said["place"])
    days = said["since"], said["until"]
    words = f"{days[0]}" if days[0] == days[1] else f"{days[0]} to {days[1]}"
    return Chosen(f"castings of {words}", days=days)


def _unknown(form: ListForm, name: str) -> None:
    form.add_error(name, f"There is no {name} {form.cleaned_data[name]}.")


def _asked(said) -> str:
    kept = said.copy()
    for name in set(kept) - set(ListForm.base_fields):
        del kept[name]
    return kept.urlencode()


def _actions(request: HttpRequest, chosen: Chosen) -> list[Action]:
    asked = _asked(request.GET)
    found = [Action(label="As CSV", url=f"{reverse('bar-list')}?{asked}&csv=1")]
    if may(request.user.roles, Verb.DISPATCH):
        values = {name: request.GET[name] for name in ListForm.base_fields if request.GET.get(name)}
        url = reverse("issue-bar-list")
        found.append(Action(label="Issue it as PDF", url=url, method="post", tone="main", values=values))
    return found


def _csv(chosen: Chosen, lines: list[BarLine]) -> HttpResponse:
    """Masses in grams, ounces by the rule of their market; the last lines are the totals, metal by metal."""
    name = "".join(sign if sign.isalnum() else "-" for sign in (chosen.number or chosen.words).lower())
    rows: list[Sequence] = [HEAD]
    for line in lines:
        bar, weight = line.bar, line.weight
        row = [bar.mark, bar.serial, bar.year, line.kind, line.lot.number, plain_grams(line.gross_mg)]
        if weight:
            fineness = f"{line.ppm // 1000}.{line.ppm % 1000:03d}"
            row += [weight.gross_ozt, line.metal, fineness, plain_grams(line.fine_mg), weight.fine_ozt, weight.rule]
        rows.append(row)
    for total in bar_lists.totals(lines):
        ounces, fine = total.gross_ozt, plain_grams(total.fine_mg)
        sums = [plain_grams(total.gross_mg), ounces, total.metal, "", fine, total.fine_ozt, ""]
        rows.append(["total", f"{total.bars} bars", "", "", "", *sums])
    return csv_file(f"bars-{name}.csv", rows)
