"""What a melt lost: of what was weighed before it, how much the metal that came out weighs less.

Slag and flux take no part: the customer reads off it how much of a delivery was no metal (common practice).
"""

from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.calc.rounding import half_even
from custody.terms import PPM


def melt_loss_ppm(before_mg: int, after_mg: int) -> int:
    """Loss in parts per million of the mass before, milligrams; negative where more came out than went in.

    Rounded half to even. Raises Refused unless something was weighed before.
    """
    if before_mg <= 0:
        raise Refused(f"A melt of {format_grams(before_mg)} g has no loss to reckon.", field="gross")
    return half_even((before_mg - after_mg) * PPM, before_mg)
