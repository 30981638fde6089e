"""Terms, settlements and bars in the vault, made through the actions."""

from datetime import date
from decimal import Decimal

from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.house import agree_terms
from custody.actions.move import dispatch
from custody.actions.settle import settle_receipt
from custody.actions.weigh import Weighed
from custody.calc.rates import Unit
from custody.models import Lot, Operation, Party, Settlement, Terms
from custody.queries.gate import to_weigh
from custody.queries.settling import Price
from custody.terms import Against, Outturn
from tests import builders, people

PRICES = {
    "Au": Price(Decimal("70.1234"), Unit.GRAM, "invented fixing of the day"),
    "Ag": Price(Decimal("28.315"), Unit.TROY_OUNCE, "invented fixing of the day"),
}


def terms(of: Party | None = None, *, since: date | None = None, **agreed) -> Terms:
    """Terms in force from the day on: 99 % of the gold, 95 % of the silver, in EUR."""
    return agree_terms(
        party=of or people.party(),
        by=people.matt_accountant(),
        valid_from=since or timezone.localdate(),
        **{
            "currency": "EUR",
            "refining_charge_per_g": Decimal("0.09"),
            "treatment_charge": Decimal("75"),
            **agreed,
        },
    )


def settled(lot: Lot, outturn: Outturn = Outturn.MONEY, **more) -> Settlement:
    """The settlement of the receipt that a lot came with, approved by Mona; terms are agreed when there are none."""
    receipt = builders.receipt_of(lot)
    if not Terms.objects.filter(party=receipt.party).exists():
        terms(receipt.party)
    settlement, _ = settle_receipt(
        receipt=receipt,
        outturn=outturn,
        prices=PRICES if outturn is Outturn.MONEY else {},
        day=timezone.localdate(),
        approval=Signature(people.mona_manager(), "Checked against assays and terms"),
        by=people.matt_accountant(),
        **more,
    )
    return settlement


def bar_in_vault(serial: str = "A000001", *, grams: int = 1000) -> Lot:
    """A bar of P-01's own gold in Vera's hands."""
    return builders.handed_over(builders.bar(serial, grams=grams), people.vera_vault(), "VAULT")


def dispatched(*lots: Lot, to: Party | None = None, against: Against = Against.OWN) -> Operation:
    """The dispatch by which Vera sent lots to a party; what is no bar weighs what the book says."""
    numbers = [lot.number for lot in lots]
    book = {lot.number: lot.gross_mg for lot in lots}
    posted = dispatch(
        lots=numbers,
        weighed={number: Weighed(builders.scale().code, book[number]) for number in to_weigh(numbers)},
        party=to or people.party(),
        at=timezone.now(),
        by=people.vera_vault(),
        against=against,
        collected=builders.COLLECTED,
    )
    return Operation.objects.get(pk=posted.id)
