"""One exchange: where it stands, what it came to, its history; and recording the settled assay."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from custody.actions.exchanges import KEEPS, OPENS_LETTERS, record_settled
from custody.calc.exchange import excess_ppm
from custody.calc.fineness import format_per_mille
from custody.errors import Refusal
from custody.models import User
from custody.queries import exchanges as queries
from custody.queries.exchanges import Seen, State
from custody.roles import Verb, may
from custody.staff.exchange.lists import terms_facts
from custody.staff.exchange.tables import StepTable, UmpireSampleTable
from custody.terms import ExchangeSide
from custody.web.access import needs
from custody.web.exchange import STATE_TONES, comes_to
from custody.web.forms import BaseForm
from custody.web.panels import Action, Fact, Panel

#: States in which both results lie open and nothing is left to decide.
READY = (State.INSIDE, State.UMPIRED, State.ALONE)


class SettleForm(BaseForm):
    """Nothing to say, unless the metals settled one by one exceed the whole: then which of them gives way."""

    def __init__(self, *args, seen: Seen, **kwargs):
        super().__init__(*args, **kwargs)
        found = {line.exchanged.metal: line.settled_ppm or 0 for line in seen.lines}
        excess = excess_ppm(found)
        if excess:
            self.fields["gives_way"] = forms.ChoiceField(
                label="Gives way",
                choices=[("", "choose…"), *((metal, metal) for metal, ppm in found.items() if ppm >= excess)],
                help_text=f"Together they are {format_per_mille(excess)} ‰ more than the whole. As agreed with the"
                " customer, one of them counts as less.",
            )


@require_safe
@needs(Verb.READ_BOOK)
def exchange(request: HttpRequest, number: str) -> HttpResponse:
    """Everything that may be seen of one exchange."""
    seen = _seen(request, number)
    one = seen.exchange
    samples = [
        {"number": each.number, "lot": each, "seal": queries.kept_under(each)[1] or "—"}
        for each in queries.umpire_samples(one.lot, request.user)
    ]
    context = {
        "seen": seen,
        "tone": STATE_TONES.get(seen.state, "plain"),
        "actions": _actions(seen, request.user),
        "panels": [_facts(seen), Panel(title="As agreed", facts=terms_facts(one.terms))],
        "outcome": comes_to(seen),
        "samples": UmpireSampleTable(samples) if samples or seen.state is State.TO_UMPIRE else None,
        "steps": StepTable(queries.steps(seen)),
    }
    return render(request, "staff/exchange/exchange.html", context)


@require_http_methods(["GET", "POST"])
@needs(*KEEPS)
def settle(request: HttpRequest, number: str) -> HttpResponse:
    """Records what the exchange came to as the lot's determination; another person accepts it."""
    seen = _seen(request, number)
    one = seen.exchange
    form = SettleForm(request.POST or None, seen=seen)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            made = record_settled(
                exchange=one,
                at=timezone.now(),
                by=request.user,
                gives_way=said.get("gives_way", ""),
                request_key=said["request_key"],
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"The settled assay is recorded as {made.number}. Another person accepts it.")
            return redirect("exchange", number=one.number)
    context = {"seen": seen, "form": form, "outcome": comes_to(seen), "ready": seen.state in READY}
    return render(
        request, "staff/exchange/settle.html", context | {"cancel_url": reverse("exchange", args=[one.number])}
    )


def _seen(request: HttpRequest, number: str) -> Seen:
    return queries.see([get_object_or_404(queries.listed(request.user), number=number)])[0]


def _facts(seen: Seen) -> Panel:
    one = seen.exchange
    in_words = {
        side: ("in, open" if seen.open else "in, sealed") if side in seen.results else "awaited"
        for side in (ExchangeSide.REFINERY, ExchangeSide.CUSTOMER)
    }
    facts = [
        Fact(label="Lot", value=one.lot.number, url=reverse("lot", args=[one.lot.number])),
        Fact(label="Form", value=one.lot.get_form_display()),
        Fact(label="Receipt", value=one.lot.receipt.number, url=reverse("receipt", args=[one.lot.receipt.number])),
        Fact(label="Refinery's result", value=in_words[ExchangeSide.REFINERY]),
        Fact(label="Customer's result", value=in_words[ExchangeSide.CUSTOMER]),
    ]
    if ExchangeSide.UMPIRE in seen.results:
        facts.append(Fact(label="Umpire's result", value="in"))
    if seen.determinations:
        last = seen.determinations[-1].number
        facts.append(Fact(label="Settled assay", value=last, url=reverse("accept", args=[last])))
    return Panel(title="Where it stands", facts=facts)


def _actions(seen: Seen, viewer: User) -> list[Action]:
    """What this person can do next."""
    found = []

    def offer(label: str, name: str, *verbs: Verb) -> None:
        if any(may(viewer.roles, verb) for verb in verbs):
            tone = "quiet" if found else "main"
            found.append(Action(label=label, url=reverse(name, args=[seen.exchange.number]), tone=tone))

    if seen.state in (State.AWAITING_BOTH, State.AWAITING_REFINERY):
        offer("Hand in the refinery's result", "exchange-refinery", Verb.DETERMINE)
    if seen.state in (State.AWAITING_BOTH, State.AWAITING_CUSTOMER):
        offer("Enter the customer's letter", "exchange-letter", *OPENS_LETTERS)
    if seen.state is State.TO_UMPIRE:
        offer("Enter the umpire's report", "exchange-umpire", Verb.SETTLE)
    if seen.state in READY:
        offer("Record the settled assay", "exchange-settle", *KEEPS)
    if seen.pending and may(viewer.roles, Verb.ACCEPT):
        last = seen.pending.number
        found.append(Action(label=f"Accept {last}", url=reverse("accept", args=[last]), tone="main"))
    return found
