"""A weight is understood or refused, never guessed."""

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc import mass
from custody.calc.refusals import Refused, Unreadable
from tests.calc.published import cases

milligrams = st.integers(0, mass.HEAVIEST_MG)
any_milligrams = st.integers(-mass.HEAVIEST_MG, mass.HEAVIEST_MG)


@pytest.mark.parametrize(
    ("text", "mg"),
    [
        ("1234.567", 1_234_567),
        ("  0.001 ", 1),
        ("12\r\n", 12_000),
        ("007.5", 7_500),
        ("100000000", mass.HEAVIEST_MG),
        ("99999999.999", mass.HEAVIEST_MG - 1),
    ],
)
def test_grams(text, mg):
    assert mass.parse_grams(text) == mg


@pytest.mark.parametrize(
    ("text", "mg"),
    [
        ("1234.567", 1_234_567),
        ("12.5 g", 12_500),
        ("12.5g", 12_500),
        ("1.234567 kg", 1_234_567),
        ("250mg", 250),
        ("1 ozt", 31_103),
        ("100 ozt", 3_110_348),
        ("0.00002 ozt", 1),
        ("1\u202f234.567", 1_234_567),
        ("12\u202f345\u202f678.9 g", 12_345_678_900),
    ],
)
def test_units_on_screens(text, mg):
    assert mass.parse_grams(text, allow_units=True) == mg


REFUSED = [
    ("", "missing"),
    ("   ", "missing"),
    ("1234,567", "comma"),
    ("1,234.567", "comma"),
    ("-5", "negative"),
    ("-", "negative"),
    ("+5", "sign"),
    ("0", "zero"),
    ("0.000", "zero"),
    ("nan", "not a number"),
    ("NaN", "not a number"),
    ("-inf", "not a number"),
    ("Infinity", "not a number"),
    ("1e400", "exponent"),
    ("1E3", "exponent"),
    ("1.5e-3", "exponent"),
    ("1.2345", "more than 3 decimals"),
    ("1.5000", "more than 3 decimals"),
    ("1.", "plain number"),
    (".5", "plain number"),
    (".", "plain number"),
    ("1.2.3", "plain number"),
    ("1 234", "plain number"),
    ("0x10", "plain number"),
    ("1_000", "plain number"),
    ("1\x000", "plain number"),
    ("12 lb", "unit"),
    ("١٢", "plain digits"),
    ("\uff11\uff12", "plain digits"),
    ("1²", "plain digits"),
    ("\u22125", "plain digits"),
    ("100000000.001", "100 t"),
    ("9" * 40, "100 t"),
    ("9" * 41, "41 characters"),
    ("9" * 1_000_000, "1000000 characters"),
    (None, "must be text"),
    (12.5, "must be text"),
    (b"12", "must be text"),
]


@pytest.mark.parametrize(
    ("text", "why"), [*REFUSED, ("12.5 g", "unit"), ("12kg", "unit"), ("1\u202f234", "plain digits")]
)
def test_refused(text, why):
    with pytest.raises(Refused, match=why) as refusal:
        mass.parse_grams(text, what="gross weight")
    assert refusal.value.field == "gross weight"
    assert refusal.value.sentence.startswith("The gross weight")
    assert len(refusal.value.sentence) < 250


@pytest.mark.parametrize(
    ("text", "why"),
    [
        *REFUSED,
        ("12 Mg", "unit"),
        ("12 KG", "unit"),
        ("12 oz", "unit"),
        ("0.5 mg", "has decimals"),
        ("1.2345678 kg", "more than 6 decimals"),
        ("1.234567 ozt", "more than 5 decimals"),
        ("0.00001 ozt", "zero"),
        ("100001 kg", "100 t"),
        ("1\u202f23.5", "plain digits"),
        ("1234\u202f567", "plain digits"),
        ("1\u202f234\u202f567 g g", "plain"),
    ],
)
def test_refused_with_units_allowed(text, why):
    with pytest.raises(Refused, match=why):
        mass.parse_grams(text, allow_units=True)


def test_a_comma_says_what_would_be_right():
    with pytest.raises(Unreadable, match=r"point.*Write it like 1234\.567"):
        mass.parse_grams("1234,567")


def test_zero_where_it_may_be():
    assert mass.parse_grams("0.000", allow_zero=True) == 0


def test_a_million_digits_cost_nothing():
    before = time.process_time()
    for text in ("9" * 1_000_000, " " * 1_000_000, "1\u202f000" * 100_000, "0." + "1" * 1_000_000):
        with pytest.raises(Unreadable):
            mass.parse_grams(text, allow_units=True)
    assert time.process_time() - before < 0.5


@pytest.mark.parametrize(
    ("text", "mg"), [("8.500", 8_500), ("8.5", 8_500), ("0.000", 0), ("0", 0), ("1234", 1_234_000)]
)
def test_strict_grams(text, mg):
    assert mass.parse_strict_grams(text) == mg


@pytest.mark.parametrize(("text", "mg"), [("-0.012", -12), ("-8", -8_000), ("0.000", 0), ("8.5", 8_500)])
def test_strict_losses_may_be_negative(text, mg):
    assert mass.parse_strict_grams(text, allow_negative=True) == mg


@pytest.mark.parametrize(
    ("text", "why"),
    [
        *((text, why) for text, why in REFUSED if why != "zero" and " " not in str(text)),
        (" 1", "spaces"),
        ("1 ", "spaces"),
        ("1\n", "spaces"),
        ("1 g", "spaces"),
        ("1 234", "spaces"),
        ("1kg", "plain number"),
    ],
)
def test_strict_grams_refused(text, why):
    with pytest.raises(Refused, match=why):
        mass.parse_strict_grams(text)


@pytest.mark.parametrize("text", ["-0", "-0.000", "--1", "-", "- 1", "-1e3", "-nan", "-1,5", "-100000000.001"])
def test_strict_losses_refused(text):
    with pytest.raises(Refused):
        mass.parse_strict_grams(text, allow_negative=True)


def test_strict_zero_where_it_may_not_be():
    with pytest.raises(Refused, match="zero"):
        mass.parse_strict_grams("0.000", allow_zero=False)


@pytest.mark.parametrize(
    ("mg", "grams", "plain", "kilograms"),
    [
        (0, "0.000", "0.000", "0.000"),
        (1, "0.001", "0.001", "0.000"),
        (1_234_567, "1\u202f234.567", "1234.567", "1.235"),
        (-1_234_567, "\u22121\u202f234.567", "-1234.567", "\u22121.235"),
        (-5, "\u22120.005", "-0.005", "0.000"),
        (500, "0.500", "0.500", "0.000"),
        (1_500, "1.500", "1.500", "0.002"),
        (12_345_678_901, "12\u202f345\u202f678.901", "12345678.901", "12\u202f345.679"),
    ],
)
def test_written(mg, grams, plain, kilograms):
    assert mass.format_grams(mg) == grams
    assert mass.plain_grams(mg) == plain
    assert mass.format_kilograms(mg) == kilograms


@given(milligrams.filter(bool))
def test_what_a_screen_shows_can_be_typed_back(mg):
    assert mass.parse_grams(mass.format_grams(mg), allow_units=True) == mg


@given(any_milligrams)
def test_what_a_file_holds_can_be_read_back(mg):
    assert mass.parse_strict_grams(mass.plain_grams(mg), allow_negative=True) == mg


@given(st.text(max_size=60))
def test_any_text_is_a_mass_or_refused(text):
    for read in (mass.parse_grams, mass.parse_strict_grams):
        try:
            mg = read(text)
        except Refused:
            continue
        assert 0 <= mg <= mass.HEAVIEST_MG


def test_the_published_troy_ounce():
    (case,) = cases("mass", "troy_ounce")
    assert case["ten_thousandths_of_a_milligram"] == mass.TROY_OUNCE
    assert mass.TROY_OUNCE_PARTS == 10_000
    assert mass.TROY_OUNCE * 175 == 12 * 4_535_923_700  # 12/175 of the pound


@pytest.mark.parametrize("case", cases("mass", "troy_ounces_of_grams"))
def test_troy_ounces(case):
    assert mass.format_troy_ounces(mass.parse_grams(case["grams"])) == case["ozt"]


@pytest.mark.parametrize(
    ("text", "ug"),
    [("5.000002", 5_000_002), ("100", 100_000_000), ("5000.002 mg", 5_000_002), ("0.000001 g", 1)],
)
def test_a_balance_shows_micrograms(text, ug):
    assert mass.parse_fine_grams(text, allow_units=True) == ug


@pytest.mark.parametrize("text", ["5,1", "5.0000021", "5 kg", "5 ozt", "5.0000 mg", "-1", "0", "", "1e3", "nan"])
def test_what_no_balance_shows_is_refused(text):
    with pytest.raises((Unreadable, Refused)):
        mass.parse_fine_grams(text, allow_units=True)


def test_a_unit_is_read_only_where_it_may_stand():
    with pytest.raises(Unreadable, match="unit"):
        mass.parse_fine_grams("5 mg")


def test_micrograms_keep_their_figures():
    assert mass.plain_fine_grams(5_000_002) == "5.000002"
    assert mass.plain_fine_grams(1_234_567_000) == "1234.567"
    assert mass.format_fine_grams(-1_234_567_000, decimals=3) == "−1\u202f234.567"
    assert mass.format_fine_grams(5_000_002, decimals=3) == "5.000002"
