"""Solutions by volume: millilitres, milligrams per millilitre (1050 is 1.05 g/mL), micrograms per litre.

mass = volume × density; metal = volume × concentration; each rounded half to even to the milligram, once.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from custody.calc.refusals import Refused
from custody.calc.rounding import half_even

#: What stands for a liquor whose density nobody measured: water, 1.000 g/mL.
WATER = 1_000

_ML_PER_LITRE = 1_000
_UG_L_PER_MG_ML = 1_000_000


@dataclass(frozen=True, slots=True)
class Found:
    """What a litre holds of one substance, micrograms; ``below`` where only the limit of detection is known."""

    ug_l: int
    below: bool = False

    @property
    def words(self) -> str:
        """Milligrams a litre as a laboratory writes them: ``1.900``, ``<0.050``."""
        return f"{'<' if self.below else ''}{milligrams_a_litre(self.ug_l)}"


@dataclass(frozen=True, slots=True)
class Limit:
    """What a litre may hold at most (and pH at least): micrograms a litre, for ``pH`` hundredths."""

    substance: str
    least: int | None
    most: int

    def allows(self, found: int | None) -> bool:
        """Whether a figure was measured and lies within the limit, both ends included."""
        return found is not None and found <= self.most and (self.least is None or found >= self.least)


def mass_mg(volume_ml: int, density_mg_ml: int) -> int:
    """Milligrams of so much liquor. Raises ``Refused`` for a volume or a density that is not above zero."""
    _above_zero(volume_ml, density_mg_ml)
    return volume_ml * density_mg_ml


def volume_ml(gross_mg: int, density_mg_ml: int) -> int:
    """Millilitres of liquor of so much mass, half to even. Raises ``Refused`` for a density that is not above zero."""
    _above_zero(1, density_mg_ml)
    return half_even(gross_mg, density_mg_ml)


def water_ml(columns_mg: Sequence[int]) -> int:
    """Millilitres of what nobody measured, as water without its metals: ``columns_mg`` are gross and metals, mg."""
    return half_even(columns_mg[0] - sum(columns_mg[1:]), WATER)


def metal_mg(volume_ml: int, ug_l: int) -> int:
    """Milligrams of a metal in so much liquor, half to even."""
    return half_even(volume_ml * ug_l, _UG_L_PER_MG_ML)


def concentration_ug_l(mg: int, volume_ml: int) -> int | None:
    """Micrograms a litre of so much metal in so much liquor, half to even; ``None`` for no volume."""
    return half_even(mg * _UG_L_PER_MG_ML, volume_ml) if volume_ml > 0 else None


def litres(volume_ml: int) -> str:
    """Litres with three decimals."""
    return f"{volume_ml // _ML_PER_LITRE}.{volume_ml % _ML_PER_LITRE:03d}"


def milligrams_a_litre(ug_l: int) -> str:
    """Milligrams a litre with three decimals."""
    return litres(ug_l)


def hundredths(centi: int) -> str:
    """A pH with two decimals, kept in hundredths."""
    sign = "\N{MINUS SIGN}" if centi < 0 else ""
    return f"{sign}{abs(centi) // 100}.{abs(centi) % 100:02d}"


def _above_zero(volume_ml: int, density_mg_ml: int) -> None:
    if volume_ml <= 0 or density_mg_ml <= 0:
        raise Refused("A solution has a volume and a density above zero.", field="volume")
