"""One line out of an ensemble: what nine of ten members do not go beyond, on the worse side.

Limits ask one value of each hour. The members themselves are kept beside it, for the odds.
"""

from __future__ import annotations

import warnings
from dataclasses import replace
from typing import Final

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.forecast.several_sources import COLDER, LARGER, MEMBERS
from scheduler.planning.tables.hours import Forecast, HourlyTable

WORSE: Final = 0.1  # share of the members that may go beyond the line


def planned_line(forecast: Forecast) -> Forecast:
    """Return the forecast with one value an hour; one that has no members as it is.

    An hour that less than half of the members know is a gap. Columns without a worse side take
    the middle member's value.
    """
    table = forecast.table
    if all(values.ndim == 1 for values in table.columns.values()):
        return forecast
    line = {name: _line(name, values) for name, values in table.columns.items()}
    return replace(
        forecast,
        table=HourlyTable(start=table.start, columns=line),
        extras={**forecast.extras, MEMBERS: table},
    )


def members_of(forecast: Forecast) -> HourlyTable:
    """Return the hours with all members ``(members, hours)`` where there are any."""
    told = forecast.extras.get(MEMBERS)
    return told if isinstance(told, HourlyTable) else forecast.table


def _line(name: str, values: FloatArray) -> FloatArray:
    if values.ndim == 1:
        return values
    share = WORSE if name in COLDER else 1.0 - WORSE if name in LARGER else 0.5
    method = "lower" if name in COLDER else "higher" if name in LARGER else "nearest"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # an hour that no member knows
        line = np.nanquantile(values, share, axis=0, method=method)  # type: ignore[call-overload]
    few = np.isfinite(values).sum(axis=0) < values.shape[0] / 2
    return np.where(few, np.nan, line)
