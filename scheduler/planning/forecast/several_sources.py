"""Several forecasts of one place made into one: planned on the side that is worse for the work.

Where sources differ, the colder, wetter and windier value of each hour is planned on, and how far
they differ is told. In heat, where even the colder source is above 25 °C, the warmer one counts:
there the heat is what hurts. A stale source is left out and named. What only one source knows is
taken from it and told; nothing is averaged and nothing is made up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.tables.hours import (
    Alert,
    Finding,
    Forecast,
    HourArray,
    HourlyTable,
    PeriodChance,
    Provenance,
)

HOT_C: Final = 25.0  # well below the first hot-weather limit (90 °F); common practice, no source
MEMBERS: Final = "members_table"  # key of extras: an ensemble's table with all its members
COLDER: Final = frozenset({"air_temperature_c", "surface_temperature_c"})
LARGER: Final = frozenset({
    "precipitation_amount_mm", "precipitation_probability_pct", "snowfall_amount_mm",
    "ice_accumulation_mm", "snow_depth_mm", "wind_speed_ms", "wind_speed_of_gust_ms",
    "relative_humidity_pct", "cloud_area_fraction_pct", "thunderstorm_probability_pct",
})  # fmt: skip
# Further apart than this two sources disagree so much that a person should know: about one trade
# band, or the usual error of a first day's forecast; common practice, no source.
WORTH_TELLING: Final[Mapping[str, float]] = {
    "air_temperature_c": 3.0,
    "precipitation_amount_mm": 1.0,
    "precipitation_probability_pct": 30.0,
    "snowfall_amount_mm": 10.0,
    "wind_speed_ms": 3.0,
    "wind_speed_of_gust_ms": 5.0,
}


def combined(forecasts: Sequence[Forecast], *, now: datetime) -> Forecast:
    """Return one forecast from several of the same place.

    Parameters
    ----------
    forecasts
        In the order they are trusted: columns with no worse side (direction, sun, pressure, dew
        point) come from the first that knows the hour. Each ``(hours,)``.
    now
        The moment of judging; sources older than their age limit are left out.

    Returns
    -------
    Forecast
        Hours from the first beginning to the last end; findings tell what was left out, how far
        sources differ, and what only one of them knows. Where all are stale the first is
        returned as it is, so that its age is what is told.

    Raises
    ------
    ValueError
        If there are none.
    """
    if not forecasts:
        raise ValueError("no forecast to combine")
    fresh = [forecast for forecast in forecasts if not _stale(forecast.provenance, now)]
    left_out = tuple(
        Finding("", f"{f.provenance.source} is too old and left out: {_age(f.provenance, now)}")
        for f in forecasts
        if _stale(f.provenance, now)
    )
    if len(fresh) < 2:
        only = fresh[0] if fresh else forecasts[0]
        of = only.provenance
        told = left_out if fresh else ()
        return replace(only, provenance=replace(of, findings=(*of.findings, *told)))
    table, findings = _combined_hours(fresh)
    return Forecast(
        table=table,
        provenance=_provenance(fresh, (*left_out, *findings)),
        periods=_worse_periods(fresh),
        daily=next((f.daily for f in fresh if f.daily), ()),
        alerts=_all_alerts(fresh),
        extras=_extras(fresh),
    )


def _extras(fresh: Sequence[Forecast]) -> dict[str, object]:
    """Return what all sources add; members of one cannot speak for the side planned on."""
    told = {key: value for f in reversed(fresh) for key, value in f.extras.items()}
    return {key: value for key, value in told.items() if key != MEMBERS}


def _stale(of: Provenance, now: datetime) -> bool:
    return of.is_stale(now)


def _age(of: Provenance, now: datetime) -> str:
    age = of.age_h(now)
    return "no issue time" if age is None else f"{age:.0f} h, limit {of.age_limit_h:g} h"


def _combined_hours(fresh: Sequence[Forecast]) -> tuple[HourlyTable, list[Finding]]:
    starts = [f.table.start.astype(np.int64) for f in fresh if f.table.hours]
    zero = min((int(s[0]) for s in starts), default=0)
    hours = max((int(s[-1]) + 1 for s in starts), default=zero) - zero
    start = (zero + np.arange(hours)).astype("datetime64[h]")
    names = dict.fromkeys(name for f in fresh for name in f.table.columns)
    columns: dict[str, FloatArray] = {}
    findings: list[Finding] = []
    for name in names:
        told = np.stack([_laid(f.table, name, zero, hours) for f in fresh])
        columns[name] = _worse(name, told)
        findings += _differences(name, told, start, fresh)
    if {"air_temperature_c", "dew_point_temperature_c"} <= columns.keys():
        air = columns["air_temperature_c"]  # of another source, it may lie below the dew point
        columns["dew_point_temperature_c"] = np.minimum(columns["dew_point_temperature_c"], air)
    return HourlyTable(start=start, columns=columns), findings


def _laid(table: HourlyTable, name: str, zero: int, hours: int) -> FloatArray:
    laid = np.full(hours, np.nan)
    if table.hours:
        at = int(table.start[0].astype(np.int64)) - zero
        laid[at : at + table.hours] = table.column(name)
    return laid


def _worse(name: str, told: FloatArray) -> FloatArray:
    """Return of each hour the value that is worse for the work; ``told`` is (sources, hours)."""
    if name in COLDER:
        low: FloatArray = np.fmin.reduce(told)
        high: FloatArray = np.fmax.reduce(told)
        with np.errstate(invalid="ignore"):
            return np.where(low > HOT_C, high, low)
    if name in LARGER:
        larger: FloatArray = np.fmax.reduce(told)
        return larger
    first: FloatArray = told[0]
    for other in told[1:]:
        first = np.where(np.isnan(first), other, first)
    return first


def _differences(
    name: str, told: FloatArray, start: HourArray, fresh: Sequence[Forecast]
) -> list[Finding]:
    """Tell how far sources differ, and which hours only some of them know."""
    found = []
    known = np.isfinite(told).sum(axis=0)
    apart = np.where(known > 1, np.fmax.reduce(told) - np.fmin.reduce(told), 0.0)
    far = apart > WORTH_TELLING.get(name, np.inf)
    if far.any():
        at = int(np.argmax(apart))
        values = ", ".join(
            f"{f.provenance.source} {value:.1f}"
            for f, value in zip(fresh, told[:, at], strict=True)
            if np.isfinite(value)
        )
        found.append(
            Finding(name, f"sources differ, most at {start[at]}Z: {values}", int(far.sum()))
        )
    filled = np.isnan(told[0]) & (known > 0)
    if filled.any():
        first = fresh[0].provenance.source
        found.append(Finding(name, f"not known to {first}, taken from another", int(filled.sum())))
    return found


def _provenance(fresh: Sequence[Forecast], findings: tuple[Finding, ...]) -> Provenance:
    """Return the first source's place with the age of whichever runs out first."""
    first = fresh[0].provenance
    own = tuple(
        replace(finding, what=f"{f.provenance.source}: {finding.what}")
        for f in fresh
        for finding in f.provenance.findings
    )

    def runs_out(of: Provenance) -> float:
        issued = of.issued_at.timestamp() if of.issued_at is not None else 0.0
        return issued + of.age_limit_h * 3600.0

    soonest = min((f.provenance for f in fresh), key=runs_out)
    heights = {f.provenance.wind_height_m for f in fresh}
    return replace(
        first,
        source=" + ".join(f.provenance.source for f in fresh),
        issued_at=soonest.issued_at,
        age_limit_h=soonest.age_limit_h,
        wind_height_m=min(heights),  # read as lower, the same wind counts for more
        identity=" ".join(f.provenance.identity for f in fresh),
        findings=(*findings, *own),
    )


def _worse_periods(fresh: Sequence[Forecast]) -> tuple[PeriodChance, ...]:
    """Return every period that any source states; of equal periods the higher chance."""
    worst: dict[tuple[datetime, datetime], float] = {}
    for forecast in fresh:
        for period in forecast.periods:
            span = (period.start, period.end)
            chance = period.precipitation_probability_pct
            worst[span] = max(worst.get(span, 0.0), chance)
    return tuple(PeriodChance(*span, chance) for span, chance in sorted(worst.items()))


def _all_alerts(fresh: Sequence[Forecast]) -> tuple[Alert, ...] | None:
    """Return the alerts of all sources; None where no source was asked."""
    asked = [forecast.alerts for forecast in fresh if forecast.alerts is not None]
    return tuple(dict.fromkeys(a for alerts in asked for a in alerts)) if asked else None
