"""Typical years and daily grids as past years, beside independent readers of the same files."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import h5py
import numpy as np
import pvlib
import pytest

from rules.errors import Faults
from scheduler.planning.model.job import Site
from scheduler.weather.climate import parse_climate, parse_record
from scheduler.weather.records import HIGH, LOW, DailyRecord, HourlyRecord
from tests.recorded_data import recorded

GREENSBORO = Site("yard", 36.1, -79.95, 270.0, "America/New_York")
MONTREAL = (45.5, -73.6)


def hours_of(raw: bytes, name: str) -> HourlyRecord:
    record = parse_record(raw, name)
    assert isinstance(record, HourlyRecord)
    return record


def test_tmy3_has_the_values_that_pvlib_reads() -> None:
    """What stands at 13:00 standard time was seen at 13:00: pvlib's column, hour by hour."""
    path = recorded("obs", "tmy3-greensboro-nc-723170.csv")
    table = hours_of(path.read_bytes(), path.name).table
    frame, _ = pvlib.iotools.read_tmy3(path, coerce_year=2001, map_variables=True)
    utc = frame.index.tz_convert("UTC")
    place = {(t.month, t.day, t.hour): n for n, t in enumerate(utc)}
    stamps = table.start.astype("datetime64[h]").astype(object)
    rows = np.array([place[(t.month, t.day, t.hour)] for t in stamps])
    for column, name in (("air_temperature_c", "temp_air"), ("wind_speed_ms", "wind_speed")):
        ours, theirs = table.column(column), frame[name].to_numpy()[rows]
        known = np.isfinite(ours)
        assert known.mean() > 0.99
        assert np.abs(ours[known] - theirs[known]).max() < 1e-6


def test_a_typical_year_is_one_year_and_says_so() -> None:
    path = recorded("obs", "tmy3-greensboro-nc-723170.csv")
    years = parse_climate(
        path.read_bytes(), path.name, site=GREENSBORO,
        start=datetime(2026, 10, 1, 12, tzinfo=UTC), hours=24 * 60,
    )  # fmt: skip
    told = " ".join(finding.what for finding in years.findings)
    assert "a made typical year: it has no cold or wet extremes and no spread" in told
    assert len(years.years) == 1


def test_a_daily_grid_gives_its_nearest_cell() -> None:
    """The file's own arrays, read by h5py: kelvins to °C, the nearest of its five places."""
    path = recorded("obs", "era5-daily-canadiancities-1990-1993.nc")
    record = parse_record(path.read_bytes(), path.name, at=MONTREAL)
    assert isinstance(record, DailyRecord)
    with h5py.File(path) as file:
        lat, lon = np.asarray(file["lat"]), np.asarray(file["lon"])
        lon = np.where(lon > 180, lon - 360, lon)
        near = int(np.argmin((lat - MONTREAL[0]) ** 2 + (lon - MONTREAL[1]) ** 2))
        high, low = (np.asarray(file[name])[near] - 273.15 for name in ("tasmax", "tasmin"))
        rain = np.asarray(file["pr"])[near] * 86400.0
    known = np.isfinite(record.columns[HIGH])
    assert known.mean() > 0.99
    assert np.abs(record.columns[HIGH] - high)[known].max() < 1e-3
    assert np.abs(record.columns[LOW] - low)[np.isfinite(record.columns[LOW])].max() < 1e-3
    ours = record.columns["precipitation_amount_mm"]
    assert np.nansum(ours) == pytest.approx(float(np.maximum(rain, 0).sum()), rel=1e-3)
    assert record.day[0] == np.datetime64("1990-01-01")


def epw(air: float = 5.0, *, rows: int = 8760) -> bytes:
    """Write an EPW of one temperature; its fields as the data dictionary lists them."""
    head = ["LOCATION,Made,ST,USA,made,999999,44.31,-75.12,-5.0,125.0"]
    head += ["DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0"]
    head += ["HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0", "COMMENTS 1,made", "COMMENTS 2,made"]
    head += ["DATA PERIODS,1,1,Data,Sunday,1/1,12/31"]
    start = np.datetime64("2001-01-01T00")
    lines = []
    for number in range(rows):
        stamp = (start + np.timedelta64(number, "h")).astype(object)
        moment = f"2001,{stamp.month},{stamp.day},{stamp.hour + 1},60,A"
        rest = f"{air},1.0,70,101325,0,0,300,0,0,0,0,0,0,0,270,3.5,5,5,10.0,77777,9,999999999"
        lines.append(f"{moment},{rest},20,0.1,0,88,0.2,0.0,0.0")
    return "\n".join([*head, *lines, ""]).encode()


def test_epw_has_the_values_that_pvlib_reads(tmp_path: Path) -> None:
    path = tmp_path / "made.epw"
    path.write_bytes(epw())
    table = hours_of(path.read_bytes(), path.name).table
    frame, _ = pvlib.iotools.read_epw(path)
    assert table.hours == len(frame) == 8760
    assert np.allclose(table.column("air_temperature_c"), frame["temp_air"].iloc[0])
    assert np.allclose(table.column("wind_speed_ms"), frame["wind_speed"].iloc[0])


@pytest.mark.parametrize("spoilt", [epw(rows=100), epw().replace(b",5.0,", b",warm,", 3)])
def test_a_spoilt_typical_year_is_refused_in_plain_words(spoilt: bytes) -> None:
    with pytest.raises(Faults) as raised:
        parse_record(spoilt, "made.epw")
    assert all(line.startswith("made.epw") for line in raised.value.lines())
