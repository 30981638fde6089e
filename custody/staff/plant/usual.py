"""What a step usually loses and yields, for the table beside what is typed (templates/staff/plant/usual.html)."""

from dataclasses import dataclass

from custody.calc.fineness import format_percent
from custody.calc.mass import format_grams
from custody.calc.rules import Rule
from custody.terms import PRECIOUS


@dataclass(frozen=True, slots=True)
class Usual:
    """A rule's row in words and figures, for the page and its script (static/custody/usual.js)."""

    rule: Rule
    band: str
    tolerance: str
    grace: str
    least: str
    metals: tuple[str, ...]

    @property
    def forms(self) -> str:
        """The product's forms, for the script."""
        return "|".join(self.rule.product_forms)

    @property
    def product(self) -> str:
        """The product's forms in words."""
        return " or ".join(form.label for form in self.rule.product_forms)


def usual_of(rule: Rule) -> Usual:
    """What is usual in a step; copper is balanced only, so the tolerances do not watch it."""
    return Usual(
        rule=rule,
        band=format_percent(rule.band_ppm),
        tolerance=format_percent(rule.tolerance_ppm),
        grace=format_grams(rule.grace_mg),
        least=format_percent(rule.least_yield_ppm) if rule.least_yield_ppm else "",
        metals=tuple(metal for metal in PRECIOUS if metal in rule.lost),
    )
