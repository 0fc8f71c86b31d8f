"""The hourly table: weather by hour at one place, and where it came from.

Hours are UTC and labelled by their beginning. Columns are the house columns of
``rules/book/columns.toml``, SI, with the unit in the name. A gap is NaN. Time is the
last axis: ``(hours,)`` for one forecast, ``(scenarios, hours)`` for members or climate
years.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.verdict import FloatArray

# A cell of a global quarter-degree grid reaches 20 km from its middle; beyond twice that a
# forecast is for other weather. Common practice, no source.
ELSEWHERE_KM: Final = 40.0
HourArray = NDArray[np.datetime64]
CLOCKS_DIFFER_H: Final = 0.25  # of two machines that keep time; common practice, no source


@dataclass(frozen=True, slots=True)
class HourlyTable:
    """House columns by hour; ``start`` has one beginning for each hour, without holes."""

    start: HourArray  # (hours,) datetime64[h], UTC, one hour apart
    columns: Mapping[str, FloatArray]  # each (..., hours)

    def __post_init__(self) -> None:
        if self.start.dtype != np.dtype("datetime64[h]"):
            raise TypeError(f"start is {self.start.dtype}, want datetime64[h]")
        if self.start.size > 1 and not (np.diff(self.start).astype(np.int64) == 1).all():
            raise ValueError("hours have a hole; fill it with NaN before making a table")
        for name, values in self.columns.items():
            if values.shape[-1] != self.start.size:
                raise ValueError(f"{name} has {values.shape[-1]} hours, want {self.start.size}")

    @property
    def hours(self) -> int:
        """Return the number of hours."""
        return int(self.start.size)

    def __contains__(self, name: str) -> bool:
        return name in self.columns

    def column(self, name: str) -> FloatArray:
        """Return a column, all NaN where the table does not have it."""
        if name in self.columns:
            return self.columns[name]
        return np.full(self.hours, np.nan)


@dataclass(frozen=True, slots=True)
class Finding:
    """Something noticed while reading weather that a person should know."""

    column: str  # house column, or "" for the whole source
    what: str  # one line, e.g. "air_temperature_c 121.1 at 2026-03-04T18Z is out of range"
    hours: int = 0  # how many hours it touches


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a table came from and how old it is."""

    source: str  # e.g. "nws", "file"
    issued_at: datetime | None  # UTC; None where the source does not say
    fetched_at: datetime | None  # UTC
    age_limit_h: float = 12.0  # older than this at the moment of judging is stale
    place: str = ""  # cell or station as the source names it
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    elevation_m: float | None = None
    distance_km: float | None = None
    wind_height_m: float = 10.0
    identity: str = ""  # SHA-256 of the bytes as they came
    findings: tuple[Finding, ...] = ()

    def age_h(self, now: datetime) -> float | None:
        """Return the age at ``now`` in hours, None where the issue time is not known."""
        if self.issued_at is None:
            return None
        return (now - self.issued_at).total_seconds() / 3600.0

    @property
    def is_elsewhere(self) -> bool:
        """Tell whether the place it is for lies too far from the site to speak for it."""
        return self.distance_km is not None and self.distance_km > ELSEWHERE_KM

    def is_stale(self, now: datetime) -> bool:
        """Tell whether it is no ground for a go.

        It is too old or of unknown age, issued after now, or for a place elsewhere.
        """
        age = self.age_h(now)
        young = age is not None and -CLOCKS_DIFFER_H <= age <= self.age_limit_h
        return not young or self.is_elsewhere


@dataclass(frozen=True, slots=True)
class PeriodChance:
    """A chance of rain that the source states for a whole period."""

    start: datetime  # UTC
    end: datetime  # UTC
    precipitation_probability_pct: float


@dataclass(frozen=True, slots=True)
class DailyRow:
    """One local day of a forecast or record that comes by days, SI, NaN where not given."""

    date: str  # local day, ISO
    values: Mapping[str, float]  # house names of daily values, e.g. air_temperature_min_c
    moments: Mapping[str, datetime | None] = field(default_factory=dict)  # e.g. rain from/until
    flags: Mapping[str, bool] = field(default_factory=dict)  # e.g. surfaces_wet


@dataclass(frozen=True, slots=True)
class Alert:
    """A warning in force, as the service words it."""

    event: str
    start: datetime | None
    end: datetime | None
    headline: str
    source: str


@dataclass(frozen=True, slots=True)
class Forecast:
    """What one source said at one time: hours, and what does not fit into hours."""

    table: HourlyTable
    provenance: Provenance
    periods: tuple[PeriodChance, ...] = ()
    daily: tuple[DailyRow, ...] = ()
    alerts: tuple[Alert, ...] | None = None  # None: nobody asked; (): asked, none in force
    extras: Mapping[str, object] = field(default_factory=dict)  # ensemble, climate, source status
