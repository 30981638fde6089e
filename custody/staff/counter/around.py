"""What happened at the counter around one receipt, and what may be done about it there: parts of the receipt's page."""

from urllib.parse import urlencode

from django.urls import reverse

from custody.calc.fineness import format_per_mille
from custody.calc.purchase import fineness_words, formula
from custody.models import Operation, Purchase, User
from custody.queries import counter_life
from custody.queries.receipt_life import ParcelLine
from custody.queries.settling import standing_settlement
from custody.roles import Verb, may
from custody.staff.counter.purchase_form import Line
from custody.staff.counter.tables import BoughtTable
from custody.templatetags.papers import amount
from custody.web.panels import Action, Fact, Panel

RETURNABLE = "Return parcels unmelted"


def actions(receipt: Operation, viewer: User) -> list[Action]:
    """What the front desk may do about a receipt that stands."""
    if not may(viewer.roles, Verb.RECEIVE) or receipt.source != "live":
        return []
    found = [Action(label="Correct what was declared", url=reverse("amend", args=[receipt.number]))]
    bought = counter_life.purchase_of(receipt)
    settled = standing_settlement(receipt)
    if not bought and not settled:
        found.append(Action(label="Weighed or entered wrongly", url=reverse("replace", args=[receipt.number])))
        if counter_life.unmelted(receipt):
            found.append(Action(label=RETURNABLE, url=reverse("return-parcels", args=[receipt.number])))
    asked = urlencode({"receipt": receipt.number})
    found.append(Action(label="A parcel was refused", url=f"{reverse('refuse')}?{asked}"))
    return found


def panels(receipt: Operation, viewer: User) -> list[Panel]:
    """How it was bought, what went back and what was refused with it, where its metal is now; what says something."""
    parts = (_purchase(receipt, viewer), _returned(receipt), _refused(receipt), _metal_now(receipt, viewer))
    return [panel for panel in parts if panel]


def bought_table(receipt: Operation, lines: list[ParcelLine]) -> BoughtTable | None:
    """Each parcel that was bought: what indicated it, what the assay found since, and how its amount came about."""
    purchase = counter_life.purchase_of(receipt)
    if purchase is None:
        return None
    found = {line.lot.pk: line.found_ppm for line in lines}
    rows = [
        Line(
            what=one.lot.number,
            indicated=_indicated(one, found.get(one.lot_id)),
            formula=formula(one.net_mg, one.indicated_ppm, one.price_per_g, one.payable_ppm, purchase.currency),
            amount=one.amount,
        )
        for one in purchase.lines.all()
    ]
    return BoughtTable(rows, currency=purchase.currency, caption="Bought at the counter")


def reversal_facts(one: Operation) -> list[Fact]:
    """What a reversal of this operation leaves to be done outside the book."""
    purchase = counter_life.purchase_of(one)
    if purchase is None:
        return []
    paid = f"{amount(purchase.total)} {purchase.currency}, {purchase.get_payment_display()}"
    words = "A reversal voids it: take both copies back, and say in the reason what became of the money."
    return [Fact(label="Paid for it", value=paid), Fact(label="Purchase note", value=words)]


def _indicated(one, found_ppm: int | None) -> str:
    said = f"{one.metal} {fineness_words(one.indicated_ppm, one.method)}"
    if one.metal != "Au":
        return said
    return f"{said}; assay {format_per_mille(found_ppm)} ‰" if found_ppm is not None else f"{said}; not assayed yet"


def _purchase(receipt: Operation, viewer: User) -> Panel | None:
    purchase: Purchase | None = counter_life.purchase_of(receipt)
    if purchase is None:
        return None
    void = hasattr(receipt, "reversed_by")
    facts = [
        Fact(label="Paid", value=f"{amount(purchase.total)} {purchase.currency}"),
        Fact(label="By", value=purchase.get_payment_display()),
        Fact(label="Reference", value=purchase.reference),
        Fact(label="Price from", value=purchase.price_source),
    ]
    if void:
        facts.append(Fact(label="Purchase note", value="void: the receipt is reversed", tone="stop"))
    again = [] if void or not may(viewer.roles, Verb.RECEIVE) else [_again(receipt)]
    note = "The difference between what was bought and what the assay finds is the house's own."
    return Panel(title="Bought", facts=facts, note=note, actions=again)


def _again(receipt: Operation) -> Action:
    return Action(
        label="Print the purchase note again", url=reverse("purchase-note", args=[receipt.number]), method="post"
    )


def _returned(receipt: Operation) -> Panel | None:
    facts = [
        Fact(
            label=line.lot.number, value=line.operation.number, url=reverse("dispatched", args=[line.operation.number])
        )
        for line in counter_life.returns_of(receipt)
    ]
    return Panel(title="Returned unmelted", facts=facts, note="Nothing is owed for them.") if facts else None


def _refused(receipt: Operation) -> Panel | None:
    facts = [
        Fact(
            label=f"No. {one.pk}",
            value=f"{one.get_form_display()}: {one.reason}",
            url=reverse("refused", args=[one.pk]),
        )
        for one in counter_life.refused_with(receipt)
    ]
    return Panel(title="Refused with it", facts=facts) if facts else None


def _metal_now(receipt: Operation, viewer: User) -> Panel | None:
    """After melting nothing is replaced: the lots that hold the metal are corrected by a countersigned difference."""
    if not may(viewer.roles, Verb.CORRECT):
        return None
    facts = [
        Fact(label=lot.get_form_display(), value=lot.number, url=reverse("correct", args=[lot.number]))
        for lot in counter_life.holding_now(receipt)
    ]
    note = "Weighed wrongly and melted since: correct the lots that hold the metal now, countersigned, with the reason."
    return Panel(title="Correct by a difference", facts=facts, note=note) if facts else None
