"""What is settled and what waits: the desk's list, and the page of one statement with its papers."""

import logging
from dataclasses import dataclass
from decimal import Decimal

import django_tables2 as tables
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from custody.actions.issue_settlement import issue_settlement
from custody.calc.money import format_money
from custody.calc.price import quoted_price
from custody.errors import Refusal
from custody.models import Settlement, SettlementLine, User
from custody.queries import scope
from custody.queries.settlements import issued, open_receipts
from custody.roles import Verb, may
from custody.staff.desk.tables import DocumentTable
from custody.staff.settlement.tables import IssuedTable, MetalTable, OpenTable, ValueTable
from custody.templatetags.papers import price
from custody.terms import METALS
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

A_PAGE = {"per_page": 25}
logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Amount:
    """One line of money of an issued statement."""

    what: str
    formula: str
    amount: Decimal


@require_safe
@needs(Verb.READ_BOOK)
def settlements(request: HttpRequest) -> HttpResponse:
    """Receipts to settle with what each still lacks, and the statements issued."""
    viewer = request.user
    waiting = OpenTable(open_receipts(viewer), prefix="open-")
    if not may(viewer.roles, Verb.SETTLE):
        waiting.columns["number"].column.viewname = "receipt"
    done = IssuedTable(issued(viewer), prefix="issued-")
    for table in (waiting, done):
        tables.RequestConfig(request, paginate=A_PAGE).configure(table)
    actions = [
        Action(label="Metal accounts", url=reverse("metal-accounts")),
        Action(label="Prices", url=reverse("prices")),
    ]
    return render(request, "staff/settlement/settlements.html", {"actions": actions, "waiting": waiting, "done": done})


@require_safe
@needs(Verb.READ_BOOK)
def settlement(request: HttpRequest, number: str) -> HttpResponse:
    """One statement as it was issued, for ever."""
    related = ("receipt", "party", "terms", "corrects", "corrected_by", "prepared_by", "approved_by")
    one = get_object_or_404(scope.settlements(request.user).select_related(*related), number=number)
    lines = sorted(one.lines.all(), key=lambda line: METALS.index(line.metal))
    values = [_value(line, one.currency) for line in lines if line.price is not None]
    papers = list(scope.documents(request.user).filter(settlement=one).select_related("issued_by"))
    return render(
        request,
        "staff/settlement/settlement.html",
        {
            "settlement": one,
            "later": getattr(one, "corrected_by", None),
            "actions": _actions(one, request.user, len(papers)),
            "panels": [_facts(one), _signed(one)],
            "metals": MetalTable([line for line in lines if line.content_mg]),
            "values": ValueTable([*values, *one.charge_lines.all()], currency=one.currency),
            "papers": DocumentTable(papers),
        },
    )


@require_POST
@needs(Verb.SETTLE)
def issue_paper(request: HttpRequest, number: str) -> HttpResponse:
    """Writes the statement again: the first time when that failed, or as a copy."""
    one = get_object_or_404(scope.settlements(request.user).select_related("party", "receipt"), number=number)
    issue_for(request, one, again=True)
    return redirect("settlement", number)


def issue_for(request: HttpRequest, one: Settlement, *, again: bool = False) -> None:
    """Writes the statement of a settlement that is recorded. That it fails undoes nothing: it is offered again."""
    if not again and one.documents.exists():
        return
    try:
        paper = issue_settlement(settlement=one, at=timezone.now(), by=request.user)
    except Refusal as refusal:
        messages.warning(request, refusal.sentence)
    except Exception:
        logger.exception("Statement of settlement %s", one.number)
        messages.warning(request, "The statement could not be written. The settlement stands; issue its paper again.")
    else:
        copy = f", copy {paper.copy_no}" if paper.copy_no > 1 else ""
        messages.success(request, f"{paper.title}{copy} is issued: open it under “Papers”.")


def _value(line: SettlementLine, currency: str) -> Amount:
    quoted = f"{price(quoted_price(line.price))} {currency}/{line.price_unit}"
    return Amount(f"{line.metal} payable", f"at {quoted}, {line.price_source}", line.amount)


def _actions(one: Settlement, viewer: User, copies: int) -> list[Action]:
    if not may(viewer.roles, Verb.SETTLE):
        return []
    paper = Action(
        label=f"Print the statement again (copy {copies + 1})" if copies else "Issue the statement",
        url=reverse("settlement-paper", args=[one.number]),
        method="post",
        tone="quiet" if copies else "main",
    )
    if hasattr(one, "corrected_by"):
        return [paper]
    return [paper, Action(label="Correct", url=reverse("settlement-correct", args=[one.number]), tone="stop")]


def _facts(one: Settlement) -> Panel:
    facts = [
        Fact(label="For", value=one.party.name, url=reverse("party", args=[one.party.code])),
        Fact(label="Receipt", value=one.receipt.number, url=reverse("receipt", args=[one.receipt.number])),
        Fact(label="Settled in", value=one.get_outturn_display()),
        Fact(
            label=f"Payable {'to' if one.total >= 0 else 'by'} the party",
            value=f"{format_money(abs(one.total))} {one.currency}",
        ),
        Fact(label="By the terms in force since", value=str(one.terms.valid_from)),
    ]
    if one.corrects:
        url = reverse("settlement", args=[one.corrects.number])
        facts.append(Fact(label="Corrects", value=one.corrects.number, url=url))
        facts.append(Fact(label="Reason", value=one.reason))
    return Panel(title="Settlement", facts=facts, note=one.note)


def _signed(one: Settlement) -> Panel:
    return Panel(
        title="Signed",
        facts=[
            Fact(label="Issued", at=one.issued_at),
            Fact(label="Prepared by", value=str(one.prepared_by)),
            Fact(label="Approved by", value=str(one.approved_by)),
            Fact(label="Approval means", value=one.approval_meaning),
        ],
    )
