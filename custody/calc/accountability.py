"""What of a metal is accounted for: an agreed share, less a fixed deduction, or the lesser of both.

Agreements say it in three ways (common practice): a share of the content (98 %), a deduction of so much fineness from
the assay (content less 1 ‰ of the weight), or "98 %, at least 1 ‰ deducted", which pays the lesser of the two.
"""

from dataclasses import dataclass

from custody.calc.fineness import format_per_mille, format_percent
from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.calc.rounding import down
from custody.terms import PPM


@dataclass(frozen=True, slots=True)
class Accountability:
    """``share_ppm`` of the content, and ``deduct_ppm`` of the weight taken off; what accounts for less counts.

    Under ``least_mg`` nothing is accounted for. Rounded down to ``step_mg``.
    """

    share_ppm: int = PPM
    deduct_ppm: int = 0
    least_mg: int = 0
    step_mg: int = 1

    def __post_init__(self) -> None:
        if not 0 <= self.share_ppm <= PPM:
            raise Refused("The share that is accounted for lies between 0 and 100 %.", field="share")
        if not 0 <= self.deduct_ppm <= PPM:
            raise Refused("A deduction lies between 0 and 1000 ‰.", field="deduct")
        if self.least_mg < 0 or self.step_mg < 1:
            raise Refused("A least weight is zero or more, a step at least one milligram.", field="step")

    def due_mg(self, content_mg: int, weight_mg: int) -> int:
        """Milligrams accounted for, of a content in so much settled weight: never more than the content."""
        if content_mg < self.least_mg:
            return 0
        shared = content_mg * self.share_ppm
        deducted = content_mg * PPM - weight_mg * self.deduct_ppm
        return down(max(min(shared, deducted), 0), PPM, step=self.step_mg)

    def formula(self, content_mg: int, weight_mg: int, word: str) -> str:
        """How it was reckoned, for a pocket calculator; ``word`` says what it is: payable, or returned."""
        due = self.due_mg(content_mg, weight_mg)
        if content_mg < self.least_mg:
            return f"{format_grams(content_mg)} g is less than {format_grams(self.least_mg)} g: 0.000 g {word}"
        ways = []
        if self.share_ppm < PPM or not self.deduct_ppm:
            ways.append(f"{format_grams(content_mg)} g × {format_percent(self.share_ppm)} %")
        if self.deduct_ppm:
            off = f"{format_grams(weight_mg)} g × {format_per_mille(self.deduct_ppm)} ‰"
            ways.append(f"{format_grams(content_mg)} g − {off}")
        said = ways[0] if len(ways) == 1 else f"the lesser of {ways[0]} and {ways[1]}"
        return f"{said} = {format_grams(due)} g {word}, rounded down to {format_grams(self.step_mg)} g"
