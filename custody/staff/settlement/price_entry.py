"""Entering prices by hand and by file, confirming the doubtful ones, and setting how far a price may jump."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from custody.actions.prices import confirm_prices, enter_price, import_prices, set_price_limit
from custody.calc.file_rows import FileRefused
from custody.calc.price import quoted_price
from custody.calc.price_table import HEADER, read_prices
from custody.errors import Refusal
from custody.queries import prices as queries
from custody.queries import scope
from custody.roles import Verb, may
from custody.staff.settlement.price_forms import ConfirmForm, LimitForm, PriceFileForm, PriceForm
from custody.staff.settlement.price_tables import DoubtfulTable, LimitTable, PlanTable
from custody.web.access import needs
from custody.web.asked import id_asked
from custody.web.seen import seal

ANOTHER = "Nothing is settled at it until another accountant or a manager confirms it."
LOOK_FIRST = "This is not what was shown. Look at it below, then record it."
#: What the next price most likely has in common with the last one.
ALIKE = ("metal", "currency", "fixing", "per", "source")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.KEEP_PRICES)
def enter(request: HttpRequest) -> HttpResponse:
    """One price by hand, filled in like the last one of this person, or like the one that it is to replace."""
    form = PriceForm(request.POST or None, initial=_alike(request))
    if request.method == "POST" and form.is_valid():
        try:
            made = enter_price(by=request.user, **form.cleaned_data)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            if queries.is_sure(made):
                messages.success(request, f"The price of {made} is recorded.")
            else:
                messages.warning(request, f"The price of {made} is recorded, and it is doubtful. {ANOTHER}")
            return redirect("price", made.pk)
    context = {
        "title": "Enter a price",
        "sentence": "Of one day, with its source. A wrong price stays in the record and is replaced by a later one.",
        "form": form,
        "action_label": "Record the price",
        "cancel_url": reverse("prices"),
    }
    return render(request, "staff/settlement/price_entry.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.KEEP_PRICES)
def read_file(request: HttpRequest) -> HttpResponse:
    """A file of prices: what it would record is shown first, then it is recorded as it was shown."""
    form = PriceFileForm(request.POST or None, request.FILES or None)
    plans, shown = [], ""
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            plans = queries.planned(read_prices(form.text, timezone.localdate()))
            shown = seal(form.text, [(plan, plan.standing and plan.standing.pk) for plan in plans])
            replaced = sum(plan.standing is not None and not plan.same for plan in plans)
            if replaced and not said["reason"]:
                form.add_error("reason", f"{replaced} of these prices replace others: say what was wrong.")
            elif "look" not in request.POST and said["seen"] == shown:
                return _imported(request, form)
            elif "look" not in request.POST and said["seen"]:
                form.add_error(None, LOOK_FIRST)
        except FileRefused as refused:
            for fault in refused.faults:
                form.add_error("file", fault)
        except Refusal as refusal:
            form.refuse(refusal)
    return render(
        request,
        "staff/settlement/price_import.html",
        {
            "form": form,
            "plans": PlanTable(plans) if plans else None,
            "counts": _counted(plans),
            "carried": form.carried if plans else {},
            "shown": shown,
            "header": ",".join(HEADER),
            "cancel_url": reverse("prices"),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.READ_BOOK)
def doubtful(request: HttpRequest) -> HttpResponse:
    """Prices that jump and wait for a second person, who ticks those that are right and says how they know."""
    may_confirm = may(request.user.roles, Verb.CONFIRM_PRICES)
    if request.method == "POST" and not may_confirm:
        raise PermissionDenied("You may not confirm prices.")
    form = ConfirmForm(request.POST or None)
    ticked = {pk for pk in request.POST.getlist("prices") if id_asked(pk)}
    if request.method == "POST" and form.is_valid():
        try:
            chosen = list(scope.prices(request.user).filter(pk__in=ticked))
            made = confirm_prices(prices=chosen, by=request.user, **form.cleaned_data)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            said = f"{len(made)} of the doubtful prices now count." if made else "They were confirmed before."
            messages.success(request, said)
            return redirect("prices-doubtful")
    waiting = list(queries.doubtful_prices(request.user))
    table = DoubtfulTable(waiting, viewer=request.user, may_confirm=may_confirm, ticked=ticked)
    can = may_confirm and any(price.by_id != request.user.pk for price in waiting)
    context = {"form": form, "table": table, "can": can, "cancel_url": reverse("prices")}
    return render(request, "staff/settlement/prices_doubtful.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.READ_BOOK)
def limits(request: HttpRequest) -> HttpResponse:
    """How far prices may jump; a manager sets it from a date on."""
    may_set = may(request.user.roles, Verb.SET_PRICE_LIMIT)
    if request.method == "POST" and not may_set:
        raise PermissionDenied("You may not set the limit of prices.")
    form = LimitForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = set_price_limit(by=request.user, **form.cleaned_data)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"The limit of {made} on is set.")
            return redirect("price-limits")
    context = {
        "form": form,
        "may_set": may_set,
        "table": LimitTable(queries.limits()),
        "cancel_url": reverse("prices"),
    }
    return render(request, "staff/settlement/price_limits.html", context)


def _alike(request: HttpRequest) -> dict:
    known = scope.prices(request.user).order_by("-id")
    replaced = known.filter(pk=id_asked(request.GET.get("like", ""))).first()
    if replaced:
        amount = {"amount": quoted_price(replaced.amount), "day": replaced.day}
        return {name: getattr(replaced, name) for name in ALIKE} | amount
    last = known.filter(by=request.user).first() or known.first()
    return {name: getattr(last, name) for name in ALIKE} if last else {}


def _counted(plans: list[queries.Planned]) -> str:
    """In one sentence: how many are new, replace others, stand already, and are doubtful."""
    new = sum(plan.standing is None for plan in plans)
    same = sum(plan.same for plan in plans)
    doubts = sum(plan.judged.doubtful for plan in plans)
    return (
        f"{new} new, {len(plans) - new - same} that replace others, {same} that stand already; {doubts} doubtful."
        + (" Doubtful ones are recorded, and count once another person confirms them." if doubts else "")
    )


def _imported(request: HttpRequest, form: PriceFileForm) -> HttpResponse:
    """Records the file as it was shown."""
    kept = import_prices(name=form.name, text=form.text, by=request.user, reason=form.cleaned_data["reason"])
    if kept is None:
        messages.info(request, "All of these prices stand already. Nothing was recorded twice.")
        return redirect("prices")
    made = kept.prices.count()
    doubts = kept.prices.filter(doubtful=True).count()
    messages.success(request, f"{made} price{'' if made == 1 else 's'} of {kept.name} recorded.")
    if doubts:
        messages.warning(request, f"{doubts} of them doubtful. {ANOTHER}")
    return redirect("prices")
