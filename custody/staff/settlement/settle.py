"""Settling a receipt: reckoned and shown line by line, approved by a second person, issued once."""

from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_http_methods

from custody.actions.settle import settle_receipt
from custody.calc.fineness import format_percent
from custody.calc.price import quoted_price
from custody.calc.price_table import LONGEST_SOURCE
from custody.errors import Bought, Refusal
from custody.models import Lot, Operation, Settlement, Terms
from custody.queries import scope, settling
from custody.queries.prices import offered
from custody.queries.settlements import charges_of_terms
from custody.roles import Verb
from custody.staff.settlement.forms import SettleForm
from custody.staff.settlement.statements import issue_for
from custody.staff.settlement.tables import MetalTable, ValueTable
from custody.terms import METALS
from custody.web.access import needs
from custody.web.panels import Fact, Panel
from custody.web.seen import seal

LOOK_FIRST = "The figures are not those that were shown. Look at them below; then have them approved and issue."


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.SETTLE)
def settle(request: HttpRequest, number: str) -> HttpResponse:
    """The first settlement of a receipt."""
    receipt = get_object_or_404(scope.receipts(request.user).select_related("party"), number=number)
    standing = settling.standing_settlement(receipt)
    if standing:
        messages.info(request, f"Receipt {number} is settled by {standing.number}. Nothing was recorded twice.")
        return redirect("settlement", standing.number)
    if hasattr(receipt, "purchase"):
        messages.info(request, Bought(receipt=number).sentence)
        return redirect("receipt", number)
    return _settle(request, receipt, None)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.SETTLE)
def correct(request: HttpRequest, number: str) -> HttpResponse:
    """A correction: a new statement that names the one it takes the place of."""
    earlier = get_object_or_404(
        scope.settlements(request.user).select_related("receipt__party", "corrected_by"), number=number
    )
    if hasattr(earlier, "corrected_by"):
        later = earlier.corrected_by.number
        messages.info(request, f"{number} is corrected by {later} already. Nothing was recorded twice.")
        return redirect("settlement", later)
    return _settle(request, earlier.receipt, earlier)


def _settle(request: HttpRequest, receipt: Operation, corrects: Settlement | None) -> HttpResponse:
    day = parse_date(request.POST.get("day", "")) if request.method == "POST" else receipt.day
    terms = _terms(receipt, day or receipt.day)
    metals = _priced(receipt, terms)
    form = SettleForm(
        request.POST or None,
        initial={"day": receipt.day} | ({} if corrects else _offered(receipt, terms, metals)),
        metals=metals,
        currency=terms.currency if terms else "in the currency of the terms",
        correction=corrects is not None,
        issuing=request.method == "POST" and "look" not in request.POST and bool(request.POST.get("seen")),
    )
    reckoned, shown = None, ""
    if request.method == "POST" and form.is_valid():
        reckoned, shown = _reckon(form, receipt, corrects)
        if reckoned and form.issuing and form.cleaned_data["seen"] == shown:
            answer = _issue(request, form, receipt, corrects)
            if answer:
                return answer
        elif reckoned and form.issuing:
            form.add_error(None, LOOK_FIRST)
    elif request.method == "POST" and form.issuing:
        shown = request.POST["seen"]  # the approval alone may be at fault: what was shown stays shown
        reckoned, again = _reckon(form, receipt, corrects) if _figures_read(form) else (None, "")
        shown = shown if shown == again else ""
    return render(
        request,
        "staff/settlement/settle.html",
        {
            "receipt": receipt,
            "corrects": corrects,
            "panels": [_delivery(receipt), _terms_panel(terms, receipt)],
            "waiting": _waiting(receipt),
            "form": form,
            "reckoned": reckoned,
            "shown": shown,
            "cancel_url": reverse("settlements"),
            **_tables(reckoned),
        },
    )


def _figures_read(form: SettleForm) -> bool:
    """Whether everything but the approval can be read."""
    return not set(form.errors) - {field.name for field in form.approval_fields}


def _reckon(form: SettleForm, receipt: Operation, corrects: Settlement | None) -> tuple[settling.Reckoning | None, str]:
    """The settlement as it would be issued now, and the mark of what is shown; nothing where it can't be reckoned."""
    try:
        reckoned = settling.reckon(receipt, form.outturn_chosen, form.prices, form.cleaned_data["day"])
    except Refusal as refusal:
        form.refuse(refusal)
        return None, ""
    named = corrects.number if corrects else ""
    return reckoned, seal(receipt.number, named, form.outturn_chosen, form.prices, reckoned.terms.pk, reckoned.settled)


def _issue(
    request: HttpRequest, form: SettleForm, receipt: Operation, corrects: Settlement | None
) -> HttpResponse | None:
    """Records the settlement and then writes its statement; None where it was refused."""
    said = form.cleaned_data
    try:
        settlement, _ = settle_receipt(
            receipt=receipt,
            outturn=form.outturn_chosen,
            prices=form.prices,
            day=said["day"],
            approval=form.approval(request),
            by=request.user,
            at=timezone.now(),
            corrects=corrects,
            reason=said.get("reason", ""),
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return None
    messages.success(request, f"Settlement {settlement.number} of receipt {receipt.number} is issued.")
    issue_for(request, settlement)
    return redirect("settlement", settlement.number)


def _terms(receipt: Operation, day: date) -> Terms | None:
    try:
        return settling.terms_of(receipt, day)
    except Refusal:
        return None


def _priced(receipt: Operation, terms: Terms | None) -> list[str]:
    """Metals that a price may be needed for: what is there and, as far as terms are known, payable."""
    content = settling.content_of(receipt)
    payable = dict(zip(METALS, terms.payable_ppm, strict=True)) if terms else dict.fromkeys(METALS, 1)
    return [metal for metal in METALS if content[metal] and payable[metal]]


def _waiting(receipt: Operation) -> list[Lot]:
    """Lots whose assay must come first."""
    return [lot for lot in settling.unvalued_lots(receipt) if lot.form not in settling.MAY_WAIT]


def _offered(receipt: Operation, terms: Terms | None, metals: list[str]) -> dict:
    """The table's prices of the day of the receipt, filled in to be looked at like anything that is typed."""
    found = offered(metals, terms.currency, receipt.day) if terms else {}
    filled = {}
    for metal, quote in found.items():
        source = f"{quote.fixing}, {quote.day}, {quote.source}"[:LONGEST_SOURCE]
        filled |= {
            f"price_{metal}": quoted_price(quote.amount), f"unit_{metal}": quote.per.value, f"source_{metal}": source,
        }  # fmt: skip
    return filled


def _delivery(receipt: Operation) -> Panel:
    content = settling.content_of(receipt)
    facts = [
        Fact(label="Receipt", value=receipt.number, url=reverse("receipt", args=[receipt.number])),
        Fact(label="From", value=receipt.party.name, url=reverse("party", args=[receipt.party.code])),
        Fact(label="Received", at=receipt.at),
        Fact(label="Gross received", mg=settling.gross_of(receipt)),
    ]
    facts += [Fact(label=f"Content, {metal}", mg=content[metal]) for metal in METALS if content[metal]]
    return Panel(title="What was delivered", facts=facts, note="Content by accepted assay, samples included.")


def _terms_panel(terms: Terms | None, receipt: Operation) -> Panel:
    party = reverse("party", args=[receipt.party.code])
    if terms is None:
        facts = [Fact(label="Terms", value="none agreed for this day", tone="stop")]
        return Panel(title="Terms", facts=[*facts, Fact(label="Recorded at", value=receipt.party.code, url=party)])
    facts = [Fact(label="In force since", value=str(terms.valid_from), url=party)]
    facts += [
        Fact(label=f"Payable share, {metal}", value=f"{format_percent(ppm)} %")
        for metal, ppm in zip(METALS, terms.payable_ppm, strict=True)
        if ppm
    ]
    facts += [Fact(label=label, value=f"{amount} {terms.currency}") for label, amount in charges_of_terms(terms)]
    return Panel(title="Terms", facts=facts)


def _tables(reckoned: settling.Reckoning | None) -> dict:
    if reckoned is None:
        return {}
    settled = reckoned.settled
    return {
        "metals": MetalTable([line for line in settled.metals if line.content_mg]),
        "values": ValueTable([*settled.values, *settled.charges], currency=settled.currency),
    }
