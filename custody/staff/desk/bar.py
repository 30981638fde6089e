"""What the page of a bar says of it beside its stamp: its type, and how the market states it."""

from custody.calc.bars import stated
from custody.calc.refusals import Refused
from custody.models import Lot
from custody.templatetags.metal import permille
from custody.terms import METALS, PPM
from custody.web.panels import Fact


def bar_facts(one: Lot) -> list[Fact]:
    """Type, fineness by the book (never rounded up), and while it is here its mark, gross and fine ounces."""
    kind = one.bar.bar_type
    facts = [Fact(label="Type", value=str(kind))] if kind else []
    if not (one.valued and one.gross_mg):
        return facts
    metal, fine = max(zip(METALS, one.metals_mg, strict=True), key=lambda held: held[1])
    ppm = fine * PPM // one.gross_mg
    facts.append(Fact(label=f"Fineness, {metal}", value=permille(ppm)))
    try:
        found = stated(metal, one.gross_mg, ppm, kind.nominal_mg if kind else None)
    except Refused:
        return facts  # too poor to be marked: there is nothing more to state
    return [
        *facts,
        Fact(label="Marked, ‰", value=found.mark),
        Fact(label="Gross, ozt", value=str(found.gross_ozt)),
        Fact(label=f"Fine {metal}, ozt", value=str(found.fine_ozt)),
        Fact(label="By", value=found.rule),
    ]
