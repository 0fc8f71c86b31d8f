"""Past years' weather at the place, one row a year, aligned to the season that is planned.

Row ``i`` starts at the calendar moment of ``start`` in the year ``years[i]`` and runs on hour by
hour, over New Year and 29 February alike: two rows are always the same number of hours from
their own hour zero. A gap is NaN and stays one; whoever builds scenarios decides which years are
whole enough, and says how many were left.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding, HourlyTable


@dataclass(frozen=True, slots=True)
class ClimateYears:
    """House columns by year and hour, each ``(years, hours)``, SI, hours labelled by beginning."""

    start: datetime  # UTC, whole hour; hour zero of the season that is planned
    years: tuple[int, ...]  # year in which each row's own hour zero lies, rising
    columns: Mapping[str, FloatArray]  # house columns, each (years, hours)
    station: str  # as the record names it
    shape: str = ""  # how daily values became hourly, with its source; "" for an hourly record
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    elevation_m: float | None = None
    identity: str = ""  # SHA-256 of the file as it came
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        hours = {values.shape[-1] for values in self.columns.values()}
        if len(hours) > 1:
            raise ValueError(f"columns have {sorted(hours)} hours, want one number")
        for name, values in self.columns.items():
            if values.ndim != 2 or values.shape[0] != len(self.years):
                raise ValueError(f"{name} is {values.shape}, want ({len(self.years)}, hours)")

    @property
    def hours(self) -> int:
        """Return the number of hours of each row."""
        return next((values.shape[-1] for values in self.columns.values()), 0)

    def column(self, name: str) -> FloatArray:
        """Return a column, all NaN where the record does not have it."""
        if name in self.columns:
            return self.columns[name]
        return np.full((len(self.years), self.hours), np.nan)

    def known(self, name: str) -> FloatArray:
        """Return the share of hours with a value, for each year, 0 to 1."""
        if self.hours == 0:
            return np.zeros(len(self.years))
        share: FloatArray = np.isfinite(self.column(name)).mean(axis=-1)
        return share


def seasons(
    table: HourlyTable, *, start: datetime, hours: int, typical: bool = False
) -> tuple[tuple[int, ...], dict[str, FloatArray]]:
    """Cut a long hourly record into seasons that begin at the calendar moment of ``start``.

    Parameters
    ----------
    table
        The record, columns ``(record hours,)``.
    start
        Hour zero of the season that is planned, UTC, a whole hour. A 29 February is taken as
        1 March in years that have none.
    hours
        Length of each season.
    typical
        The record is one made year that stands for all: it is run through twice, so that a
        season may go over New Year, and gives one row.

    Returns
    -------
    years, columns
        The years in which a season begins that has any value, rising; each column
        ``(years, hours)``, gaps as NaN.
    """
    begins = table.start.astype(np.int64)
    if begins.size == 0:
        return (), {}
    columns = dict(table.columns)
    if typical:
        columns = {name: np.concatenate((v, v), axis=-1) for name, v in columns.items()}
        begins = begins[0] + np.arange(2 * begins.size)
    first, last = (int(table.start[i].astype("datetime64[Y]").astype(int)) + 1970 for i in (0, -1))
    offsets = {
        year: _hour_zero(start, year) - int(begins[0])
        for year in range(max(first - 1, 1), last + 1)
    }
    if typical:
        offsets = {year: at for year, at in offsets.items() if 0 <= at < table.hours}
    years = sorted(offsets)
    cut = {
        name: {y: _window(v, at, hours) for y, at in offsets.items()}
        for name, v in columns.items()
    }
    kept = tuple(
        year for year in years if any(np.isfinite(rows[year]).any() for rows in cut.values())
    )
    return kept, {
        name: np.stack([rows[year] for year in kept]) if kept else np.empty((0, hours))
        for name, rows in cut.items()
    }


def _hour_zero(start: datetime, year: int) -> int:
    """Return hours since 1970 of the calendar moment of ``start`` in another year."""
    try:
        moment = start.replace(year=year)
    except ValueError:  # 29 February
        moment = start.replace(year=year, month=3, day=1)
    return int(moment.timestamp()) // 3600


def _window(values: FloatArray, at: int, hours: int) -> FloatArray:
    """Return ``hours`` values from place ``at`` on, NaN outside."""
    cut = np.full(hours, np.nan)
    low, high = max(at, 0), min(at + hours, values.shape[-1])
    if low < high:
        cut[low - at : high - at] = values[low:high]
    return cut
