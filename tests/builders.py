"""A book to test on, built through the actions alone: house and places, receipts, valued, released, handed-over lots.

Every builder makes what it stands on. Lots come back fresh from the book. Times are now: events follow in order.
"""

from datetime import datetime
from itertools import count
from zoneinfo import ZoneInfo

from django.utils import timezone

from custody.actions.assay import accept, determine
from custody.actions.clearance import clear_lots
from custody.actions.house import add_place, describe_refinery
from custody.actions.move import Collected, Passing, hand_over
from custody.actions.receive import ParcelEntry, receive
from custody.actions.scales import Load, check_scale, enter_reference_weight, enter_scale
from custody.actions.weigh import Weighed
from custody.actions.work import Make, Take, record_step
from custody.calc import scales as calc
from custody.calc.weights import Weight, WeightClass
from custody.models import Lot, Operation, Party, Place, ReferenceWeight, Refinery, Scale, ScaleCheck, User
from custody.terms import Basis, Category, Clearance, Form, IdentityKind, Kind, NotWeighed, PlaceKind
from tests import people

PLACES = {
    "COUNTER": ("Front counter", PlaceKind.COUNTER),
    "STRONG": ("Counter strongroom", PlaceKind.STRONGROOM),
    "LAB": ("Laboratory", PlaceKind.LABORATORY),
    "FURNACE-1": ("Melting furnace 1", PlaceKind.FURNACE),
    "VESSEL-1": ("Dissolving vessel 1", PlaceKind.VESSEL),
    "VESSEL-2": ("Dissolving vessel 2", PlaceKind.VESSEL),
    "CELL-1": ("Gold cell 1", PlaceKind.VESSEL),
    "TANK-1": ("Waste tank 1", PlaceKind.VESSEL),
    "SHOP": ("Bar workshop", PlaceKind.WORKSHOP),
    "VAULT": ("Main vault", PlaceKind.VAULT),
    "CAGE": ("Cage that two people open", PlaceKind.VAULT),
}
OPENED_BY_TWO = {"CAGE"}
_mines = count(1)

party = people.party


def refinery() -> Refinery:
    """The invented house of all tests."""
    return Refinery.objects.first() or describe_refinery(
        name="Harrow Fell Refinery",
        address="4 Smelt Lane\nHarrow Fell",
        mark="HFR",
        time_zone="Europe/London",
        receipt_terms="The reserve sample is kept for sixty days.",
        by=None,
    )


def place(code: str = "COUNTER") -> Place:
    """One of PLACES."""
    name, kind = PLACES[code]
    return Place.objects.filter(code=code).first() or add_place(
        code=code, name=name, kind=kind, two_person=code in OPENED_BY_TWO, by=people.mona_manager()
    )


def places() -> dict[str, Place]:
    """The whole layout of the house, by code."""
    refinery()
    return {code: place(code) for code in PLACES}


#: Scales by code: name, place, plate.
SCALES = {
    "BENCH-2": ("Bench scale 2", "COUNTER", calc.Scale(calc.Accuracy.II, 100, 6_200_000, 10_000)),
    "FLOOR-1": ("Floor scale 1", "COUNTER", calc.Scale(calc.Accuracy.III, 5_000, 50_000_000)),
    "SHOP-1": ("Workshop scale 1", "SHOP", calc.Scale(calc.Accuracy.II, 10, 1_000_000, 1_000)),
    "BAL-1": ("Assay balance 1", "LAB", calc.Scale(calc.Accuracy.I, 1, 5_000, 1)),
}

#: By order of the owner, to a carrier who showed a passport.
COLLECTED = Collected("Order 7", "Piet Haul", IdentityKind.PASSPORT, "X1234567")


def scale(code: str = "BENCH-2", *, checked: bool = True, at: datetime | None = None) -> Scale:
    """One of SCALES, checked on the day of ``at`` (now) unless it was before that moment, or ``checked`` is off."""
    name, where, plate = SCALES[code]
    one = Scale.objects.filter(code=code).first() or enter_scale(
        code=code, name=name, place=place(where), plate=plate, by=people.mona_manager()
    )
    at = at or timezone.now()
    day = timezone.localtime(at, ZoneInfo(refinery().time_zone)).date()
    if checked and not ScaleCheck.objects.filter(scale=one, day=day, at__lte=at).exists():
        check(one, at=at)
    return one


def reference_weight(grams: int = 1000, weight_class: WeightClass = WeightClass.E2) -> ReferenceWeight:
    """A reference weight of the house without a certificate."""
    code = f"W-{grams}-{weight_class}"
    return ReferenceWeight.objects.filter(code=code).first() or enter_reference_weight(
        code=code, weight=Weight(grams * 1000, weight_class), by=people.mona_manager()
    )


def check(one: Scale, *, off_ug: int = 0, at: datetime | None = None, by: User | None = None) -> ScaleCheck:
    """A check of a scale with one reference weight, which it shows so many micrograms off."""
    weight = reference_weight(1 if one.max_mg < 1_000_000 else 1000)
    return check_scale(
        scale=one,
        loads=[Load((weight,), weight.nominal_mg * 1000 + off_ug)],
        at=at or timezone.now(),
        by=by or people.fiona_frontdesk(),
    )


def parcel(gross_mg: int = 1_000_000, **changes) -> ParcelEntry:
    """A parcel of doré, weighed without a container; gross in milligrams. Each comes from a mine of its own."""
    declared = {
        "form": Form.DORE,
        "scale": "BENCH-2",
        "gross_mg": gross_mg,
        "tare_mg": 0,
        "category": Category.MINED_SMALL,
        "country": "CA",
        "mine": f"Claim {next(_mines)}",
        "pieces": 1,
        "declared_au_ppm": 800_000,
    }
    return ParcelEntry(**(declared | changes))


def received(
    *parcels: ParcelEntry | int,
    of: Party | None = None,
    basis: Basis = Basis.TOLL,
    by: User | None = None,
    at: datetime | None = None,
    delivered_by: str = "Mara Quill",
) -> list[Lot]:
    """The lots of one receipt, in the receiver's custody; 1 kg of doré unless parcels, or their mg, are given."""
    refinery()
    entries = [entry if isinstance(entry, ParcelEntry) else parcel(entry) for entry in parcels or (parcel(),)]
    for entry in entries:
        scale(entry.scale, at=at)
    posted = receive(
        party=of or party(),
        parcels=entries,
        basis=basis,
        delivered_by=delivered_by,
        at=at or timezone.now(),
        place=place("COUNTER"),
        by=by or people.fiona_frontdesk(),
    )
    return [fresh(number) for number in posted.lots]


def receipt_of(lot: Lot) -> Operation:
    """The receipt that brought a parcel."""
    return Operation.objects.get(pk=lot.receipt_id)


def valued(lot: Lot, *, method: str = "fire assay", at: datetime | None = None, **ppm: int) -> Lot:
    """The lot with the metals of an assay by Anna that Mona accepted: ``valued(lot, Au=800_000, Ag=150_000)``."""
    determination = determine(
        lot=lot,
        ppm=ppm or {"Au": 800_000, "Ag": 150_000},
        method=method,
        at=at or timezone.now(),
        by=people.anna_assayer(),
    )
    accept(determination=determination, at=at or timezone.now(), by=people.mona_manager())
    return fresh(lot.number)


def released(lot: Lot, *, reason: str = "Papers seen", at: datetime | None = None) -> Lot:
    """The lot, released by Clara."""
    return _cleared(lot, Clearance.RELEASED, reason, at)


def held(lot: Lot, *, reason: str = "Origin papers are missing", at: datetime | None = None) -> Lot:
    """The lot, held by Clara."""
    return _cleared(lot, Clearance.HELD, reason, at)


def handed_over(
    lot: Lot, to: User, where: str = "FURNACE-1", *, weighed_mg: int | None = None, at: datetime | None = None
) -> Lot:
    """The lot in another person's custody at a place, handed over by who held it, weighed again or sealed."""
    weighed = Weighed(scale(at=at).code, weighed_mg) if weighed_mg is not None else None
    hand_over(
        lots=[Passing(lot.number, weighed, None if weighed else NotWeighed.SEALED)],
        to_person=to,
        to_place=place(where),
        at=at or timezone.now(),
        by=User.objects.get(pk=lot.custodian_id),
    )
    return fresh(lot.number)


def ready(
    *grams: int, by: User | None = None, where: str = "FURNACE-1", at: datetime | None = None, **ppm: int
) -> list[Lot]:
    """Lots of one receipt, of so many grams each, valued, released and in the operator's hands."""
    keeper = by or people.otto_operator()
    return [
        handed_over(released(valued(lot, at=at, **ppm), at=at), keeper, where, at=at)
        for lot in received(*(gram * 1000 for gram in grams or (1000,)), at=at)
    ]


def bar(serial: str = "A000001", *, grams: int = 1000, at: datetime | None = None) -> Lot:
    """A bar of fine gold, cast by the operator from a parcel of its own."""
    (metal,) = ready(grams, at=at, Au=999_900)
    posted = record_step(
        kind=Kind.CAST,
        inputs=[Take(metal.number)],
        outputs=[Make(Form.BAR, metal.gross_mg, {"Au": metal.au_mg}, place=place("SHOP").code, serial=serial)],
        at=at or timezone.now(),
        by=people.otto_operator(),
    )
    return fresh(posted.lots[0])


def fresh(number: str) -> Lot:
    """The lot as the book has it now."""
    return Lot.objects.get(number=number)


def _cleared(lot: Lot, clearance: Clearance, reason: str, at: datetime | None) -> Lot:
    clear_lots(
        lots=[lot.number], clearance=clearance, reason=reason, at=at or timezone.now(), by=people.clara_compliance()
    )
    return fresh(lot.number)
