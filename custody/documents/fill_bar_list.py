"""Lists of bars, filled from the book."""

from collections.abc import Sequence
from datetime import datetime

from custody.documents.bar_list import BarListPaper, ListedBar, ListTotal
from custody.documents.fill_receipt import house_of
from custody.documents.parts import Signature
from custody.models import Box, Refinery, User
from custody.queries import bar_lists
from custody.queries.bar_lists import BarLine, Chosen
from custody.templatetags.papers import clock, local


def list_number(chosen: Chosen, at: datetime) -> str:
    """What names a list: the number of its dispatch, cast or box; of a place or days, which change, the moment."""
    return chosen.number or f"{chosen.words}, {clock(at, Refinery.objects.get().time_zone)}"


def bar_list_paper(chosen: Chosen, lines: Sequence[BarLine], *, number: str, copy_no: int, at, by: User):
    """A list of what was chosen."""
    facts = [("Bars of", chosen.words), ("Bars", str(len(lines)))]
    if chosen.dispatch:
        facts.append(("For", chosen.dispatch.party.name))
    signatures = (Signature("Listed", str(by), at),)
    return _paper("Bar list", number, chosen.number or number, facts, lines, signatures, at, copy_no)


def box_list_paper(box: Box, lines: Sequence[BarLine], *, copy_no: int, at: datetime, by: User) -> BarListPaper:
    """What lies in a box under its seal; it is printed when the box is packed and lies in it."""
    house = house_of(Refinery.objects.get())
    facts = [
        ("Seal", box.seal),
        ("Bars", str(len(lines))),
        ("Packed at", f"{local(box.at, house.zone)}, {box.place.name}"),
        ("Packed by", str(box.by)),
    ]
    if box.note:
        facts.append(("Note", box.note))
    if hasattr(box, "opening"):
        opened = box.opening
        facts.append(("Opened", f"{local(opened.at, house.zone)} by {opened.by}: {opened.reason}"))
    signatures = (Signature("Packed and sealed", str(box.by), box.at), Signature("Seen, and found as listed"))
    statement = (
        "The bars below lie in the box named above, under its seal. While the seal is unbroken the box is counted by"
        " its seal; once it is broken, bar by bar."
    )
    return _paper("Box list", box.number, box.number, facts, lines, signatures, at, copy_no, statement)


def listed(line: BarLine, box: str = "") -> ListedBar:
    """One bar as a paper shows it."""
    bar, weight = line.bar, line.weight
    return ListedBar(
        lot=line.lot.number,
        mark=bar.mark,
        serial=bar.serial,
        year=bar.year,
        kind=line.kind,
        gross_mg=line.gross_mg,
        metal=line.metal,
        fineness_ppm=line.ppm,
        fine_mg=line.fine_mg,
        gross_ozt=weight.gross_ozt if weight else None,
        fine_ozt=weight.fine_ozt if weight else None,
        box=box,
    )


def totals_of(lines: Sequence[BarLine]) -> tuple[ListTotal, ...]:
    """What bars come to, metal by metal."""
    return tuple(
        ListTotal(total.metal, total.bars, total.gross_mg, total.fine_mg, total.gross_ozt, total.fine_ozt)
        for total in bar_lists.totals(lines)
    )


def rules_of(lines: Sequence[BarLine]) -> tuple[str, ...]:
    """By which rules the ounces are told, each once."""
    return tuple(dict.fromkeys(line.weight.rule for line in lines if line.weight))


def _paper(name, number, qr, facts, lines, signatures, at, copy_no, statement="") -> BarListPaper:
    return BarListPaper(
        house=house_of(Refinery.objects.get()),
        name=name,
        number=number if copy_no == 1 else f"{number}, copy {copy_no}",
        qr=qr,
        facts=tuple(facts),
        bars=tuple(listed(line) for line in lines),
        totals=totals_of(lines),
        rules=rules_of(lines),
        signatures=signatures,
        issued_at=at,
        statement=statement,
        copy_no=copy_no,
    )
