"""From a cut to a forecast: columns side by side, wind from its parts, height, daily extremes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.columns import columns
from rules.errors import WeatherUnavailable
from rules.verdict import FloatArray
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import (
    DailyRow,
    Finding,
    Forecast,
    HourlyTable,
    PeriodChance,
    Provenance,
)
from scheduler.weather.grids.cells import Method, lapse
from scheduler.weather.grids.cut import CellAt, Cut, PointValue, cut_files
from scheduler.weather.grids.decode import Decoder
from scheduler.weather.grids.site_hours import DIRECTION, Laid, bridge, group_points, lay
from scheduler.weather.screen import screened

SOURCE: Final = "grid"
HOURLY_AGE_LIMIT_H: Final = 12.0  # settings of the service for hourly grids and global models
GLOBAL_AGE_LIMIT_H: Final = 24.0
AIR: Final = "air_temperature_c"
DEW: Final = "dew_point_temperature_c"
# Local hours in which a day's extreme falls, so that an interval that leaves them out cannot
# stand for the day; common practice, no source.
EXTREMES: Final = {"air_temperature_max_c": (12, 16), "air_temperature_min_c": (3, 7)}


@dataclass(frozen=True, slots=True)
class Reading:
    """How grids are read; a job or the settings may choose."""

    method: Method = Method.NEAREST
    lapse_rate_c_per_km: float | None = None  # None: the cell's temperature as it is
    source: str = SOURCE
    age_limit_h: float | None = None  # None: 12 h, for a global grid 24 h


def read_grid_files(
    paths: Sequence[Path],
    site: Site,
    reading: Reading | None = None,
    decoder: Decoder | None = None,
) -> Forecast:
    """Read the forecast of a site from GRIB2 files of one model.

    Parameters
    ----------
    paths
        Any number of files, in any order; members of an ensemble become the leading axis.
    site
        Where the job stands.
    reading
        Nearest cell or bilinear, lapse rate, names.
    decoder
        A decoder to use again and again; without it one is started and ended.

    Raises
    ------
    Faults
        If no file can be used; one fault for each.
    WeatherUnavailable
        If the grids do not cover the site.
    """
    how = reading or Reading()
    if decoder is not None:
        return forecast_of(cut_files(paths, site, method=how.method, decoder=decoder), site, how)
    with Decoder() as own:
        return forecast_of(cut_files(paths, site, method=how.method, decoder=own), site, how)


def forecast_of(cut: Cut, site: Site, reading: Reading | None = None) -> Forecast:
    """Make the forecast from a cut; pure."""
    how = reading or Reading()
    groups = group_points(cut.points)
    findings = list(cut.findings)
    height = _cell_height(groups.pop("cell_height", []))
    extremes = {name: groups.pop(name) for name in EXTREMES if name in groups}
    laid = {name: lay(name, points) for name, points in groups.items()}
    found, wind_findings = _with_wind(laid, cut.cells)
    for name, one in found.items():
        bridge(name, one)
    findings += [*(f for one in found.values() for f in one.findings), *wind_findings]
    start, table, members = _side_by_side(found)
    findings += _to_site_height(table, height, site, how)
    table, screen_findings = _screened(start, table)
    used = [p for points in (*groups.values(), *extremes.values()) for p in points]
    if not used:
        raise WeatherUnavailable("the grid files hold the ground's height, but no weather")
    provenance = _provenance(cut, used, height, how)
    return Forecast(
        table=HourlyTable(start=start, columns=table),
        provenance=_told(provenance, [*findings, *screen_findings, *_origin_findings(cut, used)]),
        periods=_periods(groups.get("precipitation_probability_pct", [])),
        daily=_daily(extremes, site),
        extras={"members": members} if members else {},
    )


def _cell_height(points: Sequence[PointValue]) -> float | None:
    heights = [float(p.row.house(np.array([p.value]))[0]) for p in points if np.isfinite(p.value)]
    return heights[0] if heights else None


def _with_wind(
    laid: dict[str, Laid], cells: Mapping[str, CellAt]
) -> tuple[dict[str, Laid], list[Finding]]:
    """Replace the wind's parts by speed and direction, turned to true north where needed."""
    found = {n: one for n, one in laid.items() if n in columns()}
    east, north = laid.get("eastward_wind"), laid.get("northward_wind")
    if east is None and north is None:
        return found, []
    name = "wind_speed_ms"
    if east is None or north is None or not _together(east, north):
        what = "only one of the wind's two parts is there; no speed from it"
        return found, [] if name in found else [Finding(name, what)]
    turn = cells[east.grid_key].eastward_turn
    u, v = east.values, north.values
    true_u, true_v = (u * np.cos(turn) + v * np.sin(turn), v * np.cos(turn) - u * np.sin(turn))
    if name not in found:
        found[name] = _like(east, np.hypot(u, v))
    if DIRECTION not in found:
        found[DIRECTION] = _like(east, np.degrees(np.arctan2(-true_u, -true_v)) % 360.0)
    return found, []


def _together(a: Laid, b: Laid) -> bool:
    same = a.grid_key == b.grid_key and a.members == b.members and a.first == b.first
    return same and a.values.shape == b.values.shape


def _like(laid: Laid, values: FloatArray) -> Laid:
    return replace(laid, values=values, findings=[])


def _side_by_side(
    found: Mapping[str, Laid],
) -> tuple[np.ndarray, dict[str, FloatArray], tuple[str, ...]]:
    """Return hours, columns (hours,) or (members, hours) on them, and the members' names."""
    if not found:
        return np.zeros(0, dtype="datetime64[h]"), {}, ()
    first = min(one.first for one in found.values())
    last = max(one.first + one.values.shape[-1] for one in found.values())
    members = sorted({m for one in found.values() for m in one.members if m is not None})
    table = {}
    for name, one in found.items():
        rows = len(members) if one.members != (None,) else 1
        values = np.full((rows, last - first), np.nan)
        at = slice(one.first - first, one.first - first + one.values.shape[-1])
        for row, member in zip(one.values, one.members, strict=True):
            values[0 if member is None else members.index(member), at] = row
        table[name] = values[0] if one.members == (None,) else values
    start = (first + np.arange(last - first)).astype("datetime64[h]")
    return start, table, tuple(_member_name(*m) for m in members)


def _member_name(kind: int, number: int) -> str:
    """Return a member's name; kinds 0 and 1 of code table 4.6 are unperturbed."""
    return "control" if kind in (0, 1) else f"member {number}"


def _to_site_height(
    table: dict[str, FloatArray], height: float | None, site: Site, how: Reading
) -> list[Finding]:
    """Correct the air's temperature for height, in place, where that is asked for."""
    rate = how.lapse_rate_c_per_km
    if rate is None or AIR not in table:
        return []
    if height is None or not math.isfinite(site.elevation_m):
        of = "the files do not give the ground's" if height is None else "nobody gives the site's"
        return [Finding(AIR, f"{of} height; air temperature is not corrected for it")]
    table[AIR] = lapse(table[AIR], height, site.elevation_m, rate)
    if DEW in table:  # air cooled past its dew point stays saturated
        table[DEW] = np.minimum(table[DEW], table[AIR])
    rise = site.elevation_m - height
    what = f"corrected by {-rate * rise / 1000.0:+.1f} K for {rise:+.0f} m at {rate:g} K/km"
    return [Finding(AIR, what, int(table[AIR].shape[-1]))]


def _screened(
    start: np.ndarray, table: dict[str, FloatArray]
) -> tuple[dict[str, FloatArray], list[Finding]]:
    """Screen each member by itself; a finding is told once, with the hours of all of them."""
    counts = {values.shape[0] for values in table.values() if values.ndim == 2}
    kept: dict[str, list[FloatArray]] = {name: [] for name in table}
    told: dict[tuple[str, str], Finding] = {}
    for member in range(max(counts, default=1)):
        one = {n: v[member] if v.ndim == 2 else v for n, v in table.items()}
        good, findings = screened(start, one)
        for name, values in good.items():
            kept[name].append(values)
        for finding in findings:
            told.setdefault((finding.column, finding.what), finding)
    result = {n: np.stack(rows) if table[n].ndim == 2 else rows[0] for n, rows in kept.items()}
    return result, list(told.values())


def _provenance(
    cut: Cut, used: Sequence[PointValue], height: float | None, how: Reading
) -> Provenance:
    """Say which cell speaks, and date the forecast by its oldest run."""
    at = cut.cells[used[0].grid_key]
    limit = GLOBAL_AGE_LIMIT_H if at.is_global else HOURLY_AGE_LIMIT_H
    cell = f"row {at.row}, column {at.column} of {at.grid}"
    return Provenance(
        source=how.source,
        issued_at=min(p.product.reference for p in used),
        fetched_at=None,
        age_limit_h=how.age_limit_h or limit,
        place=cell if at.method is Method.NEAREST else f"four cells around {cell}",
        latitude_deg=at.latitude_deg,
        longitude_deg=at.longitude_deg,
        elevation_m=height,
        distance_km=at.distance_km,
        identity=cut.identity,
    )


def _told(provenance: Provenance, findings: Sequence[Finding]) -> Provenance:
    return replace(provenance, findings=tuple(findings))


def _origin_findings(cut: Cut, used: Sequence[PointValue]) -> list[Finding]:
    """Tell of several runs or places, and of columns without a value at the site's cell."""
    runs = sorted({p.product.reference for p in used})
    places = {
        (cut.cells[p.grid_key].latitude_deg, cut.cells[p.grid_key].longitude_deg) for p in used
    }
    findings = []
    if len(runs) > 1:
        said = ", ".join(f"{run:%Y-%m-%dT%H:%MZ}" for run in runs[:4])
        findings.append(Finding("", f"columns come from {len(runs)} runs: {said}"))
    if len(places) > 1:
        findings.append(Finding("", f"columns come from cells at {len(places)} different places"))
    known = {p.row.column for p in used if np.isfinite(p.value)}
    masked = sorted({p.row.column for p in used} - known)
    return findings + [Finding(c, "not covered: no value at the site's cell") for c in masked]


def _periods(points: Sequence[PointValue]) -> tuple[PeriodChance, ...]:
    """Return the chances of rain as the source states them."""
    return tuple(
        PeriodChance(p.product.start, p.product.end, p.value)
        for p in sorted(points, key=lambda p: p.product.minutes)
        if p.product.end > p.product.start and np.isfinite(p.value) and p.product.member is None
    )


def _daily(extremes: Mapping[str, Sequence[PointValue]], site: Site) -> tuple[DailyRow, ...]:
    """Return highs and lows of the local days whose decisive hours the intervals cover."""
    days: dict[str, dict[str, float]] = {}
    for name, points in extremes.items():
        for day, value in _by_day(name, points, ZoneInfo(site.time_zone)).items():
            days.setdefault(day, {})[name] = value
    return tuple(DailyRow(date=day, values=values) for day, values in sorted(days.items()))


def _by_day(name: str, points: Sequence[PointValue], zone: ZoneInfo) -> dict[str, float]:
    first_hour, last_hour = EXTREMES[name]
    outer = np.fmax if name.endswith("_max_c") else np.fmin
    spans = [(p.product.start, p.product.end, p) for p in points]
    result = {}
    for day in sorted({s.astimezone(zone).date() for s, _, _ in spans}):
        low, high = (
            datetime(day.year, day.month, day.day, hour, tzinfo=zone).astimezone(UTC)
            for hour in (first_hour, last_hour)
        )
        inside = [(s, e, p) for s, e, p in spans if s < high and e > low]
        if inside and _covers([(s, e) for s, e, _ in inside], low, high):
            values = [float(p.row.house(np.array([p.value]))[0]) for _, _, p in inside]
            value = float(outer.reduce(values))
            if np.isfinite(values).all():
                result[day.isoformat()] = value
    return result


def _covers(spans: Sequence[tuple[datetime, datetime]], low: datetime, high: datetime) -> bool:
    reached = low
    for start, end in sorted(spans):
        if start > reached:
            return False
        reached = max(reached, end)
    return reached >= high
