"""The bar certificate, filled from the book."""

from custody.calc.bars import Stated, stated
from custody.calc.fineness import fine_mg, parse_per_mille
from custody.calc.refusals import Refused
from custody.documents.certificate import CertificatePaper
from custody.documents.fill_receipt import house_of
from custody.documents.parts import Signature
from custody.errors import Refusal
from custody.models import Bar, Determination, Lot, Movement, Refinery, User
from custody.queries.assayed import assays_behind
from custody.terms import METALS, PPM, Kind

#: What stands for an assay where the book holds none since the last refining, as for a bar of imported records.
BY_THE_BOOK = "none since the last refining: fineness by the book"


def certificate_paper(bar: Bar, *, copy_no: int, at, by: User) -> CertificatePaper:
    """The bar as it was cast, or as it last left.

    The book's fineness is fine ÷ gross in whole ppm, never rounded up; the mark has four figures of it, and the fine
    weight is the gross by that mark. Raises ``Refusal`` for a bar that is cancelled, worked up
    again, or without a fineness that a bar can be marked with.
    """
    lot = bar.lot
    gross, *metals = _content(bar)
    metal, fine = max(zip(METALS, metals, strict=True), key=lambda held: held[1])
    fineness = fine * PPM // gross
    market = _market(bar, metal, gross, fineness)
    assays = assays_behind(lot)
    number = f"C-{lot.number}"
    return CertificatePaper(
        house=house_of(Refinery.objects.get()),
        number=number if copy_no == 1 else f"{number}, copy {copy_no}",
        qr=str(bar),
        mark=bar.mark,
        serial=bar.serial,
        year=bar.year,
        form=lot.get_form_display(),
        metal=metal,
        gross_mg=gross,
        fineness_ppm=fineness,
        fine_mg=fine_mg(gross, parse_per_mille(market.mark)),
        marked=market.mark,
        gross_ozt=str(market.gross_ozt),
        fine_ozt=str(market.fine_ozt),
        fine_rule=market.rule,
        bar_type=str(bar.bar_type or ""),
        marks=tuple(bar.bar_type.marks) if bar.bar_type else (),
        cast_on=lot.created_by.day,
        assay_reference=", ".join(assay.number for assay in assays) or BY_THE_BOOK,
        assay_method=", ".join(dict.fromkeys(assay.method for assay in assays)),
        custody_model=lot.custody_model,
        signatures=(*map(_assayed, assays[:1]), Signature("Issued", str(by), at)),
        issued_at=at,
    )


def _market(bar: Bar, metal: str, gross_mg: int, ppm: int) -> Stated:
    """The bar as the market states it. Raises ``Refusal`` where it can't be marked."""
    try:
        return stated(metal, gross_mg, ppm, bar.bar_type.nominal_mg if bar.bar_type else None)
    except Refused as refused:
        raise Refusal(f"Bar {bar}: {refused.sentence}") from refused


def _content(bar: Bar) -> tuple[int, ...]:
    """Gross and metals in mg, of a bar in the house or of one that left through the gate."""
    lot: Lot = bar.lot
    if bar.cancelled_by_id:
        raise Refusal(f"Bar {bar} is cancelled: no certificate is issued for it.")
    if not lot.valued:
        raise Refusal(f"Bar {bar} has no fineness in the book yet: it is not valued.")
    if lot.gross_mg:
        return lot.columns_mg
    last = Movement.objects.select_related("operation").get(pk=lot.last_movement)
    if last.operation.kind != Kind.DISPATCH:
        raise Refusal(f"Bar {bar} is no more: it went into {last.operation.kind} {last.operation.number}.")
    return last.columns_mg


def _assayed(assay: Determination) -> Signature:
    return Signature("Assayed", str(assay.by), assay.at)
