"""Past hours put together: the site's own instruments first, stations near by where they are mute.

Each hour of each column is taken from the first source that knows it; nothing is averaged, and
what none knows stays a gap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding, Forecast, HourlyTable


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
