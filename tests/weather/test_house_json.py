"""The house weather file: what it may say and how it is told what is wrong."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from rules.errors import Faults
from scheduler.planning.tables.hours import Forecast
from scheduler.weather.files import parse_weather, read_weather

ROOT = Path(__file__).resolve().parents[2]


def house(**keys: object) -> dict[str, object]:
    return {
        "format": "closein-weather/1",
        "source": "national gridded forecast",
        "issued_at": "2026-10-29T06:00-04:00",
        "hours": {
            "start": "2026-10-29T07:00-04:00",
            "step_h": 1,
            "columns": {"air_temperature": {"unit": "degF", "values": [32, None, 50]}},
        },
        **keys,
    }


def read(data: object) -> Forecast:
    return parse_weather(json.dumps(data, indent=1).encode(), "house.json")


def lines(data: object) -> list[str]:
    with pytest.raises(Faults) as caught:
        read(data)
    return caught.value.lines()


def test_columns_are_read_in_their_units_and_null_is_a_gap() -> None:
    forecast = read(house())
    np.testing.assert_allclose(forecast.table.column("air_temperature_c"), [0, np.nan, 10])
    assert forecast.table.start[0] == np.datetime64("2026-10-29T11", "h")
    assert forecast.provenance.issued_at == datetime(2026, 10, 29, 10, tzinfo=UTC)
    assert forecast.alerts is None


def hours(**columns: object) -> dict[str, object]:
    return house(hours={"start": "2026-10-29T07:00-04:00", "hours": 4, "columns": columns})


def test_one_number_stands_for_all_hours() -> None:
    forecast = read(
        hours(
            precipitation_amount={"unit": "in", "values": 0.1},
            wind_speed_ms={"values": 3},
            cloud_area_fraction={"unit": "1", "values": [0.2, 0.4, 1, None]},
        )
    )
    np.testing.assert_allclose(forecast.table.column("precipitation_amount_mm"), [2.54] * 4)
    assert list(forecast.table.column("wind_speed_ms")) == [3] * 4
    np.testing.assert_allclose(
        forecast.table.column("cloud_area_fraction_pct"), [20, 40, 100, np.nan]
    )


def test_steps_of_three_hours_repeat_states_and_share_out_amounts() -> None:
    data = house()
    data["hours"] = {
        "start": "2026-10-29T07:00-04:00",
        "step_h": 3,
        "columns": {
            "air_temperature_c": {"values": [1, 2]},
            "precipitation_amount_mm": {"values": [6, None]},
        },
    }
    table = read(data).table
    assert list(table.column("air_temperature_c")) == [1, 1, 1, 2, 2, 2]
    np.testing.assert_array_equal(
        table.column("precipitation_amount_mm"), [2, 2, 2, np.nan, np.nan, np.nan]
    )


def test_steps_of_a_quarter_hour_make_hours() -> None:
    data = house()
    data["hours"] = {
        "start": "2026-10-29T11:00Z",
        "step_h": 0.25,
        "columns": {
            "air_temperature_c": {"values": [1, 2, 3, 4]},
            "wind_speed_of_gust_ms": {"values": [5, 9, 7, 6]},
            "precipitation_amount_mm": {"values": [0.1, 0.2, 0.3, 0.4]},
        },
    }
    table = read(data).table
    assert list(table.column("air_temperature_c")) == [2.5]
    assert list(table.column("wind_speed_of_gust_ms")) == [9]
    assert list(table.column("precipitation_amount_mm")) == [pytest.approx(1.0)]


def test_periods_days_and_alerts_are_read() -> None:
    forecast = read(
        house(
            periods=[
                {
                    "from": "2026-10-29T08:00-04:00",
                    "until": "2026-10-29T20:00-04:00",
                    "precipitation_probability": 45,
                }
            ],
            daily=[
                {
                    "date": "2026-11-17",
                    "air_temperature_max": {"unit": "degF", "value": 50},
                    "air_temperature_min_c": -2.5,
                    "precipitation_amount": {"unit": "in", "value": None},
                    "precipitation_from": "2026-11-17T18:00-05:00",
                    "precipitation_until": None,
                    "surfaces_wet": False,
                }
            ],
            alerts=[{"event": "Freeze Warning", "from": "2026-10-29T22:00-04:00", "until": None}],
            source_status=[{"source": "nws", "at": "x", "status": "grid_expired"}],
        )
    )
    (period,) = forecast.periods
    assert period.start == datetime(2026, 10, 29, 12, tzinfo=UTC)
    assert period.precipitation_probability_pct == 45
    (day,) = forecast.daily
    assert day.values["air_temperature_max_c"] == pytest.approx(10)
    assert day.values["air_temperature_min_c"] == -2.5
    assert np.isnan(day.values["precipitation_amount_mm"])
    assert day.moments["precipitation_from"] == datetime(2026, 11, 17, 23, tzinfo=UTC)
    assert day.moments["precipitation_until"] is None
    assert day.flags == {"surfaces_wet": False}
    assert forecast.alerts is not None
    assert forecast.alerts[0].event == "Freeze Warning"
    assert forecast.alerts[0].end is None
    assert forecast.extras["source_status"] == (
        {"source": "nws", "at": "x", "status": "grid_expired"},
    )


def test_asked_and_none_in_force_is_not_the_same_as_not_asked() -> None:
    assert read(house(alerts=[])).alerts == ()
    assert read(house(alerts=None)).alerts is None


def test_all_faults_are_told_with_their_lines() -> None:
    data = house(isued_at="2026-10-29", age_limit_h="long")
    data["hours"]["columns"] = {  # type: ignore[index]
        "air_temperatur": {"unit": "degF", "values": [1, 2, 3]},
        "wind_speed": {"unit": "degF", "values": [1, 2, 3]},
        "relative_humidity": {"unit": "%", "values": [50, "wet", True]},
    }
    told = lines(data)
    text = json.dumps(data, indent=1).splitlines()
    for line in told:
        number = int(line.split(":")[1])
        assert text[number - 1].strip(), line
    assert [line.split(": ", 1)[1].split(" is ")[0] for line in told] == [
        "hours.columns.air_temperatur",
        "hours.columns.wind_speed.unit",
        "hours.columns.relative_humidity.values[1]",
        "hours.columns.relative_humidity.values[2]",
        "isued_at",
        "age_limit_h",
    ]
    assert "'air_temperature' perhaps?" in told[0]
    assert "want a unit of speed: m/s" in told[1]
    assert "'issued_at' perhaps?" in told[4]


def test_a_thousand_faults_are_told_as_fifty_and_a_count() -> None:
    data = hours(air_temperature_c={"values": ["x"] * 1000})
    data["hours"]["hours"] = 1000  # type: ignore[index]
    told = lines(data)
    assert len(told) == 51
    assert "950 more" in told[-1]


def test_the_demo_forecast_reads_and_keeps_its_gaps() -> None:
    forecast = read_weather(ROOT / "fixtures" / "demo" / "forecast.json")
    assert forecast.table.hours == 168
    assert np.isnan(forecast.table.column("precipitation_amount_mm")).sum() == 72
    assert np.isfinite(forecast.table.column("air_temperature_c")).all()


def test_every_key_stays_optional_but_hours_days_or_alerts() -> None:
    assert read({"format": "closein-weather/1", "alerts": []}).table.hours == 0
    assert "want hours, daily or alerts" in lines({"format": "closein-weather/1"})[0]
