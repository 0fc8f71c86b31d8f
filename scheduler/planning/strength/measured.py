"""Measured temperatures of an element: probes by the hour, and how they outrank the model.

The coldest probe governs. Where there is no measurement the model stands, marked so; where the
last measurement was colder than the model, the model is lowered by as much until the next one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.model.log import Reading
from scheduler.planning.tables.hours import Finding, HourArray

MODELLED: Final = np.int8(0)
MEASURED: Final = np.int8(1)
CARRIED_H: Final = 24  # a colder reading lowers the model this long; common practice, no source
ELEMENT_QUANTITIES: Final = frozenset(
    {"grout_temperature", "masonry_temperature", "concrete_temperature"}
)


@dataclass(frozen=True, slots=True)
class ProbeTrace:
    """Probes of one place by the hour, gaps as NaN."""

    start: HourArray  # (hours,) UTC, without holes
    probes: tuple[str, ...]
    mean_c: FloatArray  # (probes, hours)
    least_c: FloatArray  # (probes, hours) least sample of the hour
    findings: tuple[Finding, ...] = ()

    @property
    def governing_c(self) -> FloatArray:
        """Return the coldest probe of each hour, NaN where none was read: (hours,)."""
        return _least(self.mean_c)

    @property
    def coldest(self) -> tuple[str, float, datetime] | None:
        """Return probe, temperature and hour of the coldest sample; None where there is none."""
        if not np.isfinite(self.least_c).any():
            return None
        probe, hour = np.unravel_index(int(np.nanargmin(self.least_c)), self.least_c.shape)
        at = datetime.fromtimestamp(int(self.start[hour].astype(np.int64)) * 3600, UTC)
        return self.probes[int(probe)], float(self.least_c[probe, hour]), at


def log_entries(trace: ProbeTrace, *, quantity: str, place: str) -> list[dict[str, object]]:
    """Return a logger's hours as entries for the progress log, the coldest probe's, oldest first.

    One reading an hour; hours without a sample have none. A sample colder than its hour's mean is
    told too where it is the coldest of all, so that a short freeze is not lost in a mean.
    """
    first = int(trace.start[0].astype(np.int64))
    told = [
        (datetime.fromtimestamp((first + hour) * 3600, UTC), float(value))
        for hour, value in enumerate(trace.governing_c)
        if np.isfinite(value)
    ]
    coldest = trace.coldest
    if coldest is not None:
        told.append((coldest[2] + timedelta(minutes=30), coldest[1]))
    return [
        {
            "kind": "reading",
            "quantity": quantity,
            "value": round(value, 3),
            "unit": "degC",
            "place": place,
            "when": at.isoformat(),
        }
        for at, value in sorted(told)
    ]


def on_hours(trace: ProbeTrace, start: HourArray) -> FloatArray:
    """Return the governing temperature on other hours, NaN where the trace has none."""
    out = np.full(start.size, np.nan)
    if trace.start.size == 0:
        return out
    offset = (start - trace.start[0]).astype(np.int64)
    inside = (offset >= 0) & (offset < trace.start.size)
    out[inside] = trace.governing_c[offset[inside]]
    return out


def of_readings(readings: Iterable[Reading], start: HourArray) -> FloatArray:
    """Return hand readings of an element by the hour, the coldest of each: (hours,) in °C."""
    out = np.full(start.size, np.nan)
    for reading in readings:
        if reading.quantity not in ELEMENT_QUANTITIES or reading.at is None:
            continue
        hour = int(reading.at.timestamp() // 3600) - int(start[0].astype(np.int64))
        if 0 <= hour < start.size:
            value = float(convert(float(reading.value), reading.unit, "degC"))
            out[hour] = value if np.isnan(out[hour]) else min(out[hour], value)
    return out


def with_measured(
    modelled_c: FloatArray, measured: Sequence[FloatArray]
) -> tuple[FloatArray, NDArray[np.int8]]:
    """Return the temperatures that count, and which of them were measured.

    Parameters
    ----------
    modelled_c : (..., hours)
        By the wall model. [°C]
    measured : (hours,) each
        Loggers and hand readings, NaN where there is none; the coldest of an hour counts. [°C]

    Returns
    -------
    values : (..., hours)
        [°C]
    source : (hours,)
        ``MEASURED`` or ``MODELLED``.
    """
    hours = modelled_c.shape[-1]
    read = _least(np.stack([*measured, np.full(hours, np.nan)]))
    known = np.isfinite(read)
    last = np.maximum.accumulate(np.where(known, np.arange(hours), -1))
    since = np.arange(hours) - last
    carried = (last >= 0) & (since <= CARRIED_H)
    gap = np.where(known, read - modelled_c, 0.0)
    lower = np.where(carried, np.minimum(gap[..., np.maximum(last, 0)], 0.0), 0.0)
    values = np.where(known, read, modelled_c + lower)
    return values, np.where(known, MEASURED, MODELLED)


def _least(values: FloatArray) -> FloatArray:
    """Return the least along the first axis, gaps left out; NaN where all are gaps."""
    least = np.where(np.isnan(values), np.inf, values).min(axis=0)
    return np.where(np.isinf(least), np.nan, least)
