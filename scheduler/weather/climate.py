"""Past years at the place, from a station's record of days or hours."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Final

import numpy as np

from rules.errors import Faults, WeatherFileFault
from scheduler.planning.forecast.climate_years import ClimateYears, seasons
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Finding
from scheduler.weather.daily_grid import read_daily_grid
from scheduler.weather.files import LARGEST_FILE, bytes_of
from scheduler.weather.hourly_csv import read_hourly_csv
from scheduler.weather.json_text import decoded
from scheduler.weather.netcdf_place import is_netcdf
from scheduler.weather.place import distance_km
from scheduler.weather.records import (
    DAILY_COLUMNS,
    DailyRecord,
    HourlyRecord,
    Station,
    by_hour,
    plausible,
)
from scheduler.weather.station_daily import (
    LONGEST_D,
    is_dly,
    is_long,
    is_plain,
    is_wide,
    read_dly,
    read_long,
    read_wide,
)
from scheduler.weather.station_hourly import LONGEST_H, is_station_hours, read_station_hours
from scheduler.weather.station_table import Table, days_of, numbers_of, placed, read_table
from scheduler.weather.typical_years import is_epw, is_tmy3, read_typical_year

FEWEST_YEARS: Final = 10  # fewer leave a one in ten chance without a year to show it
STATION_HEADS: Final = ("STATION", "station", "location", "origin", "ID", "id")
WHOLE_SHARE: Final = 0.95  # of a season's hours, for a year that counts as whole
FAR_KM: Final = 50.0  # common practice, no source: beyond this a station is another climate
HIGH_M: Final = 150.0  # 1 K at the standard lapse rate (ICAO Doc 7488)


def read_climate(
    path: Path,
    *,
    site: Site,
    start: datetime,
    hours: int,
    station: str = "",
    units: str = "",
) -> ClimateYears:
    """Read a station's record from a file; takes and raises what :func:`parse_climate` does."""
    return parse_climate(
        bytes_of(path),
        path.name,
        site=site,
        start=start,
        hours=hours,
        station=station,
        units=units,
    )


def parse_climate(
    raw: bytes,
    file: str,
    *,
    site: Site,
    start: datetime,
    hours: int,
    station: str = "",
    units: str = "",
) -> ClimateYears:
    """Cut a station's record into seasons like the one that is planned.

    Parameters
    ----------
    raw
        GHCN-Daily (``.dly``, long or wide CSV), a daily CSV, an hourly CSV, a typical year
        (TMY3, EPW), or gridded daily NetCDF.
    file
        Its name, for messages.
    site
        Where the job stands: gives sunrise and local days.
    start
        Hour zero of the planned season, UTC, a whole hour.
    hours
        Length of the season.
    station
        Which station, where the file holds several.
    units
        ``us``, ``metric`` or ``tenths`` where the file does not tell and the caller knows.

    Raises
    ------
    Faults
        If the file cannot be used; one fault for each thing wrong.
    """
    here = site.latitude_deg, site.longitude_deg
    record = parse_record(raw, file, station=station, units=units, at=here)
    hourly = (
        by_hour(record, site.latitude_deg, site.longitude_deg)
        if isinstance(record, DailyRecord)
        else record
    )
    years, columns = seasons(hourly.table, start=start, hours=hours, typical=hourly.typical)
    if not years:
        want = "want a record that covers the season in at least one year"
        raise Faults([WeatherFileFault(file, "years", 0, want)])
    at = hourly.station
    read = ClimateYears(
        start=start,
        years=years,
        columns=columns,
        station=at.name,
        shape=hourly.shape,
        latitude_deg=at.latitude_deg,
        longitude_deg=at.longitude_deg,
        elevation_m=at.elevation_m,
        identity=at.identity,
    )
    return replace(read, findings=(*hourly.findings, *_about(read, site, hourly.typical)))


def parse_record(
    raw: bytes,
    file: str,
    *,
    station: str = "",
    units: str = "",
    at: tuple[float, float] | None = None,
) -> DailyRecord | HourlyRecord:
    """Read a record as it is; takes and raises what :func:`parse_climate` does.

    ``at`` is the site's latitude and longitude, by which a grid's cell is found.
    """
    if is_netcdf(raw):
        return read_daily_grid(raw, file, at)
    text = decoded(raw, file, LARGEST_FILE)
    identity = hashlib.sha256(raw).hexdigest()
    if is_dly(text):
        return read_dly(text, file, identity)
    if is_tmy3(text) or is_epw(text):
        return read_typical_year(raw, file)
    first = text[:4000].split("\n", 1)[0]
    if first.startswith("#") or "time" in (head.strip() for head in first.split(",")):
        return _house_hours(raw, file, identity)
    table = read_table(text, file)
    if table.has("date") and set(table.heads) & set(DAILY_COLUMNS):
        return _house_days(table, identity)
    if is_long(table):
        return read_long(table, identity, station)
    if is_wide(table) or is_plain(table):
        return read_wide(table, identity, station, units)
    if is_station_hours(table):
        return read_station_hours(table, identity, station, units)
    want = (
        "want daily highs, lows and rain, or hours: GHCN-Daily, a CSV with "
        f"date and {', '.join(list(DAILY_COLUMNS)[:3])}, an hourly CSV, TMY3, EPW or daily NetCDF"
    )
    heads = ",".join(table.heads)[:60]
    raise Faults([WeatherFileFault(file, "the header", heads, want, line=1)])


def stations_of(raw: bytes, file: str) -> tuple[str, ...]:
    """Return the stations that a record names, in order; empty where it names none."""
    if is_netcdf(raw):
        return ()
    text = decoded(raw, file, LARGEST_FILE)
    if is_dly(text) or is_tmy3(text) or is_epw(text):
        return ()
    table = read_table(text, file)
    head = next((head for head in STATION_HEADS if table.has(head)), None)
    return tuple(dict.fromkeys(table.texts(head))) if head else ()


def _house_hours(raw: bytes, file: str, identity: str) -> HourlyRecord:
    read = read_hourly_csv(raw, file, most_hours=LONGEST_H, most_bytes=LARGEST_FILE)
    of = read.provenance
    return HourlyRecord(
        station=Station(of.place or file, identity=identity),
        table=read.table,
        findings=of.findings,
    )


def _house_days(table: Table, identity: str) -> DailyRecord:
    """Read a daily CSV under the house's names, which state their units."""
    unknown = [head for head in table.heads if head not in {"date", *DAILY_COLUMNS}]
    if unknown:
        want = f"want date and {', '.join(DAILY_COLUMNS)}"
        raise Faults(
            WeatherFileFault(table.file, "column", head, want, line=1) for head in unknown
        )
    day = days_of(table, "date")
    first, count = day.min(), int((day.max() - day.min()).astype(np.int64)) + 1
    if count > LONGEST_D:
        want = "want a record of at most 300 years; mend the odd date"
        raise Faults([WeatherFileFault(table.file, "days", count, want)])
    at = (day - first).astype(np.int64)
    columns, findings = {}, []
    for head in table.heads:
        if head != "date":
            columns[head], twice = placed(at, numbers_of(table, head), count)
            if twice:
                what = f"{twice} days have two values; neither is used"
                findings.append(Finding(head, what, 24 * twice))
    record = DailyRecord(
        Station(table.file, identity=identity), first + np.arange(count), columns, tuple(findings)
    )
    return plausible(record)


def _about(read: ClimateYears, site: Site, typical: bool) -> list[Finding]:
    """Return what a person should know about how well the record stands for the site."""
    told = []
    whole = int((read.known("air_temperature_c") >= WHOLE_SHARE).sum())
    if typical:
        told.append("a made typical year: it has no cold or wet extremes and no spread")
    elif whole < FEWEST_YEARS:
        told.append(f"{whole} whole years of temperatures; {FEWEST_YEARS} or more are wanted")
    if read.latitude_deg is not None and read.longitude_deg is not None:
        here = (site.latitude_deg, site.longitude_deg)
        away = distance_km(here, (read.latitude_deg, read.longitude_deg))
        if away > FAR_KM:
            told.append(f"the station is {away:.0f} km from the site")
    if read.elevation_m is not None and abs(read.elevation_m - site.elevation_m) > HIGH_M:
        heights = f"{read.elevation_m:.0f} m, the site at {site.elevation_m:.0f} m"
        told.append(f"the station lies at {heights}")
    return [Finding("", what) for what in told]
