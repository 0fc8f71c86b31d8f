"""How long people may work in the cold before they warm up: the four-hour schedule.

The schedule is a table of the book, ``rules/book/warm_up.toml``, by air and by wind.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np

from rules.errors import OutOfRange
from rules.units import convert
from rules.verdict import FloatArray


@dataclass(frozen=True, slots=True)
class Schedule:
    """Longest work period by air (rows, coldest last) and wind (columns, calm first)."""

    at_or_below_c: FloatArray  # (rows,) each row begins at this air, rounded to whole degrees
    at_least_kmh: FloatArray  # (columns,)
    minutes: FloatArray  # (rows, columns); 0: non-emergency work stops
    breaks: FloatArray  # (rows, columns) in four hours
    normal_minutes: float  # where the schedule asks for normal breaks only


@cache
def schedule() -> Schedule:
    """Return the schedule of the book."""
    text = resources.files("rules").joinpath("book/warm_up.toml").read_text(encoding="utf-8")
    raw = tomllib.loads(text)
    rows = raw["row"]
    return Schedule(
        at_or_below_c=np.array([row["air_at_or_below_c"] for row in rows], dtype=np.float64),
        at_least_kmh=np.array(raw["wind_at_least_kmh"], dtype=np.float64),
        minutes=np.array([row["minutes"] for row in rows], dtype=np.float64),
        breaks=np.array([row["breaks"] for row in rows], dtype=np.float64),
        normal_minutes=float(raw["normal_minutes"]),
    )


def longest_work_period(*, air_temperature_c: FloatArray, wind_speed_ms: FloatArray) -> FloatArray:
    """Return the hours people may work on end, by air and wind.

    Air is rounded to whole degrees Celsius and wind goes to the column it has reached, both as
    the table prints them.

    Parameters
    ----------
    air_temperature_c : (..., hours)
        [°C]
    wind_speed_ms : (..., hours)
        Mean wind. [m/s]

    Returns
    -------
    (..., hours)
        Longest work period; 0 where non-emergency work stops; NaN where an input is NaN. [h]

    Raises
    ------
    OutOfRange
        If wind is negative.
    """
    air, wind = np.broadcast_arrays(
        np.asarray(air_temperature_c, dtype=np.float64),
        np.asarray(wind_speed_ms, dtype=np.float64),
    )
    minutes = _look_up(schedule().minutes, air, wind, warmer=schedule().normal_minutes)
    return convert(minutes, "min", "h")


def warm_breaks(*, air_temperature_c: FloatArray, wind_speed_ms: FloatArray) -> FloatArray:
    """Return the number of warm breaks in a four-hour shift; 1 where breaks are the normal ones.

    Parameters
    ----------
    air_temperature_c, wind_speed_ms : (..., hours)
        [°C], [m/s]
    """
    air, wind = np.broadcast_arrays(
        np.asarray(air_temperature_c, dtype=np.float64),
        np.asarray(wind_speed_ms, dtype=np.float64),
    )
    return _look_up(schedule().breaks, air, wind, warmer=1.0)


def _look_up(table: FloatArray, air: FloatArray, wind: FloatArray, *, warmer: float) -> FloatArray:
    if (wind < 0.0).any():
        raise OutOfRange("wind is negative")
    known = ~(np.isnan(air) | np.isnan(wind))
    degrees = np.rint(np.where(known, air, 0.0))
    kmh = convert(np.where(known, wind, 0.0), "m/s", "km/h") + 1e-9
    row = np.searchsorted(-schedule().at_or_below_c, -degrees, side="right") - 1
    column = np.searchsorted(schedule().at_least_kmh, kmh, side="right") - 1
    found = np.where(row < 0, warmer, table[np.maximum(row, 0), column])
    return np.where(known, found, np.nan)
