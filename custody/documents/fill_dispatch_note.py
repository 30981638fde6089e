"""The dispatch note, filled from the book."""

from custody.documents.dispatch_note import DispatchNote, SentBox, SentLot
from custody.documents.fill_bar_list import listed, rules_of, totals_of
from custody.documents.fill_collection import head_of
from custody.models import AccountEntry, Movement, Operation, Weighing
from custody.queries import bar_lists
from custody.queries.boxes import closed_boxes_of
from custody.templatetags.metal import grams
from custody.terms import METALS, Against, Purpose, Side


def dispatch_note(dispatch: Operation, *, copy_no: int) -> DispatchNote:
    """What left with a dispatch: boxes by seal, bars by serial, lots as weighed; to whom, by which order."""
    lines = list(dispatch.movements.filter(side=Side.IN).select_related("lot__bar__bar_type").order_by("line"))
    bars = [line for line in lines if _is_bar(line)]
    of_bars = bar_lists.of_bars(line.lot.bar for line in bars)
    boxed = closed_boxes_of([line.lot for line in bars])
    boxes = {box.pk: box for box in boxed.values()}
    return DispatchNote(
        **head_of(dispatch, copy_no),
        carrier=dispatch.collection.carrier,
        sent_by=str(dispatch.by),
        statement=_statement(dispatch, lines),
        boxes=tuple(
            SentBox(
                box.number,
                box.seal,
                sum(inside.pk == pk for inside in boxed.values()),
                sum(line.gross_mg for line in bars if line.lot_id in boxed and boxed[line.lot_id].pk == pk),
            )
            for pk, box in boxes.items()
        ),
        bars=tuple(listed(line, str(boxed.get(line.lot.pk, ""))) for line in of_bars),
        totals=totals_of(of_bars),
        rules=rules_of(of_bars),
        lots=_lots(dispatch, [line for line in lines if not _is_bar(line)]),
    )


def _is_bar(line: Movement) -> bool:
    bar = getattr(line.lot, "bar", None)
    return bar is not None and bar.cancelled_by_id is None


def _lots(dispatch: Operation, lines: list[Movement]) -> tuple[SentLot, ...]:
    weighings = Weighing.objects.filter(operation=dispatch, purpose=Purpose.GATE).select_related("scale")
    weighed = {one.lot_id: one for one in weighings}
    return tuple(
        SentLot(
            lot=line.lot.number,
            what=line.lot.get_form_display(),
            book_mg=line.gross_mg,
            weighed_mg=weighed[line.lot_id].net_mg if line.lot_id in weighed else None,
            scale=weighed[line.lot_id].scale.code if line.lot_id in weighed else "not weighed",
            metals=tuple((metal, mg) for metal, mg in zip(METALS, line.metals_mg, strict=True) if mg and line.valued),
        )
        for line in lines
    )


def _statement(dispatch: Operation, lines: list[Movement]) -> str:
    """By what right it left, in words; of a claim how much of it was drawn, and what left beside it."""
    party = dispatch.party.name
    own = [line.lot.number for line in lines if line.lot.owner_id == dispatch.party_id]
    if dispatch.collection.against == Against.OWN:
        return (
            f"Return of metal to its owner. The metal listed here is the own metal of {party} and goes back to it:"
            " nothing is sold by this note, and no claim is drawn on."
        )
    also = f" Lot {', '.join(own)} is the own metal of {party} and goes back to it." if own else ""
    if dispatch.collection.against == Against.SALE:
        return f"Delivered as sold, by the order above.{also}"
    drawn = {
        entry.account.metal: -entry.mg
        for entry in AccountEntry.objects.filter(operation=dispatch).select_related("account")
    }
    house = [line for line in lines if line.lot.owner_id is None]
    beside = {metal: sum(line.metals_mg[at] for line in house) - drawn.get(metal, 0) for at, metal in enumerate(METALS)}
    said = ", ".join(f"{metal} {grams(drawn[metal])} g" for metal in METALS if metal in drawn)
    rest = ", ".join(f"{metal} {grams(mg)} g" for metal, mg in beside.items() if mg)
    uncharged = f" In the bars, and not charged: {rest}." if rest else ""
    return f"Delivered against the claim of {party}. Drawn on its metal account: {said}.{uncharged}{also}"
