"""Paper slips: printed before the power fails, entered late, or spoiled with the reason."""

from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from custody.actions.slips import print_slips, spoil_slip
from custody.errors import Refusal
from custody.models import Slip, User
from custody.queries import registers
from custody.roles import Verb, may
from custody.staff.counter.tables import SlipTable
from custody.web.access import needs
from custody.web.forms import BaseForm, CountField
from custody.web.panels import Action, Fact, Panel

A_PAGE = 100
TONES = {registers.OPEN: "wait", registers.ENTERED: "good", registers.SPOILED: "stop"}


class PrintForm(BaseForm):
    """How many blank slips."""

    how_many = CountField(
        label="Blank slips", what="number of slips", initial=10, help_text="Each on a page of its own."
    )


class SpoilForm(BaseForm):
    """Why a slip will never be entered."""

    reason = forms.CharField(label="Reason", max_length=300, help_text="Like: torn, written wrongly, lost.")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.RECEIVE, Verb.READ_BOOK)
def slips(request: HttpRequest) -> HttpResponse:
    """The register of slips; the front desk prints more of them."""
    may_print = may(request.user.roles, Verb.RECEIVE)
    form = PrintForm(request.POST if request.method == "POST" and may_print else None)
    if form.is_bound and form.is_valid():
        try:
            said = form.cleaned_data
            paper = print_slips(
                how_many=said["how_many"], at=timezone.now(), by=request.user, request_key=said["request_key"]
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(
                request,
                f"Ready to print under “Paper”: {paper.title}. Keep them with pens and a torch at the counter.",
            )
            return redirect("slip", paper.slips.first().number)
    found = Paginator(registers.slips(request.user), A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "staff/counter/slips.html",
        {"form": form if may_print else None, "table": SlipTable(found.object_list), "found": found},
    )


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.RECEIVE, Verb.READ_BOOK)
def slip(request: HttpRequest, number: str) -> HttpResponse:
    """One slip: enter it, or say why it is spoiled."""
    one = get_object_or_404(registers.slips(request.user), number=number)
    state = registers.state_of(one)
    may_end = may(request.user.roles, Verb.RECEIVE) and state == registers.OPEN
    form = SpoilForm(request.POST if request.method == "POST" and may(request.user.roles, Verb.RECEIVE) else None)
    if form.is_bound and form.is_valid():
        try:
            spoil_slip(slip=one, reason=form.cleaned_data["reason"], at=timezone.now(), by=request.user)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"Slip {one.number} is spoiled. Its number is never used again.")
            return redirect("slip", one.number)
    return render(
        request,
        "staff/counter/slip.html",
        {
            "slip": one,
            "state": state,
            "tone": TONES[state],
            "actions": [_enter(one)] if may_end else [],
            "panels": [_facts(one, request.user)],
            "form": form if may_end or form.is_bound else None,
        },
    )


def _enter(one: Slip) -> Action:
    return Action(label="Enter this slip", url=f"{reverse('counter')}?{urlencode({'slip': one.number})}", tone="main")


def _facts(one: Slip, viewer: User) -> Panel:
    facts = [
        Fact(label="Printed", at=one.printed_at),
        Fact(label="By", value=str(one.printed_by)),
    ]
    if one.document:
        facts.append(Fact(label="Paper", value=one.document.title, url=reverse("document", args=[one.document.pk])))
    if hasattr(one, "delivery"):
        number = one.delivery.operation.number
        facts.append(Fact(label="Entered as", value=number, url=reverse("receipt", args=[number])))
    if hasattr(one, "spoiled"):
        facts.append(Fact(label="Spoiled by", value=str(one.spoiled.by)))
        facts.append(Fact(label="Reason", value=one.spoiled.reason))
    note = "Its scale must have been checked on the day of the slip: enter that check first, with its own time."
    return Panel(title="Slip", facts=facts, note=note)
