"""What a route asks for: acid, reductant, caustic and glucose, copper or iron, by equation and the plant's excess.

Only the metals of account are reckoned. What was not assayed takes acid too, and is the plant's judgement. Defaults of
``Practice`` are common practice; nothing here is a recipe: a licensed practice decides.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from custody.calc import chemistry
from custody.calc.chemistry import Reaction, deposited_mg, molar_mass, needed_mg
from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.calc.route import Step
from custody.terms import METALS, PPM, Kind, Term

#: What stands for each substance on a sheet.
NAMES = {
    "HNO3": "nitric acid",
    "HCl": "hydrochloric acid",
    "Na2S2O5": "sodium metabisulfite",
    "NaCl": "salt",
    "NaOH": "caustic soda",
    "C6H12O6": "glucose",
    "Cu": "copper",
    "Fe": "iron",
}


class SilverWay(Term):
    """How silver comes out of a nitrate liquor."""

    COPPER = "cementation on copper"
    CHLORIDE = "as chloride, by caustic and glucose"


@dataclass(frozen=True, slots=True)
class Acid:
    """An acid as it stands in the store: parts per million by mass, and density in mg/mL (1410 is 1.41 g/mL)."""

    strength_ppm: int
    density_mg_ml: int

    def __post_init__(self) -> None:
        if not 0 < self.strength_ppm <= PPM or self.density_mg_ml <= 0:
            raise Refused("An acid has a strength up to 100 % and a density above zero.", field="strength")

    def volume_ul(self, pure_mg: int) -> int:
        """Microlitres that hold so many milligrams of the pure acid, rounded up to a tenth of a millilitre."""
        exact = Fraction(pure_mg * PPM, self.strength_ppm * self.density_mg_ml)
        return -(-exact.numerator * 10 // exact.denominator) * 100


#: 68 % nitric of 1.41 g/mL and 37 % hydrochloric of 1.18 g/mL (from memory).
NITRIC = Acid(680_000, 1410)
HYDROCHLORIC = Acid(370_000, 1180)


@dataclass(frozen=True, slots=True)
class Practice:
    """The plant's way: its acids, by how much more than the equation it takes of each reagent (ppm), its silver."""

    nitric: Acid = NITRIC
    hydrochloric: Acid = HYDROCHLORIC
    excess_ppm: Mapping[str, int] = field(default_factory=dict)
    silver_way: SilverWay = SilverWay.CHLORIDE

    def acid(self, formula: str) -> Acid | None:
        """The acid of a formula; None for what is weighed."""
        return {"HNO3": self.nitric, "HCl": self.hydrochloric}.get(formula)


@dataclass(frozen=True, slots=True)
class Reagent:
    """One line of a sheet: so much of a substance for so much metal, by this equation, factor and excess.

    ``mg`` is the pure substance; ``volume_ul`` the acid of the store that holds it, None for what is weighed.
    """

    what: str
    equation: str
    per: str
    per_mg: int
    factor: str
    excess_ppm: int
    mg: int
    volume_ul: int | None = None

    @property
    def volume_ml(self) -> str:
        """Millilitres of the store's acid with one decimal; a dash for what is weighed."""
        return "—" if self.volume_ul is None else format_grams(self.volume_ul)[:-2]


@dataclass(frozen=True, slots=True)
class Stage:
    """One step of a sheet: what it is called, which kinds of step it is (for the cautions), reagents and a note."""

    title: str
    kinds: tuple[Kind, ...]
    reagents: tuple[Reagent, ...] = ()
    note: str = ""


_KINDS = {
    Step.INQUART: (Kind.INQUART,),
    Step.PART: (Kind.PART,),
    Step.CRUST: (Kind.GRANULATE,),
    Step.AQUA_REGIA: (Kind.DISSOLVE, Kind.FILTER),
    Step.PRECIPITATE: (Kind.PRECIPITATE,),
    Step.GOLD_CELL: (Kind.ELECTROLYSE_GOLD,),
    Step.SILVER_CELL: (Kind.ELECTROLYSE_SILVER,),
    Step.MELT: (Kind.MELT,),
}
_CELLS = {Step.GOLD_CELL: "Au", Step.SILVER_CELL: "Ag"}
_NOTES = {
    Step.CRUST: "Granulate fine, stir, draw the crust off, and dissolve what is under it.",
    Step.AQUA_REGIA: "Silver stays behind as chloride; filter it off before gold is precipitated.",
}


def charge_of(
    steps: Iterable[Step], fine_mg: Mapping[str, int], *, silver_added_mg: int = 0, practice: Practice | None = None
) -> tuple[Stage, ...]:
    """The stages of a route with their reagents, for the fine metals (milligrams) of its feed.

    Silver and copper that the route dissolves are recovered in stages at its end. Raises ``Refused`` for negative
    metal.
    """
    practice = practice or Practice()
    if min((*fine_mg.values(), silver_added_mg), default=0) < 0:
        raise Refused("Metal is never less than nothing.", field="metal")
    left = {metal: fine_mg.get(metal, 0) for metal in METALS}
    nitrate = chloride = copper = 0
    stages = []
    for step in steps:
        if step is Step.INQUART:
            left["Ag"] += silver_added_mg
        stages.append(_stage(step, left, silver_added_mg, practice))
        if step is Step.PART:
            nitrate, copper = nitrate + left["Ag"], copper + left["Cu"]
            left |= {"Ag": 0, "Cu": 0}
        elif step is Step.AQUA_REGIA:
            chloride, copper = chloride + left["Ag"], copper + left["Cu"]
            left |= {"Ag": 0, "Cu": 0}
    return (*stages, *_side_streams(nitrate, chloride, copper, practice))


def _stage(step: Step, left: Mapping[str, int], added_mg: int, practice: Practice) -> Stage:
    reagents: tuple[Reagent, ...] = ()
    if step is Step.PART:
        reagents = _parting(left, practice)
    elif step is Step.AQUA_REGIA:
        reagents = _dissolving(left, practice)
    elif step is Step.PRECIPITATE:
        reagents = _some(_line(chemistry.METABISULFITE, "Na2S2O5", "Au", left["Au"], practice))
    return Stage(step.label, _KINDS[step], reagents, _note(step, left, added_mg))


def _note(step: Step, left: Mapping[str, int], added_mg: int) -> str:
    if step is Step.INQUART:
        return _inquart_note(added_mg)
    if step in _CELLS:
        return _cell_note(_CELLS[step], left[_CELLS[step]])
    return _NOTES.get(step, "")


def _parting(left: Mapping[str, int], practice: Practice) -> tuple[Reagent, ...]:
    return _some(
        _line(chemistry.PARTING_SILVER, "HNO3", "Ag", left["Ag"], practice),
        _line(chemistry.PARTING_COPPER, "HNO3", "Cu", left["Cu"], practice),
    )


def _dissolving(left: Mapping[str, int], practice: Practice) -> tuple[Reagent, ...]:
    ways = (
        (chemistry.AQUA_REGIA, "Au"),
        (chemistry.SILVER_IN_AQUA_REGIA, "Ag"),
        (chemistry.COPPER_IN_AQUA_REGIA, "Cu"),
    )
    return _some(*(_line(way, acid, metal, left[metal], practice) for acid in ("HNO3", "HCl") for way, metal in ways))


def _side_streams(nitrate: int, chloride: int, copper: int, practice: Practice) -> list[Stage]:
    """Silver from its nitrate and chloride, then copper; copper that silver was cemented on is in the liquor too."""
    reagents: list[Reagent | None] = []
    if practice.silver_way is SilverWay.COPPER:
        reagents.append(_line(chemistry.CEMENT_BY_COPPER, "Cu", "Ag", nitrate, practice))
        copper += needed_mg(nitrate, chemistry.CEMENT_BY_COPPER.per_gram("Cu", "Ag"))
    else:
        reagents.append(_line(chemistry.SILVER_CHLORIDE, "NaCl", "Ag", nitrate, practice))
        chloride += nitrate
    salt = needed_mg(chloride, molar_mass("AgCl") / molar_mass("Ag"))
    reagents.append(_line(chemistry.SILVER_OXIDE, "NaOH", "AgCl", salt, practice))
    reagents.append(_line(chemistry.GLUCOSE, "C6H12O6", "Ag", chloride, practice))
    stages = []
    if nitrate or chloride:
        stages.append(Stage("recovery of silver", (Kind.CEMENT_SILVER, Kind.WASH), _some(*reagents)))
    if copper:
        iron = _some(_line(chemistry.CEMENT_BY_IRON, "Fe", "Cu", copper, practice))
        stages.append(Stage("recovery of copper", (Kind.CEMENT_COPPER, Kind.NEUTRALISE), iron))
    return stages


def _line(reaction: Reaction, of: str, per: str, per_mg: int, practice: Practice) -> Reagent | None:
    if not per_mg:
        return None
    # The equation of silver chloride names the silver only as its nitrate: one mole of it holds one of silver.
    in_salt = "AgNO3" if per == "Ag" and per not in reaction.moles else per
    factor = reaction.per_gram(of, in_salt) * molar_mass(in_salt) / molar_mass(per)
    excess = practice.excess_ppm.get(of, 0)
    mg = needed_mg(per_mg, factor, excess_ppm=excess)
    acid = practice.acid(of)
    return Reagent(
        NAMES[of],
        reaction.equation,
        per,
        per_mg,
        six_decimals(factor),
        excess,
        mg,
        acid.volume_ul(mg) if acid else None,
    )


def six_decimals(factor: Fraction) -> str:
    """A factor as tables print it, rounded half up: ``0.723833``."""
    millionths = int(factor * PPM + Fraction(1, 2))
    return f"{millionths // PPM}.{millionths % PPM:06d}"


def _some(*lines: Reagent | None) -> tuple[Reagent, ...]:
    return tuple(line for line in lines if line)


def _inquart_note(added_mg: int) -> str:
    if not added_mg:
        return "There is silver enough: none is added."
    return "Silver for inquartation is a lot of its own number. Copper in the feed counts as metal that parts."


def _cell_note(metal: str, mg: int) -> str:
    hours = Fraction(mg) / deposited_mg(metal, 1000)
    return (
        f"By Faraday's law the {metal} of this batch asks for {-(-hours.numerator // hours.denominator)} Ah, at full"
        " current efficiency."
    )
