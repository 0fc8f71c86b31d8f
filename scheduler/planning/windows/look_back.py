"""The hours before a plan's table: what rain and frost that have passed left on site."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Final

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.tables.hours import HourlyTable

BACK_H: Final = 72  # the longest that a row looks back before the start


def hours_before(
    zero: datetime, forecast: HourlyTable, observed: HourlyTable | None
) -> Mapping[str, FloatArray]:
    """Return the columns of the hours gone by: as observed, else as the forecast had them."""
    last = np.datetime64(zero.astimezone(UTC).replace(tzinfo=None), "h")
    wanted = last - np.arange(BACK_H, 0, -1) * np.timedelta64(1, "h")
    found: dict[str, FloatArray] = {}
    for table in (forecast, observed):
        if table is None or not table.hours:
            continue
        at = (wanted - table.start[0]).astype(np.int64)
        inside = (at >= 0) & (at < table.hours)
        for name, values in table.columns.items():
            own = values.reshape(-1, values.shape[-1])[0]
            told = np.where(inside, own[np.clip(at, 0, table.hours - 1)], np.nan)
            old = found.get(name, np.full(BACK_H, np.nan))
            found[name] = np.where(np.isnan(told), old, told)
    return found
