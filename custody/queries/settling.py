"""What is to be settled for a receipt: content by accepted assay, the terms in force, and what is not valued yet."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Exists, OuterRef, QuerySet, Sum

from custody.calc import settlement
from custody.calc.accountability import Accountability
from custody.calc.charges import Charges
from custody.calc.rates import Rate, Unit
from custody.calc.refusals import Refused
from custody.errors import Refusal
from custody.models import Lot, Movement, Operation, OriginReceipt, Settlement, Terms
from custody.terms import METALS, Against, Form, Outturn, Source

#: Unvalued lots of these forms do not hold a settlement up: what they prove to hold is a correction.
MAY_WAIT = (Form.SAMPLE, Form.SLAG)


@dataclass(frozen=True, slots=True)
class Price:
    """The price of one metal in the currency of the terms, with its source in words (fixing and date)."""

    amount: Decimal
    unit: Unit
    source: str


@dataclass(frozen=True, slots=True)
class Reckoning:
    """A settlement as it would be issued now."""

    settled: settlement.Settlement
    terms: Terms
    gross_mg: int
    not_included: tuple[str, ...]


def content_of(receipt: Operation) -> dict[str, int]:
    """What a receipt proved to hold, milligrams per metal: what its parcels were received as, less what went back."""
    return _net(receipt, *METALS)


def gross_of(receipt: Operation) -> int:
    """Gross received, milligrams, less what went back unmelted."""
    return _net(receipt, "gross")["gross"]


def returned(receipt: Operation) -> QuerySet[Movement]:
    """Parcels of a receipt as they left again, returned unmelted."""
    return Movement.objects.filter(
        lot__created_by=receipt,
        operation__collection__against=Against.RETURNED,
        operation__reversed_by__isnull=True,
    )


def went_back(operation: Operation) -> bool:
    """Whether this is the dispatch of parcels that went back unmelted."""
    collection = getattr(operation, "collection", None)
    return collection is not None and collection.against == Against.RETURNED


def to_be_settled(receipts: QuerySet[Operation]) -> QuerySet[Operation]:
    """Those that can still be settled: without a statement, not reversed, not bought, not returned whole.

    Past records were settled where they come from.
    """
    went = Movement.objects.filter(
        lot=OuterRef("pk"),
        operation__collection__against=Against.RETURNED,
        operation__reversed_by__isnull=True,
    )
    return receipts.exclude(source=Source.HISTORY).filter(
        ~Exists(Settlement.objects.filter(receipt=OuterRef("pk"))),
        Exists(Lot.objects.filter(~Exists(went), created_by=OuterRef("pk"))),
        reversed_by__isnull=True,
        purchase__isnull=True,
    )


def _net(receipt: Operation, *columns: str) -> dict[str, int]:
    sums = {name: Sum(f"{name.lower()}_mg") for name in columns}
    came = OriginReceipt.objects.filter(origin__lot__created_by=receipt).aggregate(**sums)
    went = returned(receipt).aggregate(**sums)
    return {name: (came[name] or 0) - (went[name] or 0) for name in columns}


def unvalued_lots(receipt: Operation) -> list[Lot]:
    """Lots of a receipt that no assay has valued yet."""
    return list(Lot.objects.filter(receipt=receipt, valued=False, gross_mg__gt=0))


def terms_of(receipt: Operation, day: date) -> Terms:
    """The terms in force with the receipt's party. Raises ``Refusal`` where none are agreed."""
    terms = Terms.objects.filter(party=receipt.party, valid_from__lte=day).order_by("-valid_from", "-id").first()
    if terms is None:
        raise Refusal(f"No terms are agreed with {receipt.party.name} for {day}. Record them on the party's page.")
    return terms


def standing_settlement(receipt: Operation) -> Settlement | None:
    """The statement that stands for a receipt: the latest that no correction takes the place of."""
    return Settlement.objects.filter(receipt=receipt, corrected_by__isnull=True).first()


def reckon(receipt: Operation, outturn: Outturn, prices: dict[str, Price], day: date) -> Reckoning:
    """Reckons the settlement of a receipt by the terms in force on the day.

    Raises ``Refusal`` for a lot that waits for its assay, missing terms or a missing price.
    """
    waiting = unvalued_lots(receipt)
    blocking = [lot.number for lot in waiting if lot.form not in MAY_WAIT]
    if blocking:
        raise Refusal(f"Not valued yet: {', '.join(blocking)}. Record and accept their assays first.")
    terms = terms_of(receipt, day)
    content = content_of(receipt)
    if not any(content.values()):
        raise Refusal(f"Receipt {receipt.number} has no metal in the book to settle.")
    gross = gross_of(receipt)
    try:
        settled = settlement.settle(gross, content, _agreed(terms, content, outturn, prices))
    except Refused as refused:
        raise Refusal(refused.sentence) from refused
    return Reckoning(settled, terms, gross, tuple(lot.number for lot in waiting))


def _agreed(terms: Terms, content: dict[str, int], outturn: Outturn, prices: dict[str, Price]) -> settlement.Terms:
    metals = []
    for metal, ppm in zip(METALS, terms.payable_ppm, strict=True):
        price = prices.get(metal) if outturn == Outturn.MONEY else None
        refining = terms.refining_charge_per_g if ppm and metal == "Au" else None
        if content[metal] or price:
            metals.append(
                settlement.MetalTerms(
                    metal=metal,
                    accounts=Accountability(ppm),
                    outturn=outturn,
                    price=Rate(price.amount, price.unit) if price else None,
                    refining=Rate(refining) if refining else None,
                )
            )
    return settlement.Terms(
        currency=terms.currency,
        metals=tuple(metals),
        charges=Charges(treatment=terms.treatment_charge, minimum=terms.minimum_charge),
    )
