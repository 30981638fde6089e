"""The customer's side of an exchange of assays: its own result, handed in once, and what both results come to."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from custody.actions.exchanges import hand_in_own
from custody.calc.fineness import format_per_mille
from custody.errors import Refusal, SealedOnce
from custody.portal.tables import STATE_WORDS
from custody.queries import exchanges as queries
from custody.queries.exchanges import Seen, State
from custody.roles import Verb
from custody.terms import ExchangeSide
from custody.web.access import needs
from custody.web.exchange import STATE_TONES, ResultForm, comes_to
from custody.web.panels import Action, Fact, Panel

#: States in which the customer's result is awaited.
AWAITED = (State.AWAITING_BOTH, State.AWAITING_CUSTOMER)


@require_safe
@needs(Verb.READ_OWN)
def exchange(request: HttpRequest, number: str) -> HttpResponse:
    """One exchange of the customer's own; figures only once both results are in."""
    seen = _own(request, number)
    url = reverse("portal-result", args=[seen.exchange.number])
    actions = [Action(label="Hand in your result", url=url, tone="main")] if seen.state in AWAITED else []
    context = {
        "seen": seen,
        "state": STATE_WORDS.get(seen.state, seen.state.label),
        "tone": STATE_TONES.get(seen.state, "plain"),
        "actions": actions,
        "panels": [_stands(seen), _agreed(seen)],
        "outcome": comes_to(seen),
    }
    return render(request, "portal/exchange.html", context)


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@needs(Verb.HAND_IN_OWN)
def result(request: HttpRequest, number: str) -> HttpResponse:
    """The customer hands in what its own laboratory found."""
    seen = _own(request, number)
    one = seen.exchange
    back = redirect("portal-exchange", number=one.number)
    if request.method == "GET" and seen.state not in AWAITED:
        return back
    form = ResultForm(request.POST or None, metals=queries.EXCHANGED, asked=list(one.terms.limits_ppm))
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            hand_in_own(
                exchange=one,
                ppm=form.ppm,
                laboratory=said["laboratory"],
                reference=said["reference"],
                by=request.user,
            )
        except SealedOnce:
            messages.info(request, "Your result is in already, and stays as it was handed in.")
            return back
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            still = " It stays sealed until ours is in too." if seen.state is State.AWAITING_BOTH else ""
            messages.success(request, f"Your result is in.{still}")
            return back
    context = {"seen": seen, "form": form, "cancel_url": reverse("portal-exchange", args=[one.number])}
    return render(request, "portal/result.html", context)


def _own(request: HttpRequest, number: str) -> Seen:
    return queries.see([get_object_or_404(queries.listed(request.user), number=number)])[0]


def _stands(seen: Seen) -> Panel:
    one, results = seen.exchange, seen.results
    facts = [
        Fact(label="Lot", value=one.lot.number),
        Fact(label="Form", value=one.lot.get_form_display()),
        Fact(
            label="Delivery", value=one.lot.receipt.number, url=reverse("portal-receipt", args=[one.lot.receipt.number])
        ),
        Fact(label="Opened", at=one.at),
    ]
    for side, words in ((ExchangeSide.CUSTOMER, "Your result"), (ExchangeSide.REFINERY, "Our result")):
        there = results.get(side)
        facts.append(
            Fact(label=f"{words} is in since", at=there.at) if there else Fact(label=words, value="not in yet")
        )
    third = results.get(ExchangeSide.UMPIRE)
    if third:
        facts.append(Fact(label="Umpire's report", value=", ".join(filter(None, (third.laboratory, third.reference)))))
    return Panel(title="Where it stands", facts=facts)


def _agreed(seen: Seen) -> Panel:
    terms = seen.exchange.terms
    facts = [
        Fact(label=f"{metal}, splitting limit, ‰", value=format_per_mille(ppm))
        for metal, ppm in terms.limits_ppm.items()
    ]
    facts += [
        Fact(label="Inside the limit", value="the mean of both results counts"),
        Fact(label="Outside", value=terms.get_rule_display()),
        Fact(label="Umpire", value=terms.umpire.name if terms.umpire else "agreed when needed"),
        Fact(label="The umpire is paid by", value="the party farther from it; midway, half each"),
    ]
    if terms.days:
        facts.append(Fact(label="Days for your result, once ours is in", value=terms.days))
    return Panel(title="As agreed", facts=facts)
