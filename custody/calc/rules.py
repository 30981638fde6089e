"""The table of operation kinds: what each step may lose, add and change.

One row per kind, the only place to say it; ``custody_rule`` in PostgreSQL is a copy made at every migrate, and
the posting function obeys that copy. Bands and tolerances are parts per million of the fine metal that went
in. They are the house's defaults, common practice except where a source is named.

Legal wastage of a melter and refiner, 1/1000 of gold and 1.5/1000 of silver: Coinage Act 1873, section 43.
"""

from dataclasses import dataclass

from custody.terms import METALS, Addition, Cause, Form, Kind

_DRY_CAUSES = (
    Cause.SLAG,
    Cause.FUME,
    Cause.LINING,
    Cause.SWEEPINGS,
    Cause.SPILL,
    Cause.DIFFERENCE,
    Cause.THEFT,
    Cause.OTHER,
)
_WET_CAUSES = (
    Cause.FUME,
    Cause.FILTER,
    Cause.EFFLUENT,
    Cause.SPILL,
    Cause.MOISTURE,
    Cause.SWEEPINGS,
    Cause.DIFFERENCE,
    Cause.THEFT,
    Cause.OTHER,
)
_COLD_CAUSES = (Cause.SWEEPINGS, Cause.SPILL, Cause.DIFFERENCE, Cause.THEFT, Cause.OTHER)
_ALL_CAUSES = tuple(Cause)
_WET_ADDITIONS = (Addition.ACID, Addition.WATER, Addition.REAGENT, Addition.UNWEIGHED)


@dataclass(frozen=True, slots=True)
class Rule:
    """What one kind of operation may do.

    ``lost`` are the metals that may leave as a declared loss. ``band_ppm`` is the normal loss of any
    precious metal; past ``tolerance_ppm`` (and past ``grace_mg``, which no balance in the house resolves better)
    the step needs a countersignature with a reason. ``gain_ppm`` of the gross that went in is as much unweighed
    water or gas as a step may gain without one. ``hours`` is how long a run of this kind may stay open. At least
    ``least_yield_ppm`` of the ``product_metal`` that went in is expected in products of ``product_forms``; a step (a
    run, when it is finished) that yields less needs a countersignature with a reason, too.
    """

    kind: Kind
    causes: tuple[Cause, ...]
    additions: tuple[Addition, ...] = ()
    lost: tuple[str, ...] = METALS
    band_ppm: int = 0
    tolerance_ppm: int = 0
    grace_mg: int = 50
    gain_ppm: int = 50_000
    hours: int = 0
    product_metal: str = ""
    product_forms: tuple[Form, ...] = ()
    least_yield_ppm: int = 0


def _dry(kind: Kind, band: int, tolerance: int) -> Rule:
    return Rule(
        kind,
        (*_DRY_CAUSES, Cause.MOISTURE, Cause.ORGANICS),
        (Addition.FLUX,),
        band_ppm=band,
        tolerance_ppm=tolerance,
    )


def _wet(kind: Kind, band: int, tolerance: int, hours: int, **yields) -> Rule:
    return Rule(kind, _WET_CAUSES, _WET_ADDITIONS, band_ppm=band, tolerance_ppm=tolerance, hours=hours, **yields)


def _yields(metal: str, least_ppm: int, *forms: Form) -> dict:
    return {"product_metal": metal, "least_yield_ppm": least_ppm, "product_forms": forms}


def _cold(kind: Kind, band: int, tolerance: int) -> Rule:
    return Rule(kind, _COLD_CAUSES, band_ppm=band, tolerance_ppm=tolerance)


_ROWS = (
    Rule(Kind.RECEIVE, ()),
    Rule(Kind.VALUE, (Cause.SAMPLE, Cause.DIFFERENCE), (Addition.VALUATION,), band_ppm=1_000, tolerance_ppm=1_000),
    _dry(Kind.MELT, 500, 1_000),
    Rule(Kind.SAMPLE, (*_COLD_CAUSES, Cause.SAMPLE), band_ppm=1_000, tolerance_ppm=10_000),
    _dry(Kind.GRANULATE, 500, 1_000),
    _dry(Kind.INQUART, 500, 1_500),
    _wet(Kind.PART, 1_000, 5_000, 24, **_yields("Au", 990_000, Form.RESIDUE, Form.GOLD_SAND)),
    _wet(Kind.DISSOLVE, 2_000, 10_000, 24),
    _wet(Kind.FILTER, 500, 2_000, 12, **_yields("Ag", 950_000, Form.SILVER_CHLORIDE)),
    _wet(Kind.PRECIPITATE, 500, 2_000, 24, **_yields("Au", 995_000, Form.GOLD_SAND)),
    _wet(Kind.WASH, 200, 1_000, 12),
    _wet(Kind.CEMENT_SILVER, 1_000, 5_000, 24, **_yields("Ag", 980_000, Form.SILVER_SAND)),
    _wet(Kind.CEMENT_COPPER, 5_000, 20_000, 48, **_yields("Cu", 950_000, Form.CEMENT_COPPER)),
    _dry(Kind.CAST_ANODES, 500, 1_000),
    _wet(Kind.ELECTROLYSE_SILVER, 1_000, 5_000, 120),
    _wet(Kind.ELECTROLYSE_GOLD, 500, 1_000, 120),
    _wet(Kind.NEUTRALISE, 5_000, 20_000, 24),
    Rule(
        Kind.DISCHARGE,
        (Cause.EFFLUENT, Cause.DIFFERENCE),
        band_ppm=1_000_000,
        tolerance_ppm=1_000_000,
    ),
    _wet(Kind.DRY, 100, 500, 12),
    _dry(Kind.CAST, 200, 500),
    _dry(Kind.CAST_STRIP, 200, 500),
    _cold(Kind.ROLL, 50, 200),
    _cold(Kind.PUNCH, 50, 200),
    _cold(Kind.ANNEAL, 50, 200),
    _cold(Kind.ADJUST, 50, 200),
    _cold(Kind.STAMP, 0, 50),
    _cold(Kind.DIVIDE, 50, 200),
    _dry(Kind.RECYCLE, 2_000, 10_000),
    Rule(Kind.CLEAN_OUT, _ALL_CAUSES, band_ppm=2_000, tolerance_ppm=10_000),
    Rule(Kind.CHARGE, (), _WET_ADDITIONS, hours=24),
    _wet(Kind.DRAW, 1_000, 1_000, 24),
    _wet(Kind.FINISH, 2_000, 10_000, 24),
    Rule(Kind.DIFFERENCE, _ALL_CAUSES, grace_mg=0),
    Rule(Kind.DISPATCH, ()),
    Rule(Kind.REVERSE, _ALL_CAUSES),
)

#: Every kind of operation by its name.
RULES: dict[Kind, Rule] = {rule.kind: rule for rule in _ROWS}


def rule_for(kind: str) -> Rule:
    """The row of one kind of operation; raises ``ValueError`` for a word that is no kind."""
    return RULES[Kind(kind)]
