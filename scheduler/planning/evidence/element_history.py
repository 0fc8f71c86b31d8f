"""What an element went through: its temperature from readings, hours above a bound, maturity.

Between readings the temperature runs straight, a mean stands over its hours; before the first and
after the last it stays. A
stated measure may set it from a moment on (a what-if). Nothing is gained after ``until``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from rules.strength import degrees_above
from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.evidence.known import Known, reading_time
from scheduler.planning.model.job import Criterion, WhatIf

STEP_H: Final = 0.05  # exact to 3 minutes; the sums below are over this grid
HORIZON_H: Final = 24.0 * 60.0
SOURCES: Final = ("grout_temperature", "concrete_temperature", "masonry_temperature")


@dataclass(frozen=True, slots=True)
class History:
    """Temperature of an element on a fine grid from when it was placed."""

    placed: datetime
    celsius: FloatArray  # (steps,) middle of each step
    read_until: datetime  # later values are held or assumed

    def steps(self, moment: datetime) -> int:
        """Return how many whole steps lie before a moment."""
        passed = (moment - self.placed).total_seconds() / 3600.0
        return int(np.clip(round(passed / STEP_H), 0, self.celsius.size))

    def moment(self, steps: int) -> datetime:
        """Return the moment after so many steps."""
        return self.placed + timedelta(hours=steps * STEP_H)


def history(
    known: Known, quantity: str, placed: datetime, *, what_if: WhatIf | None = None
) -> History | None:
    """Return an element's temperature since it was placed; None where nobody read it."""
    readings = [
        (t, float(convert(float(r.value), r.unit, "degC")))
        for r in known.past_readings(quantity)
        if (t := reading_time(r)) is not None and t >= placed
    ]
    if not readings:
        return None
    grid_h = np.asarray((np.arange(int(HORIZON_H / STEP_H)) + 0.5) * STEP_H, dtype=np.float64)
    at_h = np.array([(t - placed).total_seconds() / 3600.0 for t, _ in readings])
    value = np.array([v for _, v in readings])
    celsius = np.asarray(np.interp(grid_h, at_h, value), dtype=np.float64)
    for read in known.past_readings(quantity):
        if read.taken_as == "mean" and read.start is not None and read.end is not None:
            low, high = ((t - placed).total_seconds() / 3600.0 for t in (read.start, read.end))
            mean_c = float(convert(float(read.value), read.unit, "degC"))
            celsius[(grid_h >= low) & (grid_h < high)] = mean_c
    last = readings[-1][0]
    if what_if is not None:
        celsius = _under(celsius, grid_h, placed, known.now, what_if)
    return History(placed, celsius, last)


def _under(
    celsius: FloatArray, grid_h: FloatArray, placed: datetime, now: datetime, what_if: WhatIf
) -> FloatArray:
    begins = what_if.start or now
    out = celsius.copy()
    now_h = (now - placed).total_seconds() / 3600.0
    begins_h = (begins - placed).total_seconds() / 3600.0
    if what_if.value_until_then is not None:
        until = float(convert(what_if.value_until_then, what_if.unit, "degC"))
        out[(grid_h >= now_h) & (grid_h < begins_h)] = until
    out[grid_h >= max(begins_h, now_h)] = float(convert(what_if.value, what_if.unit, "degC"))
    return out


def gained(trace: History, criterion: Criterion) -> tuple[FloatArray, float]:
    """Return what has been gained after each step, and what the criterion asks.

    Hours at or above the bound for ``for_h``; degree-hours above the datum for a
    temperature-time factor.
    """
    if criterion.quantity == "temperature_time_factor":
        degrees = "degF" if criterion.unit == "degF_h" else "degC"
        datum = float(convert(criterion.datum or 0.0, degrees, "degC"))
        gain = degrees_above(temperature_c=trace.celsius, datum_c=datum)
        need = criterion.at_least if criterion.at_least is not None else criterion.above
        scale = 1.0 if degrees == "degC" else 9.0 / 5.0
        return np.asarray(np.cumsum(gain) * STEP_H * scale), float(need or 0.0)
    bound = criterion.at_least if criterion.at_least is not None else criterion.above
    celsius = float(convert(float(bound or 0.0), criterion.unit, "degC"))
    warm = trace.celsius >= celsius - 1e-9
    return np.asarray(np.cumsum(warm) * STEP_H), float(criterion.for_h or 0.0)


def reached(trace: History, total: FloatArray, need: float) -> datetime | None:
    """Return when a running total reaches what is asked; None within two months."""
    enough = np.flatnonzero(total >= need - 1e-6)
    return trace.moment(int(enough[0]) + 1) if enough.size else None
