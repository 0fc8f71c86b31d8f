"""NetCDF as a forecast: made by one library, read by ours, held against h5py's own reading."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import h5netcdf
import numpy as np
import pytest

from rules.errors import Faults
from scheduler.cli import main
from scheduler.planning.model.job import Site
from scheduler.weather.files import parse_weather
from tests.demo_job import demo_job

SITE = Site("Heron Ferry", 44.31, -75.12, 125.0, "America/New_York")
LAT, LON = np.arange(44.0, 45.01, 0.25), np.arange(284.0, 286.01, 0.25)  # 0 to 360, as models have
ROW, COLUMN = 1, 4  # 44.25, 285.0 is nearest


def grid_file(
    *,
    hours: int = 48,
    step: int = 1,
    time_units: str = "hours since 2026-11-09 10:00:00",
    bounds: str = "",
    change: dict[str, dict[str, Any]] | None = None,
) -> bytes:
    """Return a made forecast; temperature is the hour plus ten times the row, in K."""
    out = io.BytesIO()
    count = hours // step
    with h5netcdf.File(out, "w") as data:
        data.dimensions = {"time": count, "lat": LAT.size, "lon": LON.size, "nv": 2}
        time = data.create_variable("time", ("time",), float, data=np.arange(count) * float(step))
        time.attrs["units"] = time_units
        for name, values, unit in (("lat", LAT, "degrees_north"), ("lon", LON, "degrees_east")):
            data.create_variable(name, (name,), float, data=values).attrs["units"] = unit
        issued = data.create_variable("issued", (), float, data=-2.0)
        issued.attrs["units"] = time_units
        issued.attrs["standard_name"] = "forecast_reference_time"
        if bounds:
            time.attrs["bounds"] = "edges"
            shift = -float(step) if bounds == "end" else 0.0
            edges = np.arange(count)[:, None] * step + np.array([0.0, step]) + shift
            data.create_variable("edges", ("time", "nv"), float, data=edges)
        hour = np.arange(count)[:, None, None] * float(step)
        row = 10.0 * np.arange(LAT.size)[None, :, None]
        field = 273.15 + hour + row + 0.01 * np.arange(LON.size)
        columns: dict[str, dict[str, Any]] = {
            "t2m": {"data": field, "standard_name": "air_temperature", "units": "K"},
            "gust": {"data": field * 0 + 36, "standard_name": "wind_speed_of_gust",
                     "units": "km h-1"},
            "rh": {"data": field * 0 + 0.7, "standard_name": "relative_humidity", "units": "1"},
            "pr": {"data": field * 0 + hour, "standard_name": "precipitation_amount",
                   "units": "mm"},
        }  # fmt: skip
        for name, told in {**columns, **(change or {})}.items():
            kept = {**columns.get(name, {}), **told}
            one = data.create_variable(name, ("time", "lat", "lon"), float, data=kept.pop("data"))
            for key, value in kept.items():
                one.attrs[key] = value
    return out.getvalue()


def test_the_nearest_cell_by_the_hour_in_house_units() -> None:
    told = parse_weather(grid_file(hours=40), "made.nc", SITE)
    air = told.table.column("air_temperature_c")
    assert air == pytest.approx(np.arange(40.0) + 10.0 * ROW + 0.01 * COLUMN, abs=1e-9)
    assert told.table.column("wind_speed_of_gust_ms") == pytest.approx(10.0)
    assert told.table.column("relative_humidity_pct") == pytest.approx(70.0)
    assert told.table.start[0] == np.datetime64("2026-11-09T10", "h")
    assert told.provenance.issued_at == datetime(2026, 11, 9, 8, tzinfo=UTC)
    assert (told.provenance.latitude_deg, told.provenance.longitude_deg) == (44.25, -75.0)


def test_three_hours_run_straight_and_amounts_are_shared_out_and_kept() -> None:
    """Amounts of 0, 3, 6 ... mm over three hours: 0, 1, 2 ... mm in each; the sum stays."""
    told = parse_weather(grid_file(step=3), "made.nc", SITE)
    air = told.table.column("air_temperature_c")
    assert air[:46] == pytest.approx(np.arange(46.0) + 10.0 * ROW + 0.01 * COLUMN)
    assert np.isnan(air[46:]).all()  # after the last step nobody said anything
    rain = told.table.column("precipitation_amount_mm")
    assert rain.sum() == pytest.approx(sum(range(0, 48, 3)))
    assert rain[3:6].tolist() == [1.0, 1.0, 1.0]


def test_bounds_say_whether_an_amount_lies_before_or_after_its_time() -> None:
    after = parse_weather(grid_file(bounds="begin"), "made.nc", SITE)
    before = parse_weather(grid_file(bounds="end"), "made.nc", SITE)
    rain = [one.table.column("precipitation_amount_mm") for one in (after, before)]
    assert rain[0][:3].tolist() == [0.0, 1.0, 2.0]
    assert rain[1][:3].tolist() == [1.0, 2.0, 3.0]
    assert np.isnan(rain[1][-1])
    silent = parse_weather(grid_file(), "made.nc", SITE)
    assert any("no bounds" in f.what for f in silent.provenance.findings)


def test_packed_values_and_gaps_are_read_as_the_file_says() -> None:
    packed = np.full((48, LAT.size, LON.size), 100.0)
    packed[5] = -999.0
    change = {"t2m": {"data": packed, "scale_factor": 0.1, "add_offset": 273.15,
                      "_FillValue": -999.0}}  # fmt: skip
    air = parse_weather(grid_file(change=change), "made.nc", SITE).table.column(
        "air_temperature_c"
    )
    assert np.isnan(air[5])
    assert np.delete(air, 5) == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("made", "said"),
    [
        ({"step": 24, "hours": 96}, "want even steps of 1, 3, 6 h"),
        ({"time_units": "fortnights since 2026-11-09"}, "want days or hours since"),
        ({"time_units": "hours since 2026-11-09 10:30:00"}, "want whole hours, UTC"),
        ({"hours": 24 * 60}, "want at most"),
    ],
)
def test_what_is_no_forecast_by_hours_is_refused(made: dict[str, Any], said: str) -> None:
    with pytest.raises(Faults, match=said):
        parse_weather(grid_file(**made), "made.nc", SITE)


def test_a_unit_that_is_not_known_is_left_out_and_told() -> None:
    told = parse_weather(grid_file(change={"gust": {"units": "furlong"}}), "made.nc", SITE)
    assert "wind_speed_of_gust_ms" not in told.table
    assert any("furlong" in finding.what for finding in told.provenance.findings)


def test_a_site_off_the_grid_is_refused_and_a_cut_file_is_one_fault() -> None:
    far = Site("far", 10.0, 10.0, 0.0, "UTC")
    with pytest.raises(Faults, match="does not cover"):
        parse_weather(grid_file(), "made.nc", far)
    with pytest.raises(Faults):
        parse_weather(grid_file()[:3000], "made.nc", SITE)


def test_the_command_judges_on_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "grid.nc"
    path.write_bytes(grid_file(hours=96))
    asked = ["--weather", str(path), "--at", "2026-11-09T06:00", "--json"]
    assert main(["today", str(demo_job(tmp_path)), *asked]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["weather"]["source"] == "netcdf"
    assert told["tasks"]
