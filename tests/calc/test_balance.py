"""What a step still has to explain."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.balance import is_balanced, missing, missing_sentence, total
from custody.calc.refusals import Refused

rows = st.lists(st.tuples(*[st.integers(-(10**11), 10**11)] * 6), max_size=5)


def test_a_melt():
    left = missing(
        inputs=[(1000_000, 800_000, 150_000, 0, 0, 0), (250_000, 200_000, 10_000, 0, 0, 0)],
        additions=[(10_000, 0, 0, 0, 0, 0)],
        outputs=[(1251_500, 999_980, 160_000, 0, 0, 0)],
        losses=[(7_000, 0, 0, 0, 0, 0)],
    )
    assert left == (1_500, 20, 0, 0, 0, 0)
    assert not is_balanced(left)
    assert missing_sentence(left) == "Still to explain: gross 1.500 g, Au 0.020 g."


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ((0, 0, 0, 0, 0, 0), ""),
        ((0, -12, 0, 0, 0, 0), "More out than in: Au 0.012 g."),
        ((5, 0, 0, 0, 0, -1_234_567), "Still to explain: gross 0.005 g. More out than in: Cu 1\u202f234.567 g."),
        ((0, 0, 1, 2, 3, 0), "Still to explain: Ag 0.001 g, Pt 0.002 g, Pd 0.003 g."),
    ],
)
def test_in_words(row, sentence):
    assert missing_sentence(row) == sentence
    assert is_balanced(row) == (sentence == "")


@given(rows, rows, rows, rows)
def test_what_is_missing_makes_the_step_balance(inputs, additions, outputs, losses):
    left = missing(inputs, additions, outputs, losses)
    assert is_balanced(missing(inputs, additions, [*outputs, left], losses))


def test_nothing_at_all_is_balanced():
    assert total([]) == (0,) * 6
    assert is_balanced(missing([], [], [], []))


def test_a_short_row():
    with pytest.raises(Refused, match="5 columns"):
        total([(1, 2, 3, 4, 5)])
