"""Ready tables: the later of strength and wait, at the job's confidence."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rules.errors import OutOfRange
from rules.strength import hours_to_share
from scheduler.planning.gates import at_confidence, ready_table
from scheduler.planning.tables import NEVER

traces = arrays(np.float64, (5, 80), elements=st.floats(-15, 35))
tables = arrays(np.int32, (7, 12), elements=st.integers(0, 500))


@given(trace=traces, share=st.floats(0.02, 0.6), wait=st.floats(0, 30))
def test_a_gate_is_the_later_of_strength_and_wait(
    trace: np.ndarray, share: float, wait: float
) -> None:
    ready = ready_table(temperature_c=trace, share=share, wait_h=wait)
    strong = hours_to_share(temperature_c=trace, share=share)
    open_ = ready < NEVER
    assert (ready >= np.where(strong > 80, NEVER, strong)).all()
    assert ((ready - np.arange(81))[open_] >= wait - 1e-6).all()
    assert (np.diff(ready, axis=-1) >= 0).all()


@given(trace=traces, colder=st.floats(0, 10), share=st.floats(0.02, 0.6))
def test_colder_never_opens_a_gate_earlier(trace: np.ndarray, colder: float, share: float) -> None:
    warm = ready_table(temperature_c=trace, share=share, wait_h=12)
    assert (ready_table(temperature_c=trace - colder, share=share, wait_h=12) >= warm).all()


def test_the_wait_holds_in_warm_weather() -> None:
    ready = ready_table(temperature_c=np.full(200, 30.0), share=0.25, wait_h=72)
    assert (ready[:100] == np.arange(100) + 72).all()


def test_work_before_a_gap_counts_as_no_stronger_than_work_after_it() -> None:
    trace = np.full(40, 20.0)
    trace[30] = np.nan
    ready = ready_table(temperature_c=trace, share=0.05, wait_h=0)
    need = int(hours_to_share(temperature_c=np.full(40, 20.0), share=0.05)[0])
    assert ready[30 - need] == 30
    assert ready[31 - need] == ready[31] == 31 + need
    assert ready[32] == NEVER


@given(table=tables, confidence=st.floats(0.01, 1.0))
def test_at_least_the_asked_share_is_ready(table: np.ndarray, confidence: float) -> None:
    hour = at_confidence(table, confidence)
    assert ((table <= hour).mean(axis=0) >= confidence - 1e-9).all()
    assert (((table < hour).mean(axis=0)) < confidence).all()


def test_never_in_too_many_scenarios_is_never() -> None:
    table = np.array([[5], [6], [NEVER], [7]], dtype=np.int32)
    assert at_confidence(table, 0.75)[0] == 7
    assert at_confidence(table, 0.76)[0] == NEVER


def test_nonsense_is_refused() -> None:
    with pytest.raises(OutOfRange, match="waiting time"):
        ready_table(temperature_c=np.zeros(3), share=0.5, wait_h=-1)
    with pytest.raises(OutOfRange, match="confidence"):
        at_confidence(np.zeros((3, 2), dtype=np.int32), 90.0)
