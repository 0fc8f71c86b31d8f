"""Intervals laid out by hour, against a count second by second."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.weather.intervals import HOUR_S, Spans, amount_by_hour, duration_s, state_by_hour

QUARTER = 900
HOURS = 12
runs = st.lists(
    st.tuples(
        st.integers(1, 20),
        st.one_of(st.none(), st.floats(-50, 50).filter(lambda v: v == 0 or abs(v) > 1e-9)),
        st.booleans(),
    ),
    max_size=12,
)


def spans(told: list[tuple[int, float | None, bool]], order: list[int]) -> Spans:
    """Lay runs of quarter hours end to end, leaving out those marked as holes."""
    rows, at = [], 0
    for length, value, there in told:
        if there:
            known = float("nan") if value is None else value
            rows.append((at * QUARTER, (at + length) * QUARTER, known))
        at += length
    rows = [rows[i % len(rows)] for i in order[: len(rows)]] if rows else []
    rows = list(dict.fromkeys(rows))
    columns = [[row[i] for row in rows] for i in range(3)]
    return Spans(
        np.array(columns[0], dtype=np.int64),
        np.array(columns[1], dtype=np.int64),
        np.array(columns[2], dtype=np.float64),
    )


def by_quarter(told: Spans, share: bool) -> np.ndarray:
    """Return the value of every quarter hour, one at a time."""
    out = np.full(HOURS * 4, np.nan)
    for start, end, value in zip(told.start_s, told.end_s, told.values, strict=True):
        for quarter in range(start // QUARTER, end // QUARTER):
            if quarter < out.size:
                out[quarter] = value * QUARTER / (end - start) if share else value
    return out


@given(told=runs, order=st.permutations(range(12)))
def test_states_are_what_a_count_by_quarters_says(
    told: list[tuple[int, float | None, bool]], order: list[int]
) -> None:
    laid = spans(told, list(order))
    quarters = by_quarter(laid, share=False).reshape(HOURS, 4)
    np.testing.assert_allclose(
        state_by_hour(laid, 0, HOURS).values, quarters.mean(axis=1), atol=1e-9
    )
    np.testing.assert_array_equal(
        state_by_hour(laid, 0, HOURS, worst="max").values, quarters.max(axis=1)
    )


@given(told=runs, order=st.permutations(range(12)))
def test_amounts_are_what_a_count_by_quarters_says(
    told: list[tuple[int, float | None, bool]], order: list[int]
) -> None:
    laid = spans(told, list(order))
    quarters = by_quarter(laid, share=True).reshape(HOURS, 4)
    np.testing.assert_allclose(
        amount_by_hour(laid, 0, HOURS).values, quarters.sum(axis=1), atol=1e-9
    )


@given(
    lengths=st.lists(st.integers(1, 30), min_size=1, max_size=30),
    amounts=st.lists(st.floats(0, 100), min_size=30, max_size=30),
)
def test_sums_of_whole_hours_are_kept(lengths: list[int], amounts: list[float]) -> None:
    ends = np.cumsum(lengths) * HOUR_S
    told = np.array(amounts[: len(lengths)])
    laid = Spans(ends - np.array(lengths) * HOUR_S, ends, told)
    hours = amount_by_hour(laid, 0, int(ends[-1] // HOUR_S)).values
    assert hours.sum() == pytest.approx(told.sum(), rel=0, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "hours"), [("PT1H", 1), ("P1D", 24), ("P1DT6H", 30), ("P7DT20H", 188), ("P1W", 168)]
)
def test_durations(text: str, hours: int) -> None:
    assert duration_s(text) == hours * HOUR_S


@pytest.mark.parametrize("text", ["", "P", "PT", "1H", "PT1H ", "P1M", "P1Y", "PT-1H", "PT0S"])
def test_what_is_no_duration(text: str) -> None:
    with pytest.raises(ValueError, match="want a duration"):
        duration_s(text)
