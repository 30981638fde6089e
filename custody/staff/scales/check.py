"""The daily check of a scale, a scale found faulty, and what it weighed since its last good check."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from custody.actions.scales import check_scale, find_faulty
from custody.calc.refusals import Refused
from custody.errors import Refusal
from custody.models import ReferenceWeight, Scale, ScaleCheck
from custody.queries import scales as queries
from custody.roles import Verb, may
from custody.staff.scales.forms import CheckForm, FaultForm, LoadRows
from custody.staff.scales.register import READERS
from custody.staff.scales.tables import (
    RESULT_TONES,
    DoubtedReadingTable,
    DoubtedRefusalTable,
    DoubtTable,
    FitTable,
    LoadTable,
    fits,
    needs_words,
    result_of,
)
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

#: A scale that was never checked: a light load and a heavy one.
TWO_BLANK = ({"weights": ""}, {"weights": ""})
#: What is to be done about what a faulty scale said.
WEIGH_AGAIN = "Each of these lots is to be weighed again on another scale, where something of it is left."
ASSAY_AGAIN = "What was reported of a reading, or beside a proof, is to be assayed again."


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.WEIGH)
def check(request: HttpRequest, code: str) -> HttpResponse:
    """Several loads of reference weights, each with what the scale shows; whether it passed is said afterwards."""
    scale = get_object_or_404(queries.in_use(), code=code)
    weights = {one.code: one for one in ReferenceWeight.objects.filter(active=True).order_by("nominal_mg", "code")}
    form = CheckForm(request.POST or None)
    rows = LoadRows(
        request.POST or None,
        prefix="loads",
        initial=[{"weights": " ".join(codes)} for codes in queries.last_weights(scale)] or TWO_BLANK,
        form_kwargs={"plate": queries.plate_of(scale), "weights": weights},
    )
    rows.start_here()
    if request.method == "POST" and all([form.is_valid(), rows.is_valid()]):
        done = _record(request, scale, form, rows)
        if done:
            return redirect("scale-check-result", done.pk)
    suiting = fits(scale, weights.values())
    return render(
        request,
        "staff/scales/check.html",
        {
            "scale": scale,
            "form": form,
            "row_sets": [rows],
            "needs": needs_words(scale),
            "fits": FitTable(suiting),
            "weights": [each.weight.code for each in suiting],
            "cancel_url": reverse("scales"),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.WEIGH, Verb.KEEP_SCALES)
def faulty(request: HttpRequest, code: str) -> HttpResponse:
    """A scale is found faulty: it may not weigh any more, and what it weighed is listed."""
    scale = get_object_or_404(queries.in_use(), code=code)
    form = FaultForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            found = find_faulty(
                scale=scale,
                reason=told["reason"],
                at=form.moment,
                by=request.user,
                request_key=told["request_key"],
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"Scale {scale} may not be used until it passes a check.")
            return redirect("weighings-since", found.pk)
    context = {"scale": scale, "form": form, "cancel_url": reverse("scale", args=[scale.code])}
    return render(request, "staff/scales/faulty.html", context)


@require_safe
@needs(*READERS)
def result(request: HttpRequest, pk: int) -> HttpResponse:
    """One check: each load with its error and what is permitted, and what follows."""
    one = get_object_or_404(_checks(), pk=pk)
    panel = Panel(
        title="Result",
        facts=[
            Fact(label="Result", value=result_of(one), tone=RESULT_TONES[result_of(one)]),
            Fact(label="When", at=one.at),
            Fact(label="By", value=str(one.by)),
            *([Fact(label="Remark", value=one.reason)] if one.reason else []),
        ],
        note=_follows(one),
    )
    return render(
        request,
        "staff/scales/result.html",
        {
            "check": one,
            "panel": panel,
            "table": LoadTable([one], one.scale),
            "actions": _next(request, one),
        },
    )


@require_safe
@needs(*READERS)
def since(request: HttpRequest, pk: int) -> HttpResponse:
    """Every weighing that a scale made since its last good check before it failed, on one page to print."""
    one = get_object_or_404(_checks().filter(passed=False), pk=pk)
    weighings = list(queries.doubted(one, request.user))
    readings = list(queries.doubted_readings(one, request.user))
    lists = (
        DoubtTable(weighings),
        DoubtedReadingTable(readings),
        DoubtedRefusalTable(list(queries.doubted_refusals(one, request.user))),
    )
    good = queries.last_good_check(one)
    reason = one.reason if not one.loads.all() else f"failed its check{f': {one.reason}' if one.reason else ''}"
    panel = Panel(
        title="Why",
        facts=[
            Fact(label="What was found", value=reason),
            Fact(label="Found", at=one.at),
            Fact(label="By", value=str(one.by)),
            Fact(label="Last good check", value="none in the book", at=good.at if good else None),
            Fact(label="Weighings", value=str(len(weighings))),
            Fact(label="Net, all together", mg=sum(each.net_mg for each in weighings)),
            Fact(label="Lots", value=str(len({each.lot_id for each in weighings}))),
            *([Fact(label="Readings on worksheets", value=str(len(readings)))] if readings else []),
        ],
        note=f"{WEIGH_AGAIN} {ASSAY_AGAIN}" if readings else WEIGH_AGAIN,
    )
    tables = [table for table in lists if table.rows] or [DoubtTable([])]
    return render(request, "staff/scales/since.html", {"check": one, "panel": panel, "tables": tables})


def _checks():
    return ScaleCheck.objects.select_related("scale", "by").prefetch_related("loads")


def _record(request: HttpRequest, scale: Scale, form: CheckForm, rows: LoadRows) -> ScaleCheck | None:
    try:
        return check_scale(
            scale=scale,
            loads=rows.loads,
            at=form.moment,
            by=request.user,
            note=form.cleaned_data["note"],
            request_key=form.cleaned_data["request_key"],
        )
    except (Refusal, Refused) as refusal:
        form.refuse(refusal)
        return None


def _follows(one: ScaleCheck) -> str:
    last = queries.register().get(pk=one.scale_id)
    if one.passed:
        return "It may be used today." if last.passed and last.checked_at == one.at else ""
    if last.passed:
        return "It passed another check since, and may be used."
    return "It may not be used until it passes a check. Take it out of use, or have it adjusted and check it again."


def _next(request: HttpRequest, one: ScaleCheck) -> list[Action]:
    found = [Action(label=f"To scale {one.scale.code}", url=reverse("scale", args=[one.scale.code]))]
    if not one.passed:
        found.insert(
            0, Action(label="What it weighed since its last good check", url=reverse("weighings-since", args=[one.pk]))
        )
    if may(request.user.roles, Verb.WEIGH):
        found += [
            Action(label="Check it again", url=reverse("scale-check", args=[one.scale.code])),
            Action(label="Check another scale", url=reverse("scales"), tone="main" if one.passed else "quiet"),
        ]
    return found
