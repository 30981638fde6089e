"""One receipt: its parcels as declared and as measured, how far each has come, and where its settlement stands."""

from dataclasses import dataclass

from django.db.models import Sum

from custody.calc.estimate import Declared, declared_fineness, estimate, parse_declared
from custody.calc.rounding import half_even
from custody.models import Amendment, Determination, Edge, Lot, Movement, Operation, Origin, Parcel, Purchase, Weighing
from custody.queries.amendments import as_amended
from custody.queries.settling import MAY_WAIT, standing_settlement, unvalued_lots, went_back
from custody.terms import METALS, PPM, Category, Form, Kind, Purpose, Side


@dataclass(frozen=True, slots=True)
class ParcelLine:
    """One parcel: declared and measured beside each other (mg, ppm), and its stage in words.

    ``found_ppm`` is the fineness in gold that the accepted assays give the parcel, melted meanwhile or not;
    ``weighing`` the one at the counter, None for a past record.
    """

    lot: Lot
    parcel: Parcel
    weighing: Weighing | None
    received_mg: int
    found_ppm: int | None
    stage: str

    @property
    def off_mg(self) -> int | None:
        """Measured less declared gross, milligrams."""
        declared = self.parcel.declared_gross_mg
        return None if declared is None else self.received_mg - declared

    @property
    def estimates(self) -> str:
        """What it may hold by what was declared, as an estimate alone; empty where nothing was declared."""
        return " ".join(estimate(self.received_mg, one).sentence for one in declared_of(self.parcel))


def parcel_lines(receipt: Operation) -> list[ParcelLine]:
    """The parcels of a receipt in their order; as many queries for three parcels as for one."""
    parcels = as_amended(
        Parcel.objects.filter(lot__created_by=receipt).select_related("lot", "returned_from__lot").order_by("line")
    )
    lots = [parcel.lot for parcel in parcels]
    received = dict(
        Movement.objects.filter(operation=receipt, side=Side.OUT, lot__in=lots).values_list("lot_id", "gross_mg")
    )
    determinations = list(
        Determination.objects.filter(lot__in=lots, repeat=None).select_related("acceptance").order_by("id")
    )
    determined = {one.lot_id: one for one in determinations}
    assayed = {one.lot_id: one.au_ppm for one in determinations if hasattr(one, "acceptance")}
    found = _found_mg(lots)
    weighed = {
        one.lot_id: one
        for one in Weighing.objects.filter(operation=receipt, purpose=Purpose.RECEIPT).select_related("scale", "by")
    }
    sampled = set(
        Edge.objects.filter(parent__in=lots, child__form=Form.SAMPLE, operation__reversed_by__isnull=True).values_list(
            "parent_id", flat=True
        )
    )
    last = Movement.objects.select_related("operation__collection").in_bulk([lot.last_movement for lot in lots])
    return [
        ParcelLine(
            lot=parcel.lot,
            parcel=parcel,
            weighing=weighed.get(parcel.lot_id),
            received_mg=received[parcel.lot_id],
            found_ppm=_found_ppm(found.get(parcel.lot_id), received[parcel.lot_id], assayed.get(parcel.lot_id)),
            stage=_stage(
                parcel.lot, determined.get(parcel.lot_id), parcel.lot_id in sampled, last[parcel.lot.last_movement]
            ),
        )
        for parcel in parcels
    ]


def declared_of(parcel: Parcel) -> list[Declared]:
    """The fineness declared of a parcel, by metal; gold by karat where it was said so."""
    found = []
    if parcel.declared_au_ppm:
        karat = parcel.declared_words.endswith("karat")
        found.append(parse_declared(parcel.declared_words) if karat else declared_fineness(parcel.declared_au_ppm))
    if parcel.declared_ag_ppm:
        found.append(declared_fineness(parcel.declared_ag_ppm, "Ag"))
    return found


def source_words(parcel: Parcel) -> str:
    """From whom or where the metal came before it was delivered, named as its category has it."""
    if not parcel.mine:
        return ""
    names = {Category.RECYCLED: "collector", Category.GRANDFATHERED: "holder", Category.HOUSE: "source"}
    return f"{names.get(parcel.category, 'mine')} {parcel.mine}"


def amendments_of(receipt: Operation) -> list[Amendment]:
    """What was amended of a receipt, in order; what was first written stays where it stands."""
    return list(receipt.amendments.select_related("lot", "by", "countersigned_by").order_by("id"))


def settlement_words(receipt: Operation) -> tuple[str, str]:
    """Where the settlement stands in words, and the number of the statement that stands, if any."""
    settlement = standing_settlement(receipt)
    if settlement:
        return f"settled by {settlement.number}", settlement.number
    if hasattr(receipt, "reversed_by"):
        return "nothing to settle: the receipt is reversed", ""
    if Purchase.objects.filter(receipt=receipt).exists():
        return f"bought and paid at the counter by {receipt.by}", ""
    waiting = sum(lot.form not in MAY_WAIT for lot in unvalued_lots(receipt))
    if waiting:
        return f"waits: {waiting} lot{'s' if waiting > 1 else ''} not valued yet", ""
    return "to be settled", ""


def _found_mg(lots: list[Lot]) -> dict[int, tuple[int, ...]]:
    """The metals that parcels were received as so far, milligrams, by lot id: what valuations gave their origins."""
    sums = {metal: Sum(f"receipts__{metal.lower()}_mg") for metal in METALS}
    rows = Origin.objects.filter(lot__in=lots).values("lot_id").annotate(**sums)
    return {row["lot_id"]: tuple(row[metal] or 0 for metal in METALS) for row in rows}


def _found_ppm(found_mg: tuple[int, ...] | None, received_mg: int, assayed_ppm: int | None) -> int | None:
    """The fineness in gold that was found: what the assay said where it gave these milligrams, else what they make.

    Reckoned back from a few grams rounded to the milligram, 580 per mille would read 579.984.
    """
    if not found_mg or not any(found_mg):
        return None
    if assayed_ppm is not None and half_even(received_mg * assayed_ppm, PPM) == found_mg[0]:
        return assayed_ppm
    return half_even(found_mg[0] * PPM, received_mg)


def _stage(lot: Lot, determination: Determination | None, sampled: bool, last: Movement) -> str:
    if not lot.gross_mg:
        operation = last.operation
        if operation.kind == Kind.REVERSE:
            return f"cancelled by {operation.number}"
        if went_back(operation):
            return f"returned unmelted by {operation.number}"
        return f"used whole in {operation.kind} {operation.number}"
    if lot.valued:
        return "valued"
    if determination:
        return "assay awaits acceptance"
    return "sampled, awaits its assay" if sampled else "not sampled yet"
