"""Reagents by reaction equations: how much of one substance goes with so much of another, exact.

Atomic weights are the conventional ones of the CIAAW (Cl 35.45, S 32.06). An equation is written as chemists write it
and checked when it is made: what does not balance is refused. The plant uses more than an equation asks: the excess is
the plant's own factor, never hidden in a weight.
"""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from custody.calc.refusals import Refused

#: Conventional atomic weights (CIAAW) in units of a hundred-millionth of a gram per mole.
ATOMIC_WEIGHTS = {
    "H": 1_008_00000,
    "C": 12_011_00000,
    "N": 14_007_00000,
    "O": 15_999_00000,
    "Na": 22_989_76928,
    "Al": 26_981_53840,
    "S": 32_060_00000,
    "Cl": 35_450_00000,
    "Fe": 55_845_00000,
    "Cu": 63_546_00000,
    "Zn": 65_380_00000,
    "Pd": 106_420_00000,
    "Ag": 107_868_20000,
    "Pt": 195_084_00000,
    "Au": 196_966_57000,
}
SCALE = 100_000_000
_PART = re.compile(r"([A-Z][a-z]?|\([^()]*\))(\d*)")
_TERM = re.compile(r"(\d*) ?([A-Z(][A-Za-z0-9()]*)")

#: The Faraday constant in coulombs per mole (CODATA 2018).
FARADAY = Fraction(9_648_533_212, 100_000)
SECONDS_AN_HOUR = 3600
#: Electrons that one ion takes up where it is deposited.
CHARGES = {"Ag": 1, "Au": 3, "Cu": 2}


def atoms(formula: str) -> Counter:
    """The atoms of a formula such as ``Fe2(SO4)3``. Raises ``Refused`` for an element without a weight here."""
    found: Counter = Counter()
    read = 0
    for match in _PART.finditer(formula):
        if match.start() != read:
            break
        read = match.end()
        part, times = match[1], int(match[2] or 1)
        inner = atoms(part[1:-1]) if part[0] == "(" else Counter({part: 1})
        for element, count in inner.items():
            found[element] += count * times
    if read != len(formula) or not formula or not found.keys() <= ATOMIC_WEIGHTS.keys():
        raise Refused(f"“{formula[:40]}” is no formula that is known here.", field="formula")
    return found


def molar_mass(formula: str) -> Fraction:
    """Grams per mole, exact for the conventional atomic weights."""
    return Fraction(sum(ATOMIC_WEIGHTS[element] * count for element, count in atoms(formula).items()), SCALE)


@dataclass(frozen=True, slots=True)
class Reaction:
    """A balanced equation, such as ``2 AgNO3 + Cu = 2 Ag + Cu(NO3)2``. Raises ``Refused`` for one that is not."""

    name: str
    equation: str

    def __post_init__(self) -> None:
        left, _, right = self.equation.partition(" = ")
        if _all_atoms(_terms(left)) != _all_atoms(_terms(right)):
            raise Refused(f"“{self.equation}” does not balance.", field="equation")

    @property
    def moles(self) -> dict[str, int]:
        """Every substance of the equation with its number of moles."""
        left, _, right = self.equation.partition(" = ")
        return dict(_terms(left) + _terms(right))

    def per_gram(self, of: str, per: str) -> Fraction:
        """Grams of one substance that go with a gram of another. Raises ``Refused`` for one that is not in it."""
        moles = self.moles
        for formula in (of, per):
            if formula not in moles:
                raise Refused(f"{formula} has no part in {self.name}.", field="formula")
        return moles[of] * molar_mass(of) / (moles[per] * molar_mass(per))


def needed_mg(mg: int, factor: Fraction, *, excess_ppm: int = 0) -> int:
    """Milligrams of reagent for so many milligrams, by a reaction's factor and the plant's excess, rounded up.

    Raises ``Refused`` for a negative mass or excess.
    """
    if mg < 0 or excess_ppm < 0:
        raise Refused("A mass and an excess are zero or more.", field="mass")
    exact = mg * factor * (1_000_000 + excess_ppm) / 1_000_000
    return -(-exact.numerator // exact.denominator)


def deposited_mg(metal: str, milliampere_hours: int | Fraction, *, efficiency_ppm: int = 1_000_000) -> Fraction:
    """Milligrams that a current deposits in its time, by Faraday's law, exact: M * Q / (z * F).

    Gold from chloride is trivalent, silver from nitrate univalent, copper divalent. Raises ``Refused`` for another
    metal, a negative charge, and an efficiency outside 0 to 100 per cent.
    """
    if metal not in CHARGES:
        raise Refused(f"{metal} is not won by electrolysis here.", field="metal")
    if milliampere_hours < 0 or not 0 <= efficiency_ppm <= 1_000_000:
        raise Refused("A current and its time are zero or more, an efficiency at most 100 per cent.", field="current")
    coulombs = Fraction(milliampere_hours * SECONDS_AN_HOUR, 1000)
    grams = molar_mass(metal) * coulombs / (CHARGES[metal] * FARADAY)
    return grams * 1000 * efficiency_ppm / 1_000_000


def _terms(side: str) -> list[tuple[str, int]]:
    terms = []
    for written in side.split(" + "):
        match = _TERM.fullmatch(written)
        if match is None:
            raise Refused(f"“{written[:40]}” is no term of an equation.", field="equation")
        terms.append((match[2], int(match[1] or 1)))
    return terms


def _all_atoms(terms: Iterable[tuple[str, int]]) -> Counter:
    total: Counter = Counter()
    for formula, moles in terms:
        for element, count in atoms(formula).items():
            total[element] += count * moles
    return total


SILVER_CHLORIDE = Reaction("silver to chloride", "AgNO3 + NaCl = AgCl + NaNO3")
PARTING_SILVER = Reaction("silver in dilute nitric acid", "3 Ag + 4 HNO3 = 3 AgNO3 + NO + 2 H2O")
PARTING_COPPER = Reaction("copper in dilute nitric acid", "3 Cu + 8 HNO3 = 3 Cu(NO3)2 + 2 NO + 4 H2O")
AQUA_REGIA = Reaction("gold in aqua regia", "Au + HNO3 + 4 HCl = HAuCl4 + NO + 2 H2O")
SILVER_IN_AQUA_REGIA = Reaction("silver in aqua regia", "3 Ag + HNO3 + 3 HCl = 3 AgCl + NO + 2 H2O")
COPPER_IN_AQUA_REGIA = Reaction("copper in aqua regia", "3 Cu + 2 HNO3 + 6 HCl = 3 CuCl2 + 2 NO + 4 H2O")
PLATINUM_IN_AQUA_REGIA = Reaction("platinum in aqua regia", "3 Pt + 4 HNO3 + 18 HCl = 3 H2PtCl6 + 4 NO + 8 H2O")
PALLADIUM_IN_AQUA_REGIA = Reaction("palladium in aqua regia", "3 Pd + 2 HNO3 + 12 HCl = 3 H2PdCl4 + 2 NO + 4 H2O")
PARTING_PALLADIUM = Reaction("palladium in nitric acid", "3 Pd + 8 HNO3 = 3 Pd(NO3)2 + 2 NO + 4 H2O")
PLATINUM_SALT = Reaction("platinum by ammonium chloride", "H2PtCl6 + 2 NH4Cl = (NH4)2PtCl6 + 2 HCl")
PALLADIUM_SALT = Reaction("palladium by dimethylglyoxime", "H2PdCl4 + 2 C4H8N2O2 = Pd(C4H7N2O2)2 + 4 HCl")
PALLADIUM_FROM_NITRATE = Reaction("palladium by dimethylglyoxime", "Pd(NO3)2 + 2 C4H8N2O2 = Pd(C4H7N2O2)2 + 2 HNO3")
PALLADIUM_ON_COPPER = Reaction("palladium on copper", "Pd(NO3)2 + Cu = Pd + Cu(NO3)2")
METABISULFITE = Reaction("gold by metabisulfite", "4 HAuCl4 + 3 Na2S2O5 + 9 H2O = 4 Au + 3 Na2SO4 + 3 H2SO4 + 16 HCl")
SULFUR_DIOXIDE = Reaction("gold by sulfur dioxide", "2 HAuCl4 + 3 SO2 + 6 H2O = 2 Au + 3 H2SO4 + 8 HCl")
SILVER_OXIDE = Reaction("silver chloride to oxide by caustic", "2 AgCl + 2 NaOH = Ag2O + 2 NaCl + H2O")
GLUCOSE = Reaction("silver oxide by glucose", "Ag2O + C6H12O6 = 2 Ag + C6H12O7")
CEMENT_BY_COPPER = Reaction("silver on copper", "2 AgNO3 + Cu = 2 Ag + Cu(NO3)2")
CEMENT_BY_IRON = Reaction("copper on iron", "CuCl2 + Fe = Cu + FeCl2")
