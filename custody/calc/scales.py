"""What a scale may be off by, and what follows from it: the daily check, and whether two weighings agree.

Non-automatic weighing instruments, OIML R 76-1:2006 (Tables 3 and 6) = Directive 2014/31/EU, Annex I. ``e`` is the
verification scale interval, ``d`` the step of the display, ``Max`` the capacity. Errors on first verification are half,
one or one and a half e by the load; in service they are twice that. They hold for the net weight at any tare. The
rounding of the display is left inside the error, the strict side: nobody at the counter adds fractions of d.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.calc.weights import Weight, WeightClass, load_error_ug, weight_mpe_ug, weights_for

UG = 1000


class Accuracy(StrEnum):
    """Accuracy classes of OIML R 76: special, high, medium, ordinary."""

    I = "I"  # noqa: E741 (the class has no other name)
    II = "II"
    III = "III"
    IIII = "IIII"


@dataclass(frozen=True, slots=True)
class _Row:
    """From which e on a row of Table 3 holds (milligrams), its limits of n = Max / e, and its Min in d."""

    from_e_mg: int
    to_e_mg: int | None
    least_n: int
    most_n: int | None
    min_d: int


_ROWS = {
    Accuracy.I: (_Row(1, None, 50_000, None, 100),),
    Accuracy.II: (_Row(1, 50, 100, 100_000, 20), _Row(100, None, 5_000, 100_000, 50)),
    Accuracy.III: (_Row(100, 2_000, 100, 10_000, 20), _Row(5_000, None, 500, 10_000, 20)),
    Accuracy.IIII: (_Row(5_000, None, 100, 1_000, 10),),
}

#: Up to how many e a load may weigh for an error of half an e, and of one e; beyond, it is one and a half (Table 6).
_BANDS = {
    Accuracy.I: (50_000, 200_000),
    Accuracy.II: (5_000, 20_000),
    Accuracy.III: (500, 2_000),
    Accuracy.IIII: (50, 200),
}

#: In service an instrument may be off by twice what first verification permits.
IN_SERVICE = 2

#: Reference weights may be off by a third of what the scale may (R 76-1, 3.7.1, from memory).
REFERENCE_SHARE = 3

#: Class I with a display finer than 0.1 mg has e = 1 mg whatever d, and may have fewer than 50 000 e.
_FINE_D_UG = 100


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale by its plate: accuracy class, e and Max in milligrams, d in micrograms (None: d = e).

    Raises Refused for a plate that R 76 does not know.
    """

    accuracy: Accuracy
    e_mg: int
    max_mg: int
    d_ug: int | None = None

    def __post_init__(self) -> None:
        if not _is_interval(self.e_mg):
            raise Refused("An interval e is 1, 2 or 5 times a power of ten, from 1 mg.", field="e")
        row = self._row
        if row is None:
            raise Refused(f"No scale of class {self.accuracy} has e = {format_grams(self.e_mg)} g.", field="e")
        self._check_step()
        fine = self.accuracy is Accuracy.I and self.step_ug < _FINE_D_UG
        if self.max_mg < (1 if fine else row.least_n) * self.e_mg:
            raise Refused(
                f"A scale of class {self.accuracy} with e = {format_grams(self.e_mg)} g has a capacity of at least"
                f" {format_grams(row.least_n * self.e_mg)} g.",
                field="capacity",
            )
        if row.most_n is not None and self.max_mg > row.most_n * self.e_mg:
            raise Refused(
                f"A scale of class {self.accuracy} with e = {format_grams(self.e_mg)} g has a capacity of at most"
                f" {format_grams(row.most_n * self.e_mg)} g.",
                field="capacity",
            )

    @property
    def step_ug(self) -> int:
        """The step of the display, d, in micrograms."""
        return self.e_mg * UG if self.d_ug is None else self.d_ug

    @property
    def minimum_ug(self) -> int:
        """Min, the least load that it may weigh, in micrograms: Table 3, counted in d."""
        return self._row.min_d * self.step_ug

    @property
    def _row(self) -> _Row | None:
        for row in _ROWS[self.accuracy]:
            if row.from_e_mg <= self.e_mg and (row.to_e_mg is None or self.e_mg <= row.to_e_mg):
                return row
        return None

    def _check_step(self) -> None:
        """d = e; or, in classes I and II, d < e <= 10 d with e a power of ten (class I below 0.1 mg: e = 1 mg)."""
        e_ug, d_ug = self.e_mg * UG, self.step_ug
        if d_ug == e_ug:
            return
        if self.accuracy not in (Accuracy.I, Accuracy.II):
            raise Refused(f"In class {self.accuracy} the display steps by e.", field="d")
        fine = self.accuracy is Accuracy.I and d_ug < _FINE_D_UG
        if not _is_interval(d_ug) or not d_ug < e_ug or not (self.e_mg == 1 if fine else e_ug <= 10 * d_ug):
            raise Refused("The display steps by e, or by a tenth to a half of it.", field="d")
        if str(self.e_mg).strip("0") != "1":
            raise Refused("Where the display steps by less than e, e is a power of ten.", field="e")


@dataclass(frozen=True, slots=True)
class Check:
    """A check against reference weights, micrograms: reading less reference, the limit, the reference's own error."""

    error_ug: int
    limit_ug: int
    reference_ug: int

    @property
    def passed(self) -> bool:
        """Whether the scale reads within what it may be off by in service."""
        return abs(self.error_ug) <= self.limit_ug


@dataclass(frozen=True, slots=True)
class Reweighing:
    """Two weighings of one lot: how far they lie apart (milligrams, second less first), and how far they may."""

    difference_mg: int
    allowed_ug: int

    @property
    def explained(self) -> bool:
        """Whether the errors of both scales explain the difference."""
        return abs(self.difference_mg) * UG <= self.allowed_ug


def permissible_error_ug(scale: Scale, load_mg: int, *, in_service: bool = True) -> int:
    """How many micrograms the scale may be off at a load in milligrams, either way (R 76-1, Table 6).

    In service, twice the error of first verification. Raises Refused for a negative load and above Max.
    """
    if not 0 <= load_mg <= scale.max_mg:
        raise Refused(
            f"The scale weighs from 0 to {format_grams(scale.max_mg)} g, not {format_grams(load_mg)} g."
            " Use another scale.",
            field="scale",
        )
    halves = 1 + sum(load_mg > limit * scale.e_mg for limit in _BANDS[scale.accuracy])
    return halves * scale.e_mg * UG // 2 * (IN_SERVICE if in_service else 1)


def check_load(scale: Scale, load_mg: int) -> None:
    """Raises Refused when a load, in milligrams, lies above the scale's Max or below its Min."""
    permissible_error_ug(scale, load_mg)
    if load_mg * UG < scale.minimum_ug:
        raise Refused(
            f"The scale weighs from {format_grams(-(-scale.minimum_ug // UG))} g on; {format_grams(load_mg)} g is too"
            " little for it. Use a finer scale.",
            field="scale",
        )


def daily_check(scale: Scale, weights: Sequence[Weight], reading_ug: int) -> Check:
    """The reading of a load of reference weights, in micrograms, against what the scale may be off by in service.

    The weights' own errors, added up, may be a third of that limit at most; so small, they are left out of the
    comparison, as verification does (R 76-1, 3.7.1, from memory). Raises Refused without weights, for a load that the
    scale does not weigh, and for weights too coarse for it.
    """
    load_mg = sum(weight.nominal_mg for weight in weights)
    if not weights:
        raise Refused("A check needs a reference weight.", field="reference")
    check_load(scale, load_mg)
    limit, reference = permissible_error_ug(scale, load_mg), load_error_ug(weights)
    if reference * REFERENCE_SHARE > limit:
        raise Refused(
            f"The reference may itself be off by {reference} µg, more than a third of the {limit} µg permitted to the"
            " scale. Take weights of a finer class, or with a certificate.",
            field="reference",
        )
    return Check(reading_ug - sum(weight.value_ug for weight in weights), limit, reference)


def coarsest_class(scale: Scale, load_mg: int) -> WeightClass:
    """The coarsest class of weights, without certificates, that may check the scale at a load in milligrams.

    Raises Refused for a load that the scale does not weigh, and when not even class E1 will do.
    """
    check_load(scale, load_mg)
    limit = permissible_error_ug(scale, load_mg)
    for weight_class in reversed(WeightClass):
        errors = [_error_or_none(weight, weight_class) for weight in weights_for(load_mg, WeightClass.E1)]
        if None not in errors and sum(errors) * REFERENCE_SHARE <= limit:
            return weight_class
    raise Refused("No weights are fine enough without a certificate. Take a smaller load.", field="reference")


def compare_weighings(weighed_mg: int, book_mg: int, scale_a: Scale, scale_b: Scale) -> Reweighing:
    """A lot weighed again: now ``weighed_mg`` on ``scale_a``, before ``book_mg`` on ``scale_b``, both net milligrams.

    The difference may be as large as both scales' permissible errors in service together: one may be off upwards and
    the other downwards. Raises Refused for a load that its scale does not weigh.
    """
    allowed = permissible_error_ug(scale_a, weighed_mg) + permissible_error_ug(scale_b, book_mg)
    return Reweighing(weighed_mg - book_mg, allowed)


def difference_explained(weighed_mg: int, book_mg: int, scale_a: Scale, scale_b: Scale) -> bool:
    """Whether two weighings of one lot agree within both scales' errors: see ``compare_weighings``."""
    return compare_weighings(weighed_mg, book_mg, scale_a, scale_b).explained


def _is_interval(value: int) -> bool:
    return value >= 1 and str(value).rstrip("0") in ("1", "2", "5")


def _error_or_none(weight: Weight, weight_class: WeightClass) -> int | None:
    try:
        return weight_mpe_ug(weight.nominal_mg, weight_class)
    except Refused:
        return None
