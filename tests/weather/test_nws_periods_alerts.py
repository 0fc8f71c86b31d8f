"""Period forecasts as a cross-check, and warnings in force."""

from __future__ import annotations

import itertools
import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from scheduler.planning.tables.hours import Alert
from scheduler.weather.files import read_weather
from scheduler.weather.json_text import JsonDocument
from scheduler.weather.nws_alerts import read_alerts
from scheduler.weather.nws_periods import Period, chances, disagreement, read_periods
from tests.recorded_data import recorded, recorded_files

HOURLY = recorded_files("nws", "nws-hourly-*.json")
HALF_DAYS = recorded_files("nws", "nws-forecast12h-*.json")
PAIRED = [p for p in HOURLY if p.with_name(p.name.replace("hourly", "gridpoint")).exists()]


def periods(path: Path) -> tuple[tuple[Period, ...], list[str]]:
    document = JsonDocument(path.read_bytes(), path.name)
    read = read_periods(document)
    return read, [str(fault) for fault in document.faults()]


@pytest.mark.parametrize("path", PAIRED, ids=lambda p: p.stem)
def test_hourly_answers_agree_with_their_grid_hour_by_hour(path: Path) -> None:
    table = read_weather(path.with_name(path.name.replace("hourly", "gridpoint"))).table
    told = json.loads(path.read_text())["properties"]["periods"]
    assert len(told) == 156
    for period in told:
        start = datetime.fromisoformat(period["startTime"]).astimezone(UTC)
        at = int(np.flatnonzero(table.start == np.datetime64(start.replace(tzinfo=None), "h"))[0])
        fahrenheit = table.column("air_temperature_c")[at] * 1.8 + 32
        assert fahrenheit == pytest.approx(period["temperature"], abs=0.51)
        dew = period["dewpoint"]["value"]
        if np.isfinite(table.column("dew_point_temperature_c")[at]):
            assert table.column("dew_point_temperature_c")[at] == pytest.approx(dew)
    read, faults = periods(path)
    assert faults == []
    assert disagreement(table, read) == ()


@pytest.mark.parametrize("path", HALF_DAYS, ids=lambda p: p.stem)
def test_half_days_are_read(path: Path) -> None:
    read, faults = periods(path)
    assert len(read) == 14
    assert all(b.start == a.end for a, b in itertools.pairwise(read))
    if "mpx" in path.name:
        assert "121.1" in faults[0], "the planted 250 F"
        assert np.isnan(read[0].air_temperature_c)
        assert (read[7].end - read[7].start).total_seconds() == 11 * 3600, "the clock change"
    else:
        assert faults == []


def test_celsius_and_kilometres_are_read() -> None:
    read, _ = periods(recorded("nws", "nws-hourly-lwx-2026-02-06.json"))
    assert read[0].air_temperature_c == 1
    assert read[0].wind_speed_ms == pytest.approx(4 / 3.6)
    assert read[0].start == datetime(2026, 2, 6, 21, tzinfo=UTC)
    assert chances(read)[0].precipitation_probability_pct == 71


def test_disagreement_names_the_worst_hour() -> None:
    path = recorded("nws", "nws-hourly-aly-2026-07-15.json")
    table = read_weather(recorded("nws", "nws-gridpoint-aly-2026-07-15.json")).table
    table.columns["air_temperature_c"][20:23] += 7
    table.columns["air_temperature_c"][21] += 1
    (finding,) = disagreement(table, periods(path)[0])
    assert finding.hours == 3
    assert str(table.start[21]) in finding.what


@pytest.mark.parametrize(
    "change",
    [
        {"startTime": None},
        {"startTime": "2026-01-01T00:00:00"},
        {"endTime": "2026-01-01T00:00:00-05:00"},
        {"temperature": "mild"},
        {"temperatureUnit": "R"},
        {"windSpeed": "brisk"},
        {"windSpeed": 5},
        {"probabilityOfPrecipitation": {"unitCode": "wmoUnit:m", "value": 3}},
    ],
)
def test_a_spoilt_period_is_a_fault(change: dict[str, object]) -> None:
    row = {
        "startTime": "2026-01-01T06:00:00-05:00",
        "endTime": "2026-01-01T07:00:00-05:00",
        "temperature": 31,
        "temperatureUnit": "F",
        "windSpeed": "5 to 10 mph",
        **change,
    }
    document = JsonDocument(json.dumps({"periods": [row]}).encode(), "periods")
    read_periods(document)
    assert len(document.faults()) == 1


def alerts(*rows: dict[str, object], zones: tuple[str, ...] = ()) -> tuple[Alert, ...]:
    features = [{"properties": {"event": "Wind Advisory", **row}} for row in rows]
    document = JsonDocument(json.dumps({"features": features}).encode(), "alerts")
    read = read_alerts(document, zones)
    assert read is not None
    return read


def test_the_event_counts_not_the_message() -> None:
    (alert,) = alerts(
        {
            "sent": "2026-01-05T00:52:00Z",
            "effective": "2026-01-05T00:52:00Z",
            "onset": "2026-01-06T03:00:00Z",
            "expires": "2026-01-05T09:00:00Z",
            "ends": "2026-01-06T09:00:00Z",
        }
    )
    assert alert.start == datetime(2026, 1, 6, 3, tzinfo=UTC)
    assert alert.end == datetime(2026, 1, 6, 9, tzinfo=UTC)


def test_without_ends_the_message_bounds_the_event() -> None:
    (alert,) = alerts({"effective": "2026-01-05T00:00:00Z", "expires": "2026-01-05T09:00:00Z"})
    assert alert.start == datetime(2026, 1, 5, tzinfo=UTC)
    assert alert.end == datetime(2026, 1, 5, 9, tzinfo=UTC)


def test_an_end_before_the_beginning_leaves_the_alert_open() -> None:
    (alert,) = alerts({"onset": "2026-01-05T10:00:00Z", "ends": "2026-01-05T09:00:00Z"})
    assert alert.end is None


def test_updates_cancels_and_tests() -> None:
    assert alerts(
        {"id": "a"},
        {"id": "b", "event": "High Wind Warning", "references": [{"identifier": "a"}]},
        {"id": "c"},
        {"id": "d", "messageType": "Cancel", "references": [{"identifier": "c"}]},
        {"id": "e", "status": "Test"},
    ) == (Alert("High Wind Warning", None, None, "High Wind Warning", "National Weather Service"),)


def test_the_recorded_lists_are_read() -> None:
    path = recorded("nws", "nws-alerts-active-2026-07-15.json")
    document = JsonDocument(path.read_bytes(), path.name)
    every = read_alerts(document) or ()
    assert document.faults() == []
    assert len(every) == 396, "no update in the list names another alert of the list"
    assert sum(alert.end is None for alert in every) <= 3
    here = read_alerts(document, ("NYZ052", "NYC001")) or ()
    assert [alert.event for alert in here] == ["Air Quality Alert"]


def test_zones_keep_only_the_sites_alerts() -> None:
    rows = ({"geocode": {"UGC": ["NYC001"]}}, {"geocode": {"UGC": ["NYC003"]}}, {})
    assert len(alerts(*rows, zones=("NYC001",))) == 1
