"""Past years from station records, real and made."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from rules.errors import Faults
from scheduler.planning.forecast.climate_years import seasons
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import HourlyTable
from scheduler.weather.climate import parse_record, read_climate
from scheduler.weather.records import HIGH, LOW, DailyRecord, HourlyRecord
from tests.recorded_data import recorded

SITE = Site("yard", 44.9, -93.2, 255.0, "America/Chicago")
START = datetime(2026, 11, 9, 12, tzinfo=UTC)
ROOT = Path(__file__).resolve().parents[2]


def daily(path: Path, **options: str) -> DailyRecord:
    record = parse_record(path.read_bytes(), path.name, **options)
    assert isinstance(record, DailyRecord)
    return record


def on(record: DailyRecord, column: str, day: str) -> float:
    return float(record.columns[column][np.flatnonzero(record.day == np.datetime64(day))[0]])


def test_long_form_scales_each_element_its_own_way() -> None:
    record = daily(recorded("obs", "ghcnd-minneapolis-usw00014922-2014-2015.csv"))
    rows = list(csv.reader(recorded("obs", "ghcnd-minneapolis-usw00014922-2014-2015.csv").open()))
    raw = {(row[0], row[1]): row for row in rows[1:]}
    scale = {"TMAX": (HIGH, 10), "TMIN": (LOW, 10), "PRCP": ("precipitation_amount_mm", 10)}
    scale |= {"SNOW": ("snowfall_amount_mm", 1), "SNWD": ("snow_depth_mm", 1)}
    checked = 0
    for (date, element), row in raw.items():
        if element not in scale:
            continue
        column, divisor = scale[element]
        got = on(record, column, f"{date[:4]}-{date[4:6]}-{date[6:]}")
        assert got == pytest.approx(float(row[2]) / divisor), row
        checked += 1
    assert checked > 1500
    traces = [row for row in raw.values() if row[1] == "PRCP" and row[3] == "T"]
    told = [f.what for f in record.findings if f.column == "precipitation_amount_mm"]
    assert told == [f"{len(traces)} days of PRCP are a trace, too little to measure"]


def test_fixed_width_rows_are_read_with_flags_and_missing_days() -> None:
    path = recorded("obs", "ghcnd-usc00411885.dly")
    record = daily(path)
    kept = failed = 0
    for row in path.read_text().splitlines():
        if row[17:21] != "TMAX":
            continue
        for day in range(31):
            cell = row[21 + 8 * day : 29 + 8 * day]
            if not cell.strip() or int(cell[:5]) == -9999:
                continue
            value = on(record, HIGH, f"{row[11:15]}-{row[15:17]}-{day + 1:02d}")
            if cell[6] != " ":
                failed += 1
                assert np.isnan(value)
            elif not np.isnan(value):
                kept += 1
                assert value == pytest.approx(int(cell[:5]) / 10)
    assert kept > 300
    assert failed == 1


def test_fahrenheit_exports_are_told_by_their_highest_value() -> None:
    record = daily(recorded("obs", "daily-boston-usw00014739-1936-2019-tmax-tmin.csv"))
    assert on(record, HIGH, "1936-01-03") == pytest.approx((54 - 32) / 1.8)
    assert any("Fahrenheit" in f.what for f in record.findings)
    assert record.station.elevation_m == 3.7
    sitka = daily(recorded("obs", "ghcnd-sitka-ak-2021-full.csv"))
    assert on(sitka, "precipitation_amount_mm", "2021-01-03") == pytest.approx(0.29 * 25.4)
    assert on(sitka, "wind_speed_of_gust_ms", "2021-01-01") == pytest.approx(28 * 0.44704)


def test_celsius_tables_are_read_and_stations_named() -> None:
    record = daily(recorded("obs", "daily-seattle-2012-2015.csv"))
    assert on(record, HIGH, "2012-01-02") == 10.6
    assert on(record, "precipitation_amount_mm", "2012-01-02") == 10.9
    two = recorded("obs", "daily-seattle-newyork-2012-2015.csv")
    with pytest.raises(Faults, match="name one station of Seattle, New York"):
        daily(two)
    assert daily(two, station="New York").station.name == "New York"


def test_hours_are_read_in_utc_and_recording_faults_are_gaps() -> None:
    path = recorded("obs", "hourly-nyc3airports-2013.csv")
    record = parse_record(path.read_bytes(), path.name, station="EWR")
    assert isinstance(record, HourlyRecord)
    table = record.table
    at = int(np.flatnonzero(table.start == np.datetime64("2013-01-01T06", "h"))[0])
    assert table.columns["air_temperature_c"][at] == pytest.approx((39.02 - 32) / 1.8)
    assert table.columns["wind_speed_ms"][at] == pytest.approx(10.357020 * 0.44704, abs=1e-5)
    assert np.nanmax(table.columns["wind_speed_ms"]) < 30
    (wild,) = [f for f in record.findings if "outside" in f.what and f.column == "wind_speed_ms"]
    assert wild.hours == 1
    rows = path.read_text().splitlines()
    hours = {row.rsplit(",", 1)[1] for row in rows if row.startswith("EWR")}
    missing = table.hours - len(hours)
    assert any(f.what == f"{missing} hours have no row" for f in record.findings)


def test_days_become_hours_with_their_own_lows_and_highs() -> None:
    path = recorded("obs", "daily-boston-usw00014739-1936-2019-tmax-tmin.csv")
    boston = Site("Boston", 42.36, -71.01, 4.0, "America/New_York")
    years = read_climate(path, site=boston, start=START, hours=24 * 60)
    assert len(years.years) >= 83
    row = years.years.index(2000)
    record = daily(path)
    local = np.arange(24 * 60) + 12 - 5  # UTC-5: the season starts at 07:00 of 9 November
    for day in range(1, 58):
        hours = years.columns["air_temperature_c"][row][local // 24 == day]
        date = str(np.datetime64("2000-11-09") + day)
        assert hours.min() <= on(record, LOW, date)
        assert hours.max() >= on(record, HIGH, date)
        assert on(record, LOW, date) in hours
        assert on(record, HIGH, date) in hours
    assert "Reicosky" in years.shape


def test_the_demo_climate_has_its_years() -> None:
    demo = read_climate(
        ROOT / "fixtures" / "demo" / "climate.csv", site=SITE, start=START, hours=24 * 50
    )
    assert len(demo.years) == 24
    assert np.isfinite(demo.columns["air_temperature_c"]).all()


def test_few_years_a_far_station_and_another_height_are_told() -> None:
    path = recorded("obs", "ghcnd-sitka-ak-2021-full.csv")
    told = " ".join(f.what for f in read_climate(path, site=SITE, start=START, hours=240).findings)
    assert "whole years of temperatures; 10 or more are wanted" in told


@pytest.mark.parametrize(
    ("text", "want"),
    [
        ("", "want rows"),
        ("date,temp_max,temp_min\n", "want rows"),
        ("date,highs\n2020-01-01,3\n", "want daily highs"),
        ("date,air_temperature_max_c,colour\n2020-01-01,3,red\n", "column is 'colour'"),
        ("date,air_temperature_max_c\n2020-13-01,3\n", "want a day"),
        ("date,air_temperature_max_c\nyesterday,3\n", "want a day"),
        ("date,air_temperature_max_c\n2020-01-01,warm\n", "want a number"),
        ("date,air_temperature_max_c\n2020-01-01,3,4\n", "want 2 as the header has"),
        ("date,air_temperature_max_c\n0001-01-01,3\n2020-01-01,3\n", "at most 300 years"),
        ("date,temp_max,temp_min\n2020-01-01,3,1\n", "state them: us, metric or tenths"),
        ("date,temp_max,temp_min\n2020-01-01,x,1\n2020-01-02,y,1\n", "temp_max is 'y'"),
    ],
)
def test_malformed_records_are_refused_line_by_line(tmp_path: Path, text: str, want: str) -> None:
    path = tmp_path / "record.csv"
    path.write_text(text)
    with pytest.raises(Faults) as caught:
        read_climate(path, site=SITE, start=START, hours=24)
    assert any(want in line for line in caught.value.lines()), caught.value.lines()
    assert all("record.csv" in line for line in caught.value.lines())


def test_impossible_days_are_gaps(tmp_path: Path) -> None:
    path = tmp_path / "record.csv"
    path.write_text(
        "date,air_temperature_max_c,air_temperature_min_c,precipitation_amount_mm\n"
        "2020-01-01,5,-3,0\n2020-01-02,99,-3,5000\n2020-01-03,-9,4,1\n2020-01-04,6,1,2\n"
        "2020-01-04,6,1,3\n"
    )
    record = daily(path)
    np.testing.assert_array_equal(np.isnan(record.columns[HIGH]), [False, True, True, False])
    np.testing.assert_array_equal(
        np.isnan(record.columns["precipitation_amount_mm"]), [False, True, False, True]
    )
    assert len(record.findings) == 4


def made_days(shift: int) -> str:
    """Two years of days whose lows follow the high before, highs written ``shift`` days late."""
    rng = np.random.default_rng(5)
    mean = np.cumsum(rng.normal(0, 3, 1500)) * 0.05 + rng.normal(0, 4, 1500)
    high = (mean[:-1:2] + mean[1::2]) / 2 + 6
    low = mean[::2] - 4
    rows = ["date,air_temperature_max_c,air_temperature_min_c"]
    for i in range(2, 700):
        day = np.datetime64("2018-01-01") + i
        rows.append(f"{day},{high[i - shift]:.1f},{min(low[i], high[i - shift]):.1f}")
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize(("shift", "told"), [(0, False), (1, True)])
def test_highs_written_down_a_day_late_are_noticed(tmp_path: Path, shift: int, told: bool) -> None:
    path = tmp_path / "record.csv"
    path.write_text(made_days(shift))
    found = any("a day late" in f.what for f in daily(path).findings)
    assert found == told


def test_a_morning_reading_goes_to_the_day_before(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    path.write_text(
        "date,attr,value,a,b,c,d\n20140102,TMAX,50,,,W,0700\n20140102,TMIN,-30,,,W,0700\n"
        "20140102,PRCP,12,,,W,0700\n20140103,TMIN,-10,,,W,0700\n"
    )
    record = daily(path)
    assert on(record, HIGH, "2014-01-01") == 5.0
    assert on(record, LOW, "2014-01-02") == -3.0
    assert on(record, "precipitation_amount_mm", "2014-01-01") == pytest.approx(1.2)
    assert any("3 values" in f.what or "morning" in f.what for f in record.findings)


def table(start: str, values: np.ndarray) -> HourlyTable:
    hours = np.datetime64(start, "h") + np.arange(values.size)
    return HourlyTable(start=hours, columns={"air_temperature_c": values})


def test_seasons_start_at_the_same_calendar_moment_and_run_over_new_year() -> None:
    long = table("2019-01-01T00", np.arange(24 * (365 + 366 + 365), dtype=float))
    start = datetime(2026, 12, 30, 6, tzinfo=UTC)
    years, columns = seasons(long, start=start, hours=72)
    assert years == (2018, 2019, 2020, 2021)
    early, *rows = columns["air_temperature_c"]
    assert np.isnan(early[:42]).all(), "the season before the record has only its end"
    assert list(early[42:44]) == [0, 1]
    begin = {2019: 24 * 363 + 6, 2020: 24 * (365 + 364) + 6, 2021: 24 * (365 + 366 + 363) + 6}
    for year, row in zip(years[1:], rows, strict=True):
        np.testing.assert_array_equal(row[:18], begin[year] + np.arange(18))
    assert np.isnan(rows[2][42:]).all(), "the last season runs past the record"


def test_a_typical_year_is_run_through_twice() -> None:
    year = table("2010-01-01T05", np.arange(8760.0))
    start = datetime(2026, 12, 31, 5, tzinfo=UTC)
    years, columns = seasons(year, start=start, hours=48, typical=True)
    assert years == (2010,)
    expected = [*range(8736, 8760), *range(24)]
    np.testing.assert_array_equal(columns["air_temperature_c"][0], expected)


def test_29_february_starts_on_1_march_elsewhere() -> None:
    long = table("2019-01-01T00", np.arange(24 * 365 * 2, dtype=float))
    years, columns = seasons(long, start=datetime(2028, 2, 29, tzinfo=UTC), hours=2)
    assert years == (2019, 2020)
    np.testing.assert_array_equal(columns["air_temperature_c"][:, 0], [24 * 59, 24 * (365 + 59)])
