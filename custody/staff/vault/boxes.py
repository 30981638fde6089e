"""Boxes under seal: packed by scanning serials, listed, opened for a reason."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_tables2 import RequestConfig

from custody.actions.boxes import open_box, pack_box
from custody.actions.issue_bar_list import issue_box_list
from custody.calc.mass import format_grams
from custody.errors import Refusal
from custody.models import Box
from custody.queries import bar_lists, boxes, scope
from custody.queries.bar_lists import Chosen
from custody.roles import Verb, may
from custody.staff.desk.tables import DocumentTable
from custody.staff.vault.box_tables import BarListTable, BoxTable
from custody.staff.vault.boxes_form import OpenForm, PackForm
from custody.web.access import needs
from custody.web.lot_field import lots_by_code
from custody.web.lot_list import MOST, lots_in
from custody.web.panels import Action, Fact, Panel

BOXES_A_PAGE = 50
BOXES_SHOWN = 500


@require_safe
@needs(Verb.READ_BOOK)
def box_list(request: HttpRequest) -> HttpResponse:
    """All boxes, the newest in front: closed, opened, or left closed."""
    found = list(boxes.latest(request.user)[:BOXES_SHOWN])
    page = BoxTable(boxes.standing(found, request.user))
    RequestConfig(request, paginate={"per_page": BOXES_A_PAGE}).configure(page)
    actions = []
    if may(request.user.roles, Verb.DISPATCH):
        actions = [Action(label="Pack a box", url=reverse("pack-box"), tone="main")]
    return render(request, "staff/vault/boxes.html", {"table": page, "actions": actions})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.DISPATCH)
def pack(request: HttpRequest) -> HttpResponse:
    """Serials are scanned one after the other; the page counts along. Its list is printed with it."""
    form = PackForm(request.POST or None, initial={"bars": "\n".join(request.GET.getlist("lot"))})
    if request.method == "POST" and form.is_valid():
        earlier = scope.boxes(request.user).filter(request_key=form.cleaned_data["request_key"]).first()
        if earlier:
            messages.info(request, f"This box was packed before, as {earlier}. Nothing was recorded twice.")
            return redirect("box", earlier.number)
        lots = lots_in(form, "bars", request.user)
        box = None if form.errors else _pack(request, form, [lot.number for lot in lots])
        if box:
            messages.success(request, f"Box {box} is packed: {len(lots)} bars under seal {box.seal}.")
            _issue(request, box)
            return redirect("box", box.number)
    return render(request, "staff/vault/pack.html", {"form": form, "cancel_url": reverse("boxes")})


@require_safe
@needs(Verb.READ_BOOK)
def box(request: HttpRequest, number: str) -> HttpResponse:
    """One box: its seal, where it is, its bars, its papers, and what can be done with it."""
    one = _one(request, number)
    (standing,) = boxes.standing([one], request.user)
    lines = bar_lists.lines(Chosen(f"box {one}", one.number, box=one), request.user)
    papers = list(scope.documents(request.user).filter(title=f"Box list {one}").select_related("issued_by"))
    return render(
        request,
        "staff/vault/box.html",
        {
            "box": one,
            "status": standing.state,
            "tone": "good" if standing.state == "closed" else "plain",
            "actions": _actions(request, standing),
            "panels": [_panel(one, standing, lines)],
            "tables": [BarListTable(lines), DocumentTable(papers)],
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.DISPATCH)
def open_one(request: HttpRequest, number: str) -> HttpResponse:
    """The seal is broken, for a reason; its bars are counted one by one again."""
    one = _one(request, number)
    form = OpenForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            open_box(box=one, reason=form.cleaned_data["reason"], at=form.moment, by=request.user)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"Box {one} is opened: its bars are counted one by one again.")
            return redirect("box", one.number)
    cancel_url = reverse("box", args=[one.number])
    return render(request, "staff/vault/open_box.html", {"box": one, "form": form, "cancel_url": cancel_url})


@require_POST
@needs(Verb.DISPATCH)
def issue_list(request: HttpRequest, number: str) -> HttpResponse:
    """Issues the list of a box, the first time or again."""
    one = _one(request, number)
    _issue(request, one)
    return redirect("box", one.number)


@require_safe
@needs(Verb.READ_BOOK)
def tally(request: HttpRequest) -> JsonResponse:
    """What scanned codes come to, for the page's script: how many, gross and fine, and which are unknown."""
    codes = [code for code in dict.fromkeys(request.GET.getlist("code")[:MOST]) if code.strip()]
    found = lots_by_code(codes, request.user)
    boxed = boxes.unboxed([code for code in codes if code not in found], request.user)
    lots = {lot.pk: lot for lot in found.values()} | {lot.pk: lot for inside in boxed.values() for lot in inside}
    unknown = [code for code in codes if code not in found and code not in boxed]
    gross = sum(lot.gross_mg for lot in lots.values())
    metals = [("Au", sum(lot.au_mg for lot in lots.values())), ("Ag", sum(lot.ag_mg for lot in lots.values()))]
    words = f"{len(lots)} scanned: gross {format_grams(gross)} g"
    words += "".join(f", fine {metal} {format_grams(mg)} g" for metal, mg in metals if mg) + "."
    if unknown:
        words += f" Not known: {', '.join(code[:40] for code in unknown[:5])}."
    return JsonResponse({"words": words})


def _one(request: HttpRequest, number: str) -> Box:
    return get_object_or_404(scope.boxes(request.user).select_related("place", "by", "opening__by"), number=number)


def _pack(request: HttpRequest, form: PackForm, bars: list[str]) -> Box | None:
    said = form.cleaned_data
    try:
        return pack_box(
            bars=bars,
            seal=said["seal"],
            at=form.moment,
            by=request.user,
            note=said["note"],
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        form.add_error("seal" if refusal.detail.get("seal") else "bars", refusal.sentence)
        return None


def _issue(request: HttpRequest, one: Box) -> None:
    try:
        paper = issue_box_list(box=one, at=timezone.now(), by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        copy = f", copy {paper.copy_no}" if paper.copy_no > 1 else ""
        messages.success(request, f"{paper.title}{copy} is ready to print: open it below.")


def _panel(one: Box, standing: boxes.BoxStanding, lines: list[bar_lists.BarLine]) -> Panel:
    facts = [
        Fact(label="Seal", value=one.seal),
        Fact(label="Packed at", at=one.at),
        Fact(label="Packed by", value=str(one.by)),
        Fact(label="Bars", value=str(len(lines))),
        Fact(label="Gross", mg=sum(line.gross_mg for line in lines)),
    ]
    facts += [Fact(label=f"Fine {total.metal}", mg=total.fine_mg) for total in bar_lists.totals(lines)]
    if standing.inside and standing.state == "closed":
        first = standing.inside[0]
        facts.append(Fact(label="At", value=str(first.place), url=reverse("vault-place", args=[first.place.code])))
        facts.append(Fact(label="Held by", value=str(first.custodian)))
    if hasattr(one, "opening"):
        opened = one.opening
        facts += [Fact(label="Opened", at=opened.at), Fact(label="Opened by", value=str(opened.by))]
        facts.append(Fact(label="Reason", value=opened.reason))
    return Panel(title="Box", facts=facts, note=one.note)


def _actions(request: HttpRequest, standing: boxes.BoxStanding) -> list[Action]:
    one, found = standing.box, []
    closed = standing.state == "closed"
    if closed and may(request.user.roles, Verb.HAND_OVER):
        url = f"{reverse('handover')}?{urlencode({'lot': one.number})}"
        found.append(Action(label="Hand it over", url=url))
    if may(request.user.roles, Verb.DISPATCH):
        if closed:
            url = f"{reverse('gate')}?{urlencode({'lot': one.number})}"
            found.append(Action(label="Send it out", url=url, tone="main"))
            found.append(Action(label="Open it", url=reverse("open-box", args=[one.number])))
        url = reverse("issue-box-list", args=[one.number])
        found.append(Action(label="Issue its list", url=url, method="post"))
    return found
