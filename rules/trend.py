"""Where a temperature is going: rules that say 'falling', 'rising', 'expected to reach'."""

from __future__ import annotations

import numpy as np

from rules.verdict import FloatArray
from rules.windows import least_between


def air_change(*, air_temperature_c: FloatArray) -> FloatArray:
    """Return the change in °C from each hour to the next, the last hour like the one before.

    Parameters
    ----------
    air_temperature_c : (..., hours)
        [°C]
    """
    air = np.asarray(air_temperature_c, dtype=np.float64)
    if air.shape[-1] < 2:
        return np.full(air.shape, np.nan)
    steps = np.diff(air, axis=-1)
    return np.concatenate([steps, steps[..., -1:]], axis=-1)


def air_peak_ahead(*, air_temperature_c: FloatArray, hours_ahead: float) -> FloatArray:
    """Return the highest air in °C of the coming hours, the hour itself included.

    Hours past the end of the table are left out; NaN where one of the others is.

    Parameters
    ----------
    air_temperature_c : (..., hours)
        [°C]
    hours_ahead
        How far 'expected' reaches. [h]
    """
    air = np.asarray(air_temperature_c, dtype=np.float64)
    hours = np.arange(air.shape[-1])
    return -least_between(-air, hours, hours + int(hours_ahead))
