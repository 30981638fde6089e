"""What happens at the counter beside plain receipts, made through the actions: bought, slips, refused, amended."""

from datetime import datetime, timedelta
from decimal import Decimal

from django.utils import timezone

from custody.actions.amend import Change, amend
from custody.actions.give_back import GoingBack, give_back
from custody.actions.receive import Bought, Said, SpotPurchase, receive
from custody.actions.refuse import refuse_parcel
from custody.actions.slips import spoil_slip
from custody.actions.weigh import Weighed
from custody.calc.purchase import amount
from custody.models import Lot, Operation, Slip
from custody.terms import Basis, Form, IdentityKind, Method, Payment
from tests import builders, people

KNOWN = Said(identity_kind=IdentityKind.PASSPORT, identity_number="X1234567")
PRICE = Decimal("52.10")


def line(net_mg: int = 12_340, **changes) -> Bought:
    """A parcel of 585 gold by X-rays at 92 % of 52.10 a gram."""
    told = {"metal": "Au", "indicated_ppm": 585_000, "method": Method.XRF, "price_per_g": PRICE, "payable_ppm": 920_000}
    told |= changes
    due = amount(net_mg, told["indicated_ppm"], told["price_per_g"], told["payable_ppm"])
    return Bought(**{"amount": due} | told)


def purchase(*lines: Bought, **changes) -> SpotPurchase:
    """Paid by transfer in EUR."""
    told = {"currency": "EUR", "payment": Payment.TRANSFER, "price_source": "House list", "reference": "T-991"}
    return SpotPurchase(lines=lines or (line(),), **told | changes)


def bought(net_mg: int = 12_340, *, said: Said = KNOWN, at: datetime | None = None) -> Operation:
    """A receipt bought at the counter and paid."""
    builders.refinery()
    builders.scale("BENCH-2", at=at)
    posted = receive(
        party=people.party(),
        parcels=[builders.parcel(net_mg, form=Form.JEWELLERY)],
        basis=Basis.PURCHASE,
        delivered_by="Mara Quill",
        at=at or timezone.now(),
        place=builders.place(),
        by=people.fiona_frontdesk(),
        said=said,
        purchase=purchase(line(net_mg)),
    )
    return Operation.objects.get(pk=posted.id)


def slip(number: str = "SL26-90001") -> Slip:
    """An open slip, printed some time ago."""
    printed = timezone.now() - timedelta(days=30)
    return Slip.objects.create(number=number, printed_at=printed, printed_by=people.fiona_frontdesk())


def spoiled(number: str = "SL26-90002") -> Slip:
    """A slip that will never be entered."""
    one = slip(number)
    spoil_slip(slip=one, reason="Torn", at=timezone.now(), by=people.fiona_frontdesk())
    return one


def refused(receipt: Operation | None = None, **changes):
    """A parcel that was not taken in."""
    told = {"brought_by": "Mara Quill", "form": Form.OTHER, "reason": "Origin not shown", "receipt": receipt}
    told |= {"place": builders.place(), "at": timezone.now(), "by": people.fiona_frontdesk()}
    return refuse_parcel(**told | changes)


def given_back(lot: Lot):
    """A parcel that leaves unmelted, as heavy as it came."""
    return give_back(
        receipt=builders.receipt_of(lot),
        parcels=[GoingBack(lot.number, Weighed("BENCH-2", lot.gross_mg))],
        reason="No agreement",
        collected=builders.COLLECTED,
        at=timezone.now(),
        by=people.fiona_frontdesk(),
    )


def amended(lot: Lot, field: str = "seal", before: str = "", after: str = "S-9", **more) -> int:
    """An amendment of a parcel."""
    told = {"changes": [Change(field, before, after, lot.number)], "reason": "Misread", "by": people.fiona_frontdesk()}
    return amend(receipt=builders.receipt_of(lot), **told | more)
