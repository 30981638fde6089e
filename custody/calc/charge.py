"""What a route asks for: acid, reductant, caustic and glucose, copper or iron, salts for platinum and palladium.

By equation, and the plant's excess on top.

Only the metals of account are reckoned. What was not assayed takes acid too, and is the plant's judgement. Defaults of
``Practice`` are common practice; nothing here is a recipe: a licensed practice decides.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from custody.calc import chemistry
from custody.calc.chemistry import Reaction, atoms, deposited_mg, molar_mass, needed_mg
from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.calc.route import Step
from custody.calc.safety import PLATINUM_SALTS, Caution
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
    "NH4Cl": "ammonium chloride",
    "C4H8N2O2": "dimethylglyoxime",
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
    """One step of a sheet: what it is called, which kinds of step it is (for the cautions), reagents and a note.

    ``cautions`` are those that no kind of step says by itself.
    """

    title: str
    kinds: tuple[Kind, ...]
    reagents: tuple[Reagent, ...] = ()
    note: str = ""
    cautions: tuple[Caution, ...] = ()

    @property
    def together(self) -> list[tuple[str, int, str]]:
        """Each reagent that stands on more than one line: its name, milligrams of the pure one, and millilitres."""
        found = []
        for what in dict.fromkeys(line.what for line in self.reagents):
            lines = [line for line in self.reagents if line.what == what]
            if len(lines) > 1:
                litres = [line.volume_ul for line in lines if line.volume_ul is not None]
                found.append((what, sum(line.mg for line in lines), format_grams(sum(litres))[:-2] if litres else "—"))
        return found


@dataclass(slots=True)
class _Liquors:
    """Milligrams that a route has brought into its side streams so far."""

    nitrate: dict[str, int] = field(default_factory=lambda: dict.fromkeys(METALS, 0))
    chloride: dict[str, int] = field(default_factory=lambda: dict.fromkeys(METALS, 0))


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
#: What falls on copper out of a nitrate liquor.
_ON_COPPER = {"Ag": chemistry.CEMENT_BY_COPPER, "Pd": chemistry.PALLADIUM_ON_COPPER}
_CELLS = {Step.GOLD_CELL: "Au", Step.SILVER_CELL: "Ag"}
_NOTES = {
    Step.CRUST: "Granulate fine, stir, draw the crust off, and dissolve what is under it.",
    Step.AQUA_REGIA: "Silver stays behind as chloride; filter it off before gold is precipitated.",
}
#: Common practice: sulfur dioxide reduces platinum, which then stays dissolved.
_PLATINUM_NOTE = (
    "From the liquor that a spot test shows free of gold: boil sulfur dioxide off and oxidise again first, or platinum"
    " stays dissolved. Platinum before palladium. What a lot holds of them without an assay is not reckoned."
)


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
    liquors = _Liquors()
    stages = []
    for step in steps:
        if step is Step.INQUART:
            left["Ag"] += silver_added_mg
        stages.append(_stage(step, left, silver_added_mg, practice))
        if step is Step.PART:
            _move(left, liquors.nitrate, ("Ag", "Pd", "Cu"))
        elif step is Step.AQUA_REGIA:
            _move(left, liquors.chloride, ("Ag", "Pt", "Pd", "Cu"))
    return (*stages, *_side_streams(liquors, practice))


def _move(left: dict[str, int], into: dict[str, int], metals: tuple[str, ...]) -> None:
    for metal in metals:
        into[metal], left[metal] = into[metal] + left[metal], 0


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
        _line(chemistry.PARTING_PALLADIUM, "HNO3", "Pd", left["Pd"], practice),
        _line(chemistry.PARTING_COPPER, "HNO3", "Cu", left["Cu"], practice),
    )


def _dissolving(left: Mapping[str, int], practice: Practice) -> tuple[Reagent, ...]:
    ways = (
        (chemistry.AQUA_REGIA, "Au"),
        (chemistry.SILVER_IN_AQUA_REGIA, "Ag"),
        (chemistry.PLATINUM_IN_AQUA_REGIA, "Pt"),
        (chemistry.PALLADIUM_IN_AQUA_REGIA, "Pd"),
        (chemistry.COPPER_IN_AQUA_REGIA, "Cu"),
    )
    return _some(*(_line(way, acid, metal, left[metal], practice) for acid in ("HNO3", "HCl") for way, metal in ways))


def _side_streams(liquors: _Liquors, practice: Practice) -> list[Stage]:
    """Platinum and palladium, silver, then copper; copper that was cemented on is in the liquor too."""
    nitrate, chloride = liquors.nitrate, liquors.chloride
    copper = nitrate["Cu"] + chloride["Cu"]
    cementing = practice.silver_way is SilverWay.COPPER
    stages = []
    if cementing:
        lines = [_line(way, "Cu", metal, nitrate[metal], practice) for metal, way in _ON_COPPER.items()]
        copper += sum(needed_mg(nitrate[metal], _factor(way, "Cu", metal)) for metal, way in _ON_COPPER.items())
        silver = (*_some(*lines), *_from_chloride(chloride["Ag"], practice))
    else:
        salt = _some(_line(chemistry.SILVER_CHLORIDE, "NaCl", "Ag", nitrate["Ag"], practice))
        silver = (*salt, *_from_chloride(chloride["Ag"] + nitrate["Ag"], practice))
    if nitrate["Ag"] or chloride["Ag"]:
        followed = "Palladium falls with the silver." if cementing and nitrate["Pd"] else ""
        stages.append(Stage("recovery of silver", (Kind.CEMENT_SILVER, Kind.WASH), silver, followed))
    platinum = _platinum_metals(liquors, practice, in_nitrate=not cementing)
    if platinum:
        stages.append(
            Stage("recovery of platinum and palladium", (Kind.FILTER,), platinum, _PLATINUM_NOTE, (PLATINUM_SALTS,))
        )
    if copper:
        iron = _some(_line(chemistry.CEMENT_BY_IRON, "Fe", "Cu", copper, practice))
        stages.append(Stage("recovery of copper", (Kind.CEMENT_COPPER, Kind.NEUTRALISE), iron))
    return stages


def _from_chloride(silver: int, practice: Practice) -> tuple[Reagent, ...]:
    salt = needed_mg(silver, molar_mass("AgCl") / molar_mass("Ag"))
    return _some(
        _line(chemistry.SILVER_OXIDE, "NaOH", "AgCl", salt, practice),
        _line(chemistry.GLUCOSE, "C6H12O6", "Ag", silver, practice),
    )


def _platinum_metals(liquors: _Liquors, practice: Practice, *, in_nitrate: bool) -> tuple[Reagent, ...]:
    """Platinum first, as its yellow salt; palladium from what is left. Cemented palladium is with the silver."""
    from_nitrate = liquors.nitrate["Pd"] if in_nitrate else 0
    return _some(
        _line(chemistry.PLATINUM_SALT, "NH4Cl", "Pt", liquors.chloride["Pt"], practice),
        _line(chemistry.PALLADIUM_SALT, "C4H8N2O2", "Pd", liquors.chloride["Pd"], practice),
        _line(chemistry.PALLADIUM_FROM_NITRATE, "C4H8N2O2", "Pd", from_nitrate, practice),
    )


def _line(reaction: Reaction, of: str, per: str, per_mg: int, practice: Practice) -> Reagent | None:
    if not per_mg:
        return None
    factor = _factor(reaction, of, per)
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


def _factor(reaction: Reaction, of: str, per: str) -> Fraction:
    """Grams of a reagent for a gram of a metal, also where the equation names the metal only in its salt."""
    if per in reaction.moles:
        return reaction.per_gram(of, per)
    salt = next(formula for formula in reaction.moles if per in atoms(formula))
    return reaction.per_gram(of, salt) * molar_mass(salt) / (molar_mass(per) * atoms(salt)[per])


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
