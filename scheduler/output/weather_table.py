"""The hourly table as read: values in the job's units, gaps shown as gaps, and its age."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from rules.columns import columns
from rules.shown import SHOWN, SIGN
from rules.units import convert
from scheduler.output.words import clock, span, words
from scheduler.planning.model.job import Site
from scheduler.planning.reports.briefing import ahead
from scheduler.planning.tables.hours import Alert, Finding, Forecast

GAP = "·"


def weather_table(forecast: Forecast, site: Site, *, units: str, now: datetime) -> RenderableType:
    """Return provenance, gaps and the hours of a forecast."""
    names = [name for name in columns() if name in forecast.table]
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column(Text(f"Hour ({site.time_zone})"), no_wrap=True)
    for name in names:
        table.add_column(Text(_head(name, units)), justify="right")
    shown = [_shown(name, forecast, units) for name in names]
    for hour in range(forecast.table.hours):
        moment = forecast.table.start[hour].astype("datetime64[s]").item().replace(tzinfo=UTC)
        table.add_row(clock(moment, site.time_zone), *(column[hour] for column in shown))
    alerts = None if forecast.alerts is None else ahead(forecast.alerts, now)
    lines = [
        *provenance_lines(forecast, site, now),
        *alert_lines(alerts, site.time_zone),
        *gap_lines(forecast),
    ]
    return Group(*(Text(line) for line in lines), table)


def provenance_lines(forecast: Forecast, site: Site, now: datetime) -> list[str]:
    """Return where the hours come from and how old they are."""
    where = forecast.provenance
    age = where.age_h(now)
    issued = (
        "issue time not known"
        if where.issued_at is None
        else (f"issued {clock(where.issued_at, site.time_zone)}")
    )
    old = "age not known" if age is None else f"{age:.1f} h old"
    stale = (
        "" if age is None or age <= where.age_limit_h else f", past {where.age_limit_h:g} h: stale"
    )
    line = f"{where.source}: {issued}, {old}{stale}"
    if where.place:
        line += f"; {where.place}"
    if where.distance_km is not None:
        line += f", {where.distance_km:.1f} km from the site"
    if where.elevation_m is not None:
        line += (
            f", {where.elevation_m - site.elevation_m:+.0f} m against it"
            if math.isfinite(site.elevation_m)
            else f", at {where.elevation_m:.0f} m"
        )
    return [line, *noticed_lines(where.findings)]


def noticed_lines(findings: Sequence[Finding]) -> list[str]:
    """Return what reading the weather noticed: column, what, and how many hours it touches."""
    lines = []
    for finding in findings:
        column = f"{words(finding.column.rpartition('_')[0])}: " if finding.column else ""
        hours = f" ({finding.hours} h)" if finding.hours else ""
        lines.append(f"noticed: {column}{finding.what}{hours}")
    return lines


def alert_lines(alerts: Sequence[Alert] | None, zone: str) -> list[str]:
    """Return the warnings; that there is none, or that nobody asked, is never good news."""
    if alerts is None:
        return ["warnings: not asked for; look for them yourself"]
    if not alerts:
        return ["warnings: none in force when asked, which proves nothing"]
    return [
        f"WARNING: {alert.headline or alert.event}, {span(alert.start, alert.end, zone)}"
        f" [{alert.source}]"
        for alert in alerts
    ]


def gap_lines(forecast: Forecast) -> list[str]:
    """Return one line for each column that is absent, ends early or has gaps."""
    hours = forecast.table.hours
    lines = []
    for name in columns():
        if name not in forecast.table:
            continue
        known = np.isfinite(forecast.table.columns[name])
        if known.all():
            continue
        if not known.any():
            lines.append(f"{name}: no value in any hour")
            continue
        end = hours - int(known[..., ::-1].argmax(axis=-1).min())
        inside = int((~known[..., :end]).sum())
        parts = [f"{inside} h of gaps"] if inside else []
        if end < hours:
            parts.append(f"ends {hours - end} h before the rest")
        lines.append(f"{name}: {', '.join(parts)}")
    absent = [name for name in columns() if name not in forecast.table]
    return [*lines, f"not given: {', '.join(absent)}"] if absent else lines


def weather_document(forecast: Forecast, site: Site, *, now: datetime) -> dict[str, object]:
    """Return the same for ``--json``: hours in UTC, SI, gaps null."""
    return {
        "version": "closein-weather-read/1",
        "site": site,
        "provenance": forecast.provenance,
        "age_h": forecast.provenance.age_h(now),
        "time": [f"{hour}:00Z" for hour in forecast.table.start],
        "columns": {n: forecast.table.columns[n] for n in columns() if n in forecast.table},
        "gaps": gap_lines(forecast),
        "periods": forecast.periods,
        "daily": forecast.daily,
        "alerts": forecast.alerts,
    }


def _unit(name: str) -> str:
    unit = columns()[name].cf_unit
    return {"kg m-2": "mm", "m s-1": "m/s", "W m-2": "W/m2"}.get(unit, unit)


def _head(name: str, units: str) -> str:
    unit = SHOWN.get(units, {}).get(_unit(name), _unit(name))
    plain = name.rsplit("_", 1)[0].replace("_", " ")
    return f"{plain} [{SIGN.get(unit, unit)}]"


def _shown(name: str, forecast: Forecast, units: str) -> list[str]:
    values = forecast.table.columns[name]
    unit = _unit(name)
    to = SHOWN.get(units, {}).get(unit, unit)
    shown = convert(values, unit, to) if to != unit else values
    digits = 2 if to == "in" else 1
    return [GAP if np.isnan(value) else f"{value:.{digits}f}" for value in shown]
