"""A grid file given as the weather of a job."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from rules.errors import CloseinError, Faults, WeatherUnavailable
from scheduler.planning.model.job import Site
from scheduler.weather.files import parse_weather, read_weather
from tests.recorded_data import recorded

DENVER = Site("yard", 39.74, -104.99, 1609.0, "America/Denver")


def test_a_grid_is_read_at_the_site() -> None:
    path = recorded("grib2", "nbm-conus-tmp2m-2025090100-f001.grib2")
    forecast = read_weather(path, DENVER)
    (air,) = forecast.table.column("air_temperature_c")
    assert 276.1 - 273.15 <= air <= 320.1 - 273.15, "the file's own range"
    assert forecast.provenance.distance_km is not None
    assert forecast.provenance.distance_km < 2.0, "half the diagonal of a 2.5 km cell"


def test_a_heading_before_the_first_message_is_passed_over() -> None:
    path = recorded("grib2", "ndfd-conus-maxt-2011092922.grib2")
    assert not path.read_bytes().startswith(b"GRIB")
    forecast = read_weather(path, DENVER)
    assert all(np.isfinite(day.values["air_temperature_max_c"]) for day in forecast.daily)


def test_a_grid_needs_a_site() -> None:
    path = recorded("grib2", "nbm-conus-tmp2m-2025090100-f001.grib2")
    with pytest.raises(Faults, match="give a job file or --site"):
        read_weather(path)


def test_a_site_off_the_grid_is_not_covered() -> None:
    path = recorded("grib2", "nbm-conus-tmp2m-2025090100-f001.grib2")
    with pytest.raises(WeatherUnavailable, match="does not cover the site"):
        read_weather(path, Site("far", 0.0, 0.0, 0.0, "UTC"))


@pytest.mark.parametrize(
    "raw",
    [b"GRIB", b"GRIB\0\0\0\2" + b"\0" * 30, b"CDF\x01" + b"\0" * 40, b"\x89HDF\r\n\x1a\n"],
)
def test_a_damaged_grid_is_a_line(tmp_path: Path, raw: bytes) -> None:
    with pytest.raises(CloseinError) as caught:
        parse_weather(raw + b"\0", "grid.grib2", DENVER)
    assert all("grid.grib2" in line for line in caught.value.lines())


@pytest.mark.parametrize("text", ['{"format": "closein-grid/1"}', '{"format": "closein-grid/9"}'])
def test_a_damaged_kept_grid_is_a_line(text: str) -> None:
    with pytest.raises(Faults, match="want a kept answer"):
        parse_weather(text.encode(), "kept.json", DENVER)
