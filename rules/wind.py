"""Wind on walls, panels and a raised house."""

from __future__ import annotations

import numpy as np

from rules.verdict import FloatArray


def velocity_pressure_pa(*, wind_speed_of_gust_ms: FloatArray) -> FloatArray:
    """Return the pressure in Pa of a gust on a face, 0.613 V².

    Parameters
    ----------
    wind_speed_of_gust_ms : (..., hours)
        The gust, not the mean, for walls, panels and a raised house. [m/s]

    References
    ----------
    ASCE 7, velocity pressure without exposure factors, from memory: half of 1.226 kg/m³ of air.
    """
    return 0.613 * np.asarray(wind_speed_of_gust_ms, dtype=np.float64) ** 2
