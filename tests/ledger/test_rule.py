"""The same rule twice: PostgreSQL's shares against those of calc/, for any pool, any amounts, any mass."""

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from custody.calc.apportion import largest_remainder, withdraw
from custody.calc.provenance import spread
from custody.calc.rounding import half_even

TONNES_TEN = 10**10
MASS = st.one_of(st.integers(1, 9), st.integers(1, 5000), st.integers(1, 10**7), st.integers(1, TONNES_TEN))
SQUARE = settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def ask(owner_connection):
    """ask(query, …): the one value that the database answers."""
    connection = owner_connection()
    return lambda query, *parameters: connection.execute(query, parameters).fetchone()[0]


@st.composite
def pools(draw):
    """Milligrams of each origin, and amounts that take them all; some amounts are zero, some chosen to provoke."""
    pool = draw(st.lists(MASS, min_size=1, max_size=40))
    total = sum(pool)
    marks = sorted(draw(st.lists(st.integers(0, total), max_size=9)))
    return pool, [b - a for a, b in zip([0, *marks], [*marks, total], strict=True)]


def decoded(pool, amounts, shares):
    """What the stored bits of each amount say, as milligrams by origin."""
    total = sum(pool)
    rows = []
    for amount, (codes, whole) in zip(amounts, shares, strict=True):
        if whole is not None:
            rows.append(whole)
        elif codes is None:
            rows.append([0] * len(pool))
        else:
            steps = [int(codes[place : place + 2], 2) - 1 for place in range(0, 2 * len(pool), 2)]
            rows.append([mg * amount // total + step for mg, step in zip(pool, steps, strict=True)])
    return rows


SPREAD = (
    "SELECT array_agg(ARRAY[u.codes::text, u.whole::text]) FROM unnest(custody_spread(%s::bigint[], %s::bigint[])) u"
)


def spread_by_the_database(ask, pool, amounts):
    found = [
        (codes, [int(mg) for mg in whole.strip("{}").split(",")] if whole else None)
        for codes, whole in ask(SPREAD, pool, amounts)
    ]
    return decoded(pool, amounts, found)


@SQUARE
@given(pools())
@example(([1, 1, 1, 1], [1, 1, 1, 1]))
@example(([5] * 7, [1] * 35))
@example(([3_000_000_000, 1], [1, 3_000_000_000]))
@example(([3_000_000_001, 2, 3], [1_500_000_003, 1_500_000_003]))
@example(([TONNES_TEN] * 3, [TONNES_TEN * 3 - 1, 1]))
def test_spread(ask, case):
    pool, amounts = case
    assert spread_by_the_database(ask, pool, amounts) == spread(pool, amounts)


@SQUARE
@given(st.lists(st.one_of(st.just(0), MASS), min_size=1, max_size=30).filter(any), MASS)
@example([2_999_999_999, 1], 9_000_000_000)
@example([1], 10**15)
def test_apportion(ask, weights, total):
    assert ask("SELECT custody_apportion(%s, %s::bigint[])", total, weights) == list(largest_remainder(total, weights))


@SQUARE
@given(st.lists(st.one_of(st.just(0), MASS), min_size=6, max_size=6).filter(any), st.data())
def test_withdraw(ask, parts, data):
    gross = sum(parts)
    taken = data.draw(st.integers(1, gross))
    expected = [taken, *withdraw(gross, parts[:5], taken)]
    assert ask("SELECT custody_withdraw(%s::bigint[], %s)", [gross, *parts[:5]], taken) == expected


@SQUARE
@given(st.integers(0, 10**16), st.integers(1, 10**7))
@example(5, 2)
@example(15, 10)
@example(25, 10)
def test_half_even(ask, numerator, denominator):
    assert ask("SELECT custody_half_even(%s, %s)", numerator, denominator) == half_even(numerator, denominator)


def test_the_outputs_take_what_the_origins_gave(ask):
    with pytest.raises(Exception, match="exactly what the origins gave"):
        spread_by_the_database(ask, [5, 5], [5, 4])
