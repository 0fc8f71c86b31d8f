"""Measured beats modelled; the coldest governs; what is modelled is marked."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from scheduler.jobfile import read
from scheduler.jobfile.entries import entries_of
from scheduler.planning.model.log import Reading
from scheduler.planning.strength.measured import (
    MEASURED,
    MODELLED,
    ProbeTrace,
    log_entries,
    of_readings,
    on_hours,
    with_measured,
)
from tests.demo_job import DEMO

START = np.arange("2026-11-12T10", "2026-11-14T10", dtype="datetime64[h]")
ZERO = datetime(2026, 11, 12, 10, tzinfo=UTC)


def test_the_coldest_probe_governs_and_its_gap_does_not_hide_the_others() -> None:
    mean = np.array([[5.0, np.nan, 7.0], [6.0, 4.0, np.nan]])
    trace = ProbeTrace(START[:3], ("a", "b"), mean, mean - 1.0)
    assert trace.governing_c.tolist() == [5.0, 4.0, 7.0]
    assert trace.coldest == ("b", 3.0, ZERO + timedelta(hours=1))
    none = ProbeTrace(START[:1], ("a",), np.array([[np.nan]]), np.array([[np.nan]]))
    assert none.coldest is None
    assert np.isnan(none.governing_c).all()


def test_a_trace_lands_on_its_own_hours() -> None:
    trace = ProbeTrace(START[5:8], ("a",), np.array([[1.0, 2.0, 3.0]]), np.ones((1, 3)))
    found = on_hours(trace, START)
    assert found[5:8].tolist() == [1.0, 2.0, 3.0]
    assert np.isnan(found).sum() == 45


def test_hand_readings_of_the_element_count_and_others_do_not() -> None:
    readings = [
        Reading("grout_temperature", 50.0, "degF", at=ZERO + timedelta(hours=2)),
        Reading("grout_temperature", 47.0, "degF", at=ZERO + timedelta(hours=2, minutes=30)),
        Reading("air_temperature", 20.0, "degF", at=ZERO + timedelta(hours=3)),
        Reading("masonry_temperature", 40.0, "degF", at=ZERO - timedelta(hours=3)),
    ]
    found = of_readings(readings, START)
    assert found[2] == pytest.approx((47 - 32) / 1.8)
    assert np.isfinite(found).sum() == 1


def test_measured_beats_modelled_and_a_colder_reading_lowers_what_follows() -> None:
    modelled = np.full(48, 10.0)
    logger, hand = np.full(48, np.nan), np.full(48, np.nan)
    logger[5:10], hand[9], hand[40] = 12.0, 7.0, 11.0
    values, source = with_measured(modelled, [logger, hand])
    assert values[5:9].tolist() == [12.0] * 4
    assert values[9] == 7.0
    assert (values[10:34] == 7.0).all()  # three kelvin below the model for a day
    assert (values[34:40] == 10.0).all()
    assert values[40] == 11.0
    assert (values[41:] == 10.0).all()  # a warmer reading raises nothing
    assert (source[[5, 9, 40]] == MEASURED).all()
    assert (source == MODELLED).sum() == 48 - 6


def test_scenarios_share_the_measured_hours() -> None:
    modelled = np.stack([np.full(48, 10.0), np.full(48, 4.0)])
    read = np.full(48, np.nan)
    read[0] = 6.0
    values, _ = with_measured(modelled, [read])
    assert values[:, 0].tolist() == [6.0, 6.0]
    assert values[:, 1].tolist() == [6.0, 4.0]


def test_without_measurements_the_model_stands() -> None:
    values, source = with_measured(np.full(48, 3.0), [])
    assert (values == 3.0).all()
    assert (source == MODELLED).all()


def test_a_logger_becomes_entries_that_the_log_takes() -> None:
    mean = np.array([[5.0, np.nan, 7.0], [6.0, np.nan, 4.0]])
    trace = ProbeTrace(START[:3], ("a", "b"), mean, mean - 1.0)
    given = log_entries(trace, quantity="grout_temperature", place="north core")
    assert [entry["value"] for entry in given] == [5.0, 4.0, 3.0]
    job = read(DEMO / "job.yaml")
    taken = entries_of(given, job=job, log=(), now=ZERO + timedelta(days=2))
    assert [entry.reading.value for entry in taken if entry.reading] == [5.0, 4.0, 3.0]
    assert taken[0].at == ZERO
    assert {entry.reading.place for entry in taken if entry.reading} == {"north core"}
