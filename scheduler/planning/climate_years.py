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
from scheduler.planning.hours import Finding


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
