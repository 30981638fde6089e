"""What a product drawn from a vessel is expected to hold, until its assay says so.

The figures are an offer to the person who draws: the book takes what they name. Rules of thumb of the trade (common
practice): gold sand and cathodes are their metal, silver chloride holds silver by its formula, cement copper is
copper, the residue of parting is gold, hydroxides take all metal with them; everything else is like the liquor that it
comes from.
"""

from collections.abc import Sequence

from custody.calc.apportion import withdraw
from custody.calc.rounding import half_even
from custody.terms import METALS, Form, Kind

#: Ag in AgCl by mass, in ppm: 107.8682 / (107.8682 + 35.45), CIAAW conventional atomic weights.
SILVER_IN_CHLORIDE = 752_648

_MADE_OF = {
    Form.GOLD_SAND: "Au",
    Form.SILVER_SAND: "Ag",
    Form.CEMENT_COPPER: "Cu",
}
_CATHODE_OF = {Kind.ELECTROLYSE_GOLD: "Au", Kind.ELECTROLYSE_SILVER: "Ag", Kind.CEMENT_COPPER: "Cu"}


def expected_mg(form: Form, gross_mg: int, content_mg: Sequence[int], step: Kind) -> tuple[int, ...]:
    """Milligrams of Au, Ag, Pt, Pd, Cu to offer for a product of ``form`` drawn from a content.

    ``content_mg`` is the content's gross and metals. Never more of a metal than the content holds, nor than the product
    weighs. Raises Refused for a content whose metals exceed its gross.
    """
    gross, metals = content_mg[0], tuple(content_mg[1:])
    metal = _CATHODE_OF.get(step) if form is Form.CATHODE else _MADE_OF.get(form)
    if metal:
        return _only(metal, min(gross_mg, metals[METALS.index(metal)]))
    if form is Form.RESIDUE and step is Kind.PART:
        return _only("Au", min(gross_mg, metals[METALS.index("Au")]))
    if form is Form.CAKE and step is Kind.NEUTRALISE and sum(metals) <= gross_mg:
        return metals
    if form is Form.SILVER_CHLORIDE:
        silver = half_even(gross_mg * SILVER_IN_CHLORIDE, 1_000_000)
        return _only("Ag", min(silver, metals[METALS.index("Ag")]))
    return withdraw(gross, metals, min(gross_mg, gross))


def _only(metal: str, mg: int) -> tuple[int, ...]:
    return tuple(mg if each == metal else 0 for each in METALS)
