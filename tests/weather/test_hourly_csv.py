"""Hours as CSV: there and back."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.columns import columns
from rules.errors import Faults
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance
from scheduler.weather.files import parse_weather
from scheduler.weather.hourly_csv import read_hourly_csv, to_csv


def read(text: str) -> Forecast:
    return parse_weather(text.encode(), "hours.csv")


def test_house_names_and_cf_names_with_units_are_read() -> None:
    forecast = read(
        "# issued_at: 2026-11-09T04:00-05:00\n# source: own gauge\n# wind_height_m: 3\n"
        "time,air_temperature [degF],precipitation_amount_mm,wind_speed (mph)\n"
        "2026-11-09T05:00-05:00,14,0.5,10\n"
        "2026-11-09T11:00Z,,,\n"
    )
    table = forecast.table
    assert table.start[0] == np.datetime64("2026-11-09T10", "h")
    np.testing.assert_allclose(table.column("air_temperature_c"), [-10, np.nan])
    np.testing.assert_allclose(table.column("wind_speed_ms"), [4.4704, np.nan])
    assert forecast.provenance.issued_at == datetime(2026, 11, 9, 9, tzinfo=UTC)
    assert forecast.provenance.source == "own gauge"
    assert forecast.provenance.wind_height_m == 3


def test_hours_without_a_row_are_gaps_and_told() -> None:
    forecast = read("time,air_temperature_c\n2026-11-09T10:00Z,1\n2026-11-09T13:00Z,2\n")
    np.testing.assert_array_equal(
        forecast.table.column("air_temperature_c"), [1, np.nan, np.nan, 2]
    )
    assert forecast.provenance.findings[0].what == "2 hours have no row"


def test_times_without_an_offset_need_a_column_in_utc() -> None:
    rows = "\n2026-11-09T10:00,1\n"
    assert read(f"time [UTC],air_temperature_c{rows}").table.hours == 1
    with pytest.raises(Faults, match="want an offset from UTC"):
        read(f"time,air_temperature_c{rows}")


def test_all_faults_are_told_with_their_lines() -> None:
    with pytest.raises(Faults) as caught:
        read(
            "time,air_temperature_c,relative_humidity_pct\n"
            "2026-11-09T10:00Z,mild,50\n"
            "2026-11-09T10:30Z,1,50\n"
            "2026-11-09T12:00Z,1,NaN\n"
            "2026-11-09T12:00Z,1,50\n"
            "2026-11-09T11:00Z,1,50\n"
            "2026-11-09T14:00Z,1\n"
        )
    assert caught.value.lines() == [
        "hours.csv:2: air_temperature_c is 'mild'; want a number, or nothing for a gap",
        "hours.csv:3: time is '2026-11-09T10:30Z'; want the beginning of a whole hour of UTC",
        "hours.csv:4: relative_humidity_pct is 'NaN'; want a number, or nothing for a gap",
        "hours.csv:5: time is '2026-11-09T12:00Z'; this hour is there already",
        "hours.csv:6: time is '2026-11-09T11:00Z'; sort the rows by time",
        "hours.csv:7: the row is '2 cells'; want 3 as the header has",
    ]


def series(name: str) -> st.SearchStrategy[list[float]]:
    column = columns()[name]
    inside = st.floats(column.low, column.high, allow_subnormal=False)
    return st.lists(st.one_of(st.just(float("nan")), inside), min_size=5, max_size=5)


@given(air=series("air_temperature_c"), rain=series("precipitation_amount_mm"))
def test_what_is_written_reads_back_to_the_same_values(
    air: list[float], rain: list[float]
) -> None:
    start = np.datetime64("2026-11-01T04", "h") + np.arange(5)
    table = HourlyTable(
        start=start,
        columns={
            "precipitation_amount_mm": np.array(rain),
            # one value throughout, so that no leap is taken out on reading
            "air_temperature_c": np.full(5, air[0]),
        },
    )
    text = to_csv(Forecast(table, Provenance("x", None, None)))
    back = read_hourly_csv(text.encode(), "x.csv").table
    assert text.startswith("time,air_temperature_c,precipitation_amount_mm\n2026-11-01T04:00Z,")
    np.testing.assert_array_equal(back.start, start)
    for name, values in table.columns.items():
        np.testing.assert_array_equal(back.columns[name], values)
