"""Settlements: receipts that wait for theirs and what each still lacks, and the statements issued."""

from dataclasses import dataclass
from decimal import Decimal

from django.contrib.postgres.aggregates import StringAgg
from django.db.models import Count, Exists, F, OuterRef, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from custody.models import Lot, Operation, OriginReceipt, Settlement, Terms, User
from custody.queries import scope
from custody.queries.settling import MAY_WAIT, to_be_settled
from custody.terms import METALS

#: So many numbers of lots are named in a list; the rest is counted.
NAMED = 3


@dataclass(frozen=True, slots=True)
class Open:
    """A receipt that is not settled yet: gross and gold received in mg, and what is missing in words (empty: ready).

    ``au_mg`` is empty while nothing of it is valued.
    """

    receipt: Operation
    gross_mg: int
    au_mg: int | None
    missing: str

    @property
    def standing(self) -> str:
        """In one or two words."""
        return "waits" if self.missing else "ready"


def open_receipts(viewer: User) -> list[Open]:
    """Receipts that can be settled, the oldest first."""
    waiting = Lot.objects.filter(receipt=OuterRef("pk"), valued=False, gross_mg__gt=0).exclude(form__in=MAY_WAIT)
    came = OriginReceipt.objects.filter(origin__lot__created_by=OuterRef("pk")).order_by()
    terms = Terms.objects.filter(party=OuterRef("party"), valid_from__lte=OuterRef("day"))
    receipts = (
        to_be_settled(scope.receipts(viewer))
        .annotate(
            waiting=Subquery(
                waiting.order_by()
                .values("receipt")
                .annotate(names=StringAgg("number", ", ", order_by="id"))
                .values("names")
            ),
            gross=Coalesce(_sum(came, "gross_mg"), Value(0)),
            au=Coalesce(_sum(came, "au_mg"), Value(0)),
            metal=Coalesce(_sum(came, *(f"{metal.lower()}_mg" for metal in METALS)), Value(0)),
            has_terms=Exists(terms),
        )
        .select_related("party")
        .order_by("id")
    )
    return [
        Open(receipt, receipt.gross, receipt.au if receipt.metal else None, _missing(receipt)) for receipt in receipts
    ]


def issued(viewer: User) -> QuerySet[Settlement]:
    """Statements, the latest first; a corrected one says by which."""
    return (
        scope.settlements(viewer)
        .select_related("receipt", "party", "corrects", "corrected_by")
        .annotate(papers=Count("documents"))
        .order_by("-id")
    )


def charges_of_terms(terms: Terms) -> list[tuple[str, Decimal]]:
    """The charges that are agreed, each in words with its amount in the currency of the terms."""
    charges = (
        ("Refining, per gram of Au", terms.refining_charge_per_g),
        ("Treatment, a receipt", terms.treatment_charge),
        ("Charges at least", terms.minimum_charge),
    )
    return [(words, amount) for words, amount in charges if amount]


def _sum(came: QuerySet, *columns: str) -> Subquery:
    amount = sum((F(column) for column in columns[1:]), F(columns[0]))
    return Subquery(came.values("origin__lot__created_by").annotate(mg=Sum(amount)).values("mg"))


def _missing(receipt: Operation) -> str:
    lacks = []
    if receipt.waiting:
        numbers = receipt.waiting.split(", ")
        more = f" and {len(numbers) - NAMED} more" if len(numbers) > NAMED else ""
        lacks.append(f"the accepted assay of {', '.join(numbers[:NAMED])}{more}")
    elif not receipt.metal:
        lacks.append("metal: nothing of it is valued")
    if not receipt.has_terms:
        lacks.append(f"terms with {receipt.party.code} on {receipt.day}")
    return "; ".join(lacks)
