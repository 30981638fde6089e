"""Reference weights: by how much each may differ from its nominal value, in micrograms.

Maximum permissible errors of OIML R 111-1:2004, Table 1, from 1 mg to 20 kg. Up to 5 kg they were checked against a
published tabulation (which prints 0.02 mg for 5 mg in M1, a misprint for 0.20); 10 kg and 20 kg are from memory.
Classes M1-2 and M2-3 hold for weights of 50 kg and more only, which no scale of the house is checked with.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from custody.calc.mass import format_grams
from custody.calc.refusals import Refused


class WeightClass(StrEnum):
    """Accuracy classes of OIML R 111, the finest first."""

    E1 = "E1"
    E2 = "E2"
    F1 = "F1"
    F2 = "F2"
    M1 = "M1"
    M2 = "M2"
    M3 = "M3"


_GRAM = 1000
_KILOGRAM = 1000 * _GRAM

#: Nominal milligrams: micrograms for E1, E2, F1, F2, M1, M2, M3. A short row: the coarser classes do not exist.
_PERMISSIBLE = {
    1: (3, 6, 20, 60, 200),
    2: (3, 6, 20, 60, 200),
    5: (3, 6, 20, 60, 200),
    10: (3, 8, 25, 80, 250),
    20: (3, 10, 30, 100, 300),
    50: (4, 12, 40, 120, 400),
    100: (5, 16, 50, 160, 500, 1_600),
    200: (6, 20, 60, 200, 600, 2_000),
    500: (8, 25, 80, 250, 800, 2_500),
    1 * _GRAM: (10, 30, 100, 300, 1_000, 3_000, 10_000),
    2 * _GRAM: (12, 40, 120, 400, 1_200, 4_000, 12_000),
    5 * _GRAM: (16, 50, 160, 500, 1_600, 5_000, 16_000),
    10 * _GRAM: (20, 60, 200, 600, 2_000, 6_000, 20_000),
    20 * _GRAM: (25, 80, 250, 800, 2_500, 8_000, 25_000),
    50 * _GRAM: (30, 100, 300, 1_000, 3_000, 10_000, 30_000),
    100 * _GRAM: (50, 160, 500, 1_600, 5_000, 16_000, 50_000),
    200 * _GRAM: (100, 300, 1_000, 3_000, 10_000, 30_000, 100_000),
    500 * _GRAM: (250, 800, 2_500, 8_000, 25_000, 80_000, 250_000),
    1 * _KILOGRAM: (500, 1_600, 5_000, 16_000, 50_000, 160_000, 500_000),
    2 * _KILOGRAM: (1_000, 3_000, 10_000, 30_000, 100_000, 300_000, 1_000_000),
    5 * _KILOGRAM: (2_500, 8_000, 25_000, 80_000, 250_000, 800_000, 2_500_000),
    10 * _KILOGRAM: (5_000, 16_000, 50_000, 160_000, 500_000, 1_600_000, 5_000_000),
    20 * _KILOGRAM: (10_000, 30_000, 100_000, 300_000, 1_000_000, 3_000_000, 10_000_000),
}

#: Nominal values of weights, in milligrams, the smallest first.
NOMINAL_MG = tuple(_PERMISSIBLE)


def weight_mpe_ug(nominal_mg: int, weight_class: WeightClass) -> int:
    """How many micrograms a weight of the class may be off its nominal value, either way (OIML R 111).

    Raises Refused for a nominal value of no weight, and for a class in which none is made.
    """
    if nominal_mg not in _PERMISSIBLE:
        raise Refused(
            f"There is no reference weight of {format_grams(nominal_mg)} g. Weights are 1, 2 or 5 times a power of"
            " ten, from 1 mg to 20 kg.",
            field="nominal",
        )
    row, at = _PERMISSIBLE[nominal_mg], list(WeightClass).index(weight_class)
    if at >= len(row):
        raise Refused(f"No weight of {format_grams(nominal_mg)} g is made in class {weight_class}.", field="class")
    return row[at]


@dataclass(frozen=True, slots=True)
class Weight:
    """One reference weight.

    Without a certificate it is taken at its nominal value, and may be off by its class. With one it is taken at
    nominal + ``deviation_ug``, and may be off by the certificate's expanded ``uncertainty_ug``.
    """

    nominal_mg: int
    weight_class: WeightClass
    deviation_ug: int = 0
    uncertainty_ug: int | None = None

    def __post_init__(self) -> None:
        mpe = weight_mpe_ug(self.nominal_mg, self.weight_class)
        if self.uncertainty_ug is None and self.deviation_ug:
            raise Refused("A deviation from nominal comes with the uncertainty of its certificate.", field="deviation")
        if self.uncertainty_ug is not None and self.uncertainty_ug <= 0:
            raise Refused("The uncertainty of a certificate is more than zero.", field="uncertainty")
        if abs(self.deviation_ug) > mpe:
            raise Refused(
                f"The weight is off by more than class {self.weight_class} permits. Enter the class that it still"
                " keeps.",
                field="deviation",
            )

    @property
    def value_ug(self) -> int:
        """The mass that it stands for, in micrograms."""
        return self.nominal_mg * 1000 + self.deviation_ug

    @property
    def error_ug(self) -> int:
        """By how much that value may be wrong, in micrograms."""
        if self.uncertainty_ug is not None:
            return self.uncertainty_ug
        return weight_mpe_ug(self.nominal_mg, self.weight_class)


def weights_for(nominal_mg: int, weight_class: WeightClass) -> tuple[Weight, ...]:
    """The fewest weights of a class that make up a load, in milligrams, the largest first.

    Raises Refused for a load of zero or less, and as ``weight_mpe_ug`` does.
    """
    if nominal_mg <= 0:
        raise Refused("A reference load weighs more than zero.", field="nominal")
    weights: list[Weight] = []
    for nominal in reversed(NOMINAL_MG):
        count, nominal_mg = divmod(nominal_mg, nominal)
        weights += [Weight(nominal, weight_class) for _ in range(count)]
    return tuple(weights)


def load_error_ug(weights: Sequence[Weight]) -> int:
    """By how much a load of several weights may be wrong, in micrograms: their errors added, the safe side."""
    return sum(weight.error_ug for weight in weights)
