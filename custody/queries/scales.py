"""Scales and reference weights as the standards know them, and where each scale stands today."""

from custody.calc import scales as calc
from custody.calc.weights import Weight, WeightClass
from custody.models import ReferenceWeight, Scale


def plate_of(scale: Scale) -> calc.Scale:
    """The scale as OIML R 76 knows it."""
    return calc.Scale(calc.Accuracy(scale.accuracy), scale.e_mg, scale.max_mg, scale.d_ug)


def weight_of(weight: ReferenceWeight) -> Weight:
    """The reference weight as OIML R 111 knows it."""
    return Weight(weight.nominal_mg, WeightClass(weight.weight_class), weight.deviation_ug, weight.uncertainty_ug)
