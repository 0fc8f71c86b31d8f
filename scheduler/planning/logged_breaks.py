"""Breaks of specimens as the log tells them, for the mix's own strength curve."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from rules.breaks import Break
from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.log import Reading

STRENGTHS: Final = frozenset({"grout_strength", "concrete_strength"})


def breaks_of(
    readings: Iterable[Reading], *, placed: datetime, age_h: FloatArray | None = None
) -> list[Break]:
    """Return the breaks among readings, each at its specimen's equivalent age.

    Parameters
    ----------
    readings : Reading
        ``grout_strength`` or ``concrete_strength``, one for each specimen, with the moment it was
        broken. Others are left out, and those broken before placing or past the ages that are
        known: they are of another batch, or of an age nobody can tell.
    placed : datetime
        When the specimens were cast, UTC.
    age_h : (hours + 1,), optional
        Equivalent age by the hour since then, of specimens cured on site beside the work. Left
        out: cured at 20 °C, so that an hour is an hour.
    """
    found = []
    for reading in readings:
        if reading.quantity not in STRENGTHS or reading.at is None:
            continue
        since = (reading.at - placed) / timedelta(hours=1)
        age = _age(since, age_h)
        if age is not None:
            strength = float(convert(float(reading.value), reading.unit, "MPa"))
            found.append(Break(age_h=age, strength_mpa=strength))
    return found


def _age(since_h: float, age_h: FloatArray | None) -> float | None:
    if since_h < 0.0:
        return None
    if age_h is None:
        return since_h
    known = np.flatnonzero(np.isfinite(age_h))
    if not known.size or since_h > known[-1]:
        return None
    return float(np.interp(since_h, known, age_h[known]))
