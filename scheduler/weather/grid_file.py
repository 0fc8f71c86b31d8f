"""A forecast from the bytes of a grid file, or from a kept cut of one."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import Final

from rules.errors import Faults, WeatherFileFault
from scheduler.planning.model.job import Site, SourceChoice
from scheduler.planning.tables.hours import Forecast
from scheduler.weather.grids.cells import Method
from scheduler.weather.grids.cut import Cutter
from scheduler.weather.grids.decode import Decoder
from scheduler.weather.grids.forecast import SOURCE, Reading, forecast_of
from scheduler.weather.grids.kept_cut import cut_from_text
from scheduler.weather.grids.public_models import models
from scheduler.weather.hourly_grid import read_hourly_grid

NETCDF_MARKS: Final = (b"CDF", b"\x89HDF")


def reading(choice: SourceChoice | None, source: str = SOURCE) -> Reading:
    """Return how a grid is read, as the job or the settings choose."""
    if choice is None:
        return Reading(source=source)
    return Reading(Method(choice.cells), choice.lapse_rate_c_per_km, source, choice.age_limit_h)


def parse_grid(
    raw: bytes, file: str, site: Site | None, choice: SourceChoice | None = None
) -> Forecast:
    """Return the forecast of a site from one GRIB2 or NetCDF file.

    Raises
    ------
    Faults
        If no field of it can be used, or no site is given.
    WeatherUnavailable
        If its grid does not cover the site.
    """
    if site is None:
        want = "a grid covers many places; give a job file or --site"
        raise Faults([WeatherFileFault(file, "site", None, want)])
    if raw.startswith(NETCDF_MARKS):
        return read_hourly_grid(raw, file, site)
    how = reading(choice)
    with Decoder() as decoder:
        cutter = Cutter(site, method=how.method, decoder=decoder)
        try:
            cutter.add(raw, file)
        except WeatherFileFault as fault:
            raise Faults([fault]) from fault
        return forecast_of(cutter.cut(hashlib.sha256(raw).hexdigest()), site, how)


def parse_kept_grid(raw: bytes, file: str, choice: SourceChoice | None = None) -> Forecast:
    """Return the forecast of a kept cut, ``closein-grid/1``; it is of the site it was made for.

    Raises
    ------
    Faults
        If the text is no kept cut.
    """
    cut, site, model, fetched_at = cut_from_text(raw, file)
    forecast = forecast_of(cut, site, _of_model(model, choice))
    provenance = replace(forecast.provenance, fetched_at=fetched_at)
    return replace(forecast, provenance=provenance)


def _of_model(model: str, choice: SourceChoice | None) -> Reading:
    """Return how a kept answer of a public model is read; the model's own age limit counts."""
    how = reading(choice, model)
    if how.age_limit_h is None and model in models():
        return replace(how, age_limit_h=models()[model].age_limit_h)
    return how
