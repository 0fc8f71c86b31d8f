"""Past hours put together: the site's own instruments first, stations near by where they are mute.

Each hour of each column is taken from the first source that knows it; nothing is averaged, and
what none knows stays a gap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.model.calendars import whole_hour_from
from scheduler.planning.tables.finish import BoolArray
from scheduler.planning.tables.hours import Finding, Forecast, HourlyTable

LAG_H: Final = 6  # longest hole in a record that a forecast fills; common practice, no source
AIR: Final = "air_temperature_c"


def filled(sources: Sequence[Forecast]) -> Forecast:
    """Return the hours of the first source, their gaps filled from the next ones.

    Parameters
    ----------
    sources
        In the order they are trusted, each ``(hours,)``.

    Raises
    ------
    ValueError
        If there are none.
    """
    if not sources:
        raise ValueError("nothing was observed")
    if len(sources) == 1:
        return sources[0]
    starts = [s.table.start.astype(np.int64) for s in sources if s.table.hours]
    zero = min((int(s[0]) for s in starts), default=0)
    hours = max((int(s[-1]) + 1 for s in starts), default=zero) - zero
    names = dict.fromkeys(name for s in sources for name in s.table.columns)
    columns: dict[str, FloatArray] = {}
    findings: list[Finding] = []
    for name in names:
        columns[name] = np.full(hours, np.nan)
        for source in (s for s in sources if name in s.table and s.table.hours):
            findings += _fill(columns[name], name, source, zero, told=source is not sources[0])
    of = sources[0].provenance
    own = tuple(f for s in sources for f in s.provenance.findings)
    return replace(
        sources[0],
        table=HourlyTable((zero + np.arange(hours)).astype("datetime64[h]"), columns),
        daily=next((s.daily for s in sources if s.daily), ()),
        provenance=replace(
            of,
            source=" + ".join(s.provenance.source for s in sources),
            place="; ".join(s.provenance.place for s in sources if s.provenance.place),
            findings=(*findings, *own),
        ),
    )


def _fill(
    values: FloatArray, name: str, source: Forecast, zero: int, *, told: bool
) -> list[Finding]:
    """Fill gaps in place and, where ``told``, say how many hours came from here."""
    at = int(source.table.start[0].astype(np.int64)) - zero
    part = values[at : at + source.table.hours]
    given = source.table.column(name)
    fills = np.isnan(part) & np.isfinite(given)
    part[fills] = given[fills]
    if not told or not fills.any():
        return []
    return [Finding(name, f"past hours from {source.provenance.source}", int(fills.sum()))]


def until(observed: Forecast, now: datetime) -> Forecast:
    """Return what was observed in whole hours before a moment; later ones do not exist yet."""
    keep = observed.table.start.astype(np.int64) < int(now.timestamp() // 3600)
    if keep.all():
        return observed
    columns = {name: values[..., keep] for name, values in observed.table.columns.items()}
    return replace(observed, table=HourlyTable(observed.table.start[keep], columns))


def bridged(
    observed: HourlyTable | None, told: Sequence[Forecast], *, moment: datetime
) -> HourlyTable:
    """Return the hours before a moment: as observed, short holes as they had been forecast.

    A record lags, misses an hour now and then, and knows nothing of the hour that is running.
    Holes of more than ``LAG_H`` hours stay holes.

    Parameters
    ----------
    observed : HourlyTable, optional
        ``(hours,)`` or ``(1, hours)``.
    told : Forecast
        Forecasts that were kept, oldest first; of an hour the newest counts.
    moment : datetime
        UTC; its running hour belongs to what is before it.

    Returns
    -------
    HourlyTable
        ``(hours,)`` up to the first whole hour not before the moment.
    """
    end = int(whole_hour_from(moment).timestamp() // 3600)
    has = observed is not None and observed.hours > 0
    seen = int(observed.start[0].astype(np.int64)) if has and observed is not None else end
    first = min(seen, end - LAG_H)
    names = {AIR, *(observed.columns if observed is not None else ())}
    names |= {name for one in told for name in one.table.columns}
    columns = {name: np.full(end - first, np.nan) for name in sorted(names)}
    if observed is not None:
        _lay(columns, observed, first, np.ones(end - first, dtype=np.bool_))
    holes = _short(np.isnan(columns[AIR]))
    for one in reversed(told):
        _lay(columns, one.table, first, holes & np.isnan(columns[AIR]))
    return HourlyTable(np.arange(first, end).astype("datetime64[h]"), columns)


def _lay(columns: dict[str, FloatArray], table: HourlyTable, first: int, where: BoolArray) -> None:
    """Put a table's values in their hours where they are wanted."""
    if not table.hours:
        return
    at = np.arange(where.size) + first - int(table.start[0].astype(np.int64))
    inside = where & (at >= 0) & (at < table.hours)
    for name, values in table.columns.items():
        columns[name][inside] = np.atleast_2d(values)[0, at[inside]]


def _short(holes: BoolArray) -> BoolArray:
    """Return the holes of no more than ``LAG_H`` hours."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holes, [False]]).astype(np.int8)))
    short = np.zeros_like(holes)
    for low, high in edges.reshape(-1, 2):
        short[low:high] = high - low <= LAG_H
    return short
