from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from rules.windows import least_between, running_total, sum_between


@st.composite
def tables(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    hours = draw(st.integers(1, 30))
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    lead = draw(st.sampled_from([(), (3,), (2, 2)]))
    values = rng.normal(0, 9, (*lead, hours))
    values[rng.random(values.shape) < draw(st.sampled_from([0.0, 0.1]))] = np.nan
    starts = draw(st.integers(1, 30))
    if draw(st.booleans()):
        low = np.arange(starts) + draw(st.integers(-9, 9))
        high = low + draw(st.integers(0, 40))
    else:
        shape = (*draw(st.sampled_from([(), lead])), starts)
        low = rng.integers(-5, hours + 3, draw(st.sampled_from([shape, (starts,)])))
        high = low + rng.integers(0, 40, shape)
    return values, low, high


def by_hand(values: np.ndarray, low: np.ndarray, high: np.ndarray, how: object) -> np.ndarray:
    lead = np.broadcast_shapes(values.shape[:-1], low.shape[:-1], high.shape[:-1])
    wide = np.broadcast_to(values, (*lead, values.shape[-1]))
    lows, highs = (np.broadcast_to(edge, (*lead, low.shape[-1])) for edge in (low, high))
    out = np.empty(lows.shape)
    for place in np.ndindex(out.shape):
        first, last = max(lows[place], 0), max(highs[place], 0)
        out[place] = how(wide[place[:-1]][first:last])
    return out


@given(tables())
def test_the_least_of_each_window_is_that_of_a_plain_loop(table: tuple[np.ndarray, ...]) -> None:
    expected = by_hand(*table, lambda part: np.min(part, initial=np.inf))
    np.testing.assert_array_equal(least_between(*table), expected)


@given(tables())
def test_the_least_of_whole_numbers_is_that_of_a_plain_loop(table: tuple[np.ndarray, ...]) -> None:
    values, low, high = table
    small = np.nan_to_num(values).astype(np.int8)
    expected = by_hand(small, low, high, lambda part: np.min(part, initial=127))
    np.testing.assert_array_equal(least_between(small, low, high), expected)


@given(tables())
def test_sums_are_those_of_a_plain_loop(table: tuple[np.ndarray, ...]) -> None:
    values, low, high = np.nan_to_num(table[0]), *table[1:]
    found = sum_between(running_total(values), low, high)
    np.testing.assert_allclose(found, by_hand(values, low, high, np.sum), atol=1e-9)
