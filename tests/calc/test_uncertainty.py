"""Uncertainty against published budgets and the ``uncertainties`` package."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from custody.calc.assay import Charge, Proof, fire_assay
from custody.calc.fineness import fine_mg
from custody.calc.refusals import Refused
from custody.calc.scales import Accuracy, Scale, permissible_error_ug
from custody.calc.uncertainty import (
    Laboratory,
    constant,
    determined,
    display,
    fine_mass,
    fire_assay_fineness,
    known,
    measured,
    within,
)
from tests.calc.published import cases


def quantity(case: dict, name: str):
    value, u = (Decimal(text) for text in case[name])
    return measured(name, value, known(u))


@pytest.mark.parametrize("case", cases("uncertainty", "calibration_standard"))
def test_a_calibration_standard(case):
    found = 1000 * quantity(case, "mass_mg") * quantity(case, "purity") / quantity(case, "volume_ml")
    assert (found.rounded(1), found.standard(1)) == (Decimal(case["printed"]), Decimal(case["printed_u"]))
    assert (found.rounded(5), found.standard(4)) == (Decimal(case["value"]), Decimal(case["u"]))
    assert [name for name, _ in found.budget(4)] == ["volume_ml", "mass_mg", "purity"]


@pytest.mark.parametrize("case", cases("uncertainty", "end_gauge"))
def test_an_end_gauge(case):
    """Standard and gauge are longer by their expansion; one temperature and one expansion are under both."""
    expansion = quantity(case, "expansion")
    warmth = quantity(case, "temperature") + quantity(case, "cyclic")
    standard = quantity(case, "standard") * (1 + expansion * (warmth + quantity(case, "temperature_difference")))
    difference = quantity(case, "difference") + quantity(case, "random") + quantity(case, "systematic")
    length = (standard + difference) / (1 + (expansion + quantity(case, "expansion_difference")) * warmth)
    assert length.rounded(0) == Decimal(case["printed_nm"])
    assert length.standard(0) == Decimal(case["printed_u_nm"])
    assert length.standard(3) == Decimal(case["u_nm"])
    budget = dict(length.budget(1))
    assert (budget["standard"], budget["temperature_difference"]) == (Decimal("25.0"), Decimal("16.7"))
    assert budget["expansion_difference"] == Decimal("2.9")


@pytest.mark.parametrize("case", cases("uncertainty", "lot_of_metal"))
def test_a_lot_of_metal(case):
    fineness = determined(
        case["ppm"],
        assay_ppm2=known(Decimal(case["assay_u_ppm"])),
        sampling_ppm2=known(Decimal(case["sampling_u_ppm"])),
    )
    fine = fine_mass(case["gross_mg"], fineness, weighing_mg2=known(Decimal(case["weighing_u_mg"])))
    assert fineness.standard(3) == Decimal(case["fineness_u_ppm"])
    assert fine.value == Decimal(case["fine_mg"]) == fine_mg(case["gross_mg"], case["ppm"])
    assert fine.standard(3) == Decimal(case["u_mg"])
    assert fine.expanded(2) == Decimal(case["expanded_mg"])
    assert [name for name, _ in fine.budget(3)] == ["sampling", "assay", "weighing of the lot"]
    assert dict(fine.budget(3))["weighing of the lot"] == Decimal(case["weighing_part_mg"])


values = st.fractions(1, 1000, max_denominator=1000)
spreads = st.fractions(Fraction(1, 1000), 10, max_denominator=1000)


@given(st.lists(st.tuples(values, spreads), min_size=3, max_size=3))
def test_reckoned_as_the_package_does(inputs):
    ours = [measured(name, value, known(u)) for name, (value, u) in zip("abc", inputs, strict=True)]
    theirs = [ufloat(float(value), float(u)) for value, u in inputs]

    def model(a, b, c):
        return (a * b - c) / (a + c) + 3 * c - b / 7 + 1 / a - 2

    found, expected = model(*ours), model(*theirs)
    scale = max(1, abs(expected.nominal_value), expected.std_dev)
    assert float(found.value) == pytest.approx(expected.nominal_value, abs=1e-9 * scale)
    assert float(found.variance) ** 0.5 == pytest.approx(expected.std_dev, rel=1e-9, abs=1e-12 * scale)


proofs_taken = st.tuples(st.integers(200_000, 240_000), st.integers(-200, 200), st.integers(999_000, 1_000_000))
pieces = st.tuples(st.integers(240_000, 260_000), st.integers(100_000, 200_000))


@given(
    st.lists(pieces, min_size=1, max_size=3),
    st.lists(proofs_taken, max_size=3),
    st.tuples(st.integers(1, 30), st.integers(1, 50), st.integers(1, 200), st.integers(1, 300)),
)
def test_a_fire_assay_as_the_package_propagates_it(drawn_pieces, drawn_proofs, spread):
    u_weighing, u_purity, u_fire, u_sampling = spread
    charges = [Charge(*piece) for piece in drawn_pieces]
    proofs = [Proof(taken, taken + gain, purity) for taken, gain, purity in drawn_proofs]
    laboratory = Laboratory(known(u_weighing), known(u_purity), known(u_fire), known(u_sampling))
    found = fire_assay_fineness(charges, proofs, laboratory)

    purity_error = ufloat(0, u_purity)
    surcharges = [
        ufloat(p.cornet_ug, u_weighing) - ufloat(p.taken_ug, u_weighing) * (p.purity_ppm + purity_error) / 1e6
        for p in proofs
    ]
    surcharge = sum(surcharges) / len(surcharges) if surcharges else 0
    results = [
        (ufloat(c.cornet_ug, u_weighing) - surcharge) * 1e6 / ufloat(c.sample_ug, u_weighing) + ufloat(0, u_fire)
        for c in charges
    ]
    expected = sum(results) / len(results) + ufloat(0, u_sampling)
    assert float(found.value) == pytest.approx(expected.nominal_value, rel=1e-12)
    assert float(found.variance) ** 0.5 == pytest.approx(expected.std_dev, rel=1e-9)


@given(st.lists(pieces, min_size=1, max_size=4), st.lists(proofs_taken, max_size=3))
def test_the_value_is_the_assays(drawn_pieces, drawn_proofs):
    charges = [Charge(*piece) for piece in drawn_pieces]
    proofs = [Proof(taken, taken + gain, purity) for taken, gain, purity in drawn_proofs]
    exact = fire_assay_fineness(charges, proofs, Laboratory(known(10))).value
    assert abs(fire_assay(charges, proofs).mean_ppm - exact) <= 1


def test_proofs_of_one_metal_err_together():
    """Two proofs halve what their weighings bring in, and nothing of what the purity does."""
    charge = [Charge(250_000, 225_000)]
    one, two = (
        dict(fire_assay_fineness(charge, [Proof(225_000, 225_020)] * n, Laboratory(known(10), known(20))).budget(3))
        for n in (1, 2)
    )
    assert one["purity of the proof metal"] == two["purity of the proof metal"] == Decimal("18.000")
    assert two["proof 1, cornet"] * 2 == one["proof 1, cornet"] == Decimal("40.000")


def test_a_scale_within_its_permissible_error():
    """Class II, e = 0.1 g, 1 kg: 0.2 g in service, so 0.2 / sqrt 3 = 0.115 g."""
    error = permissible_error_ug(Scale(Accuracy.II, 100, 10_000_000), 1_000_000)
    assert measured("scale", 1_000_000, within(Fraction(error, 1000))).standard(1) == Decimal("115.5")


def test_variances():
    assert (known(Decimal("0.5")), within(3), display(6)) == (Fraction(1, 4), 3, 3)


def test_a_value_less_itself_is_certain():
    weight = measured("weight", 5, 4)
    assert (weight - weight).variance == 0
    assert (weight + weight).variance == 16
    assert (weight + measured("another", 5, 4)).variance == 8
    assert (weight / weight).variance == 0


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: known(-1), "uncertainty"),
        (lambda: within(-1), "uncertainty"),
        (lambda: display(-1), "uncertainty"),
        (lambda: measured("a", 1, -1), "variance"),
        (lambda: measured("a", 1, 1) + measured("a", 1, 2), "name"),
        (lambda: measured("a", 1, 1) / measured("b", 0, 1), "value"),
        (lambda: fine_mass(-1, constant(1), weighing_mg2=1), "gross"),
        (lambda: fine_mass(1, constant(1_000_001), weighing_mg2=1), "fineness"),
        (lambda: fire_assay_fineness([], [], Laboratory(known(1))), "sample"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field
