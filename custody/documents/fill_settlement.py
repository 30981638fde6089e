"""The settlement statement, filled from the book: what was issued, and the assays that the content rests on."""

from custody.calc.mass import format_grams
from custody.calc.price import quoted_price
from custody.documents.fill_receipt import house_of
from custody.documents.parts import Signature
from custody.documents.settlement import Charge, SettledLot, SettledMetal, SettlementPaper
from custody.models import Movement, Operation, Refinery, Settlement, SettlementLine
from custody.terms import METALS, Form, Kind, Side

IN_WORDS = {"money": "money: the payable metal becomes the refinery's", "metal": "metal, on the customer's account"}


def settlement_paper(settlement: Settlement) -> SettlementPaper:
    """What was issued: every figure is the stored one, nothing is reckoned anew."""
    party = settlement.party
    lots = tuple(settled_lots(settlement))
    lines = sorted(settlement.lines.all(), key=lambda line: METALS.index(line.metal))
    return SettlementPaper(
        house=house_of(Refinery.objects.get()),
        number=settlement.number,
        qr=settlement.number,
        issued_at=settlement.issued_at,
        party=party.name,
        party_code=party.code,
        party_address=tuple(party.address.splitlines()) or (party.country,),
        receipts=(settlement.receipt.number,),
        outturn=IN_WORDS[settlement.outturn],
        currency=settlement.currency,
        metals=tuple(_metal(line) for line in lines),
        charges=tuple(Charge(c.what, in_lines(c.formula), c.amount) for c in settlement.charge_lines.all()),
        total=settlement.total,
        prepared=Signature("Prepared", str(settlement.prepared_by), settlement.issued_at),
        approved=Signature(
            f"Approved: {settlement.approval_meaning}", str(settlement.approved_by), settlement.issued_at
        ),
        lots=lots,
        notes=tuple(filter(None, (_samples(lines, lots), settlement.note))),
        corrects=settlement.corrects.number if settlement.corrects else "",
        reason=settlement.reason,
    )


def settled_lots(settlement: Settlement) -> list[SettledLot]:
    """The lots of the receipt as they were valued when the statement was issued: gross × fineness = fine, each."""
    valuations = {}
    for operation in (
        Operation.objects.filter(
            kind=Kind.VALUE,
            acceptance__determination__lot__receipt=settlement.receipt,
            at__lte=settlement.issued_at,
            reversed_by__isnull=True,
        )
        .select_related("acceptance__determination__lot")
        .order_by("id")
    ):
        valuations[operation.acceptance.determination.lot_id] = operation  # a later valuation takes the earlier's place
    contents = {
        (line.operation_id, line.lot_id): line
        for line in Movement.objects.filter(operation__in=valuations.values(), side=Side.OUT)
    }
    return [_lot(operation, contents[operation.pk, lot_id]) for lot_id, operation in sorted(valuations.items())]


def in_lines(formula: str) -> str:
    """A formula with one step on each line."""
    return formula.replace("; ", "\n")


def _lot(operation: Operation, content: Movement) -> SettledLot:
    determination = operation.acceptance.determination
    return SettledLot(
        lot=determination.lot.number,
        form=Form(determination.lot.form).label,
        gross_mg=content.gross_mg,
        contents=tuple(
            (metal, ppm, mg) for metal, ppm, mg in zip(METALS, determination.ppm, content.metals_mg, strict=True) if ppm
        ),
        assay_reference=determination.number,
    )


def _metal(line: SettlementLine) -> SettledMetal:
    return SettledMetal(
        metal=line.metal,
        content_mg=line.content_mg,
        accountability_ppm=line.accountability_ppm,
        payable_mg=line.payable_mg,
        retained_mg=line.retained_mg,
        returned_mg=line.returned_mg,
        formula=in_lines(line.formula),
        price=None if line.price is None else quoted_price(line.price),
        price_unit=line.price_unit,
        price_source=line.price_source,
        amount=line.amount,
    )


def _samples(lines: list[SettlementLine], lots: tuple[SettledLot, ...]) -> str:
    """The rest of the content beside the lots listed, so that the two tables can be told to agree."""
    listed = dict.fromkeys(METALS, 0)
    for lot in lots:
        for metal, _, mg in lot.contents:
            listed[metal] += mg
    rest = [(line.metal, line.content_mg - listed[line.metal]) for line in lines]
    words = ", ".join(f"{metal} {format_grams(mg)} g" for metal, mg in rest if mg)
    return f"Beside the lots listed, the content counts the samples drawn from them: {words}." if words else ""
