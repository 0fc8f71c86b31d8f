"""Wind on walls, panels and a raised house."""

from __future__ import annotations

from typing import Final

import numpy as np

from rules.units import convert
from rules.verdict import FloatArray

PSF_PER_MPH2: Final = 0.00256
PA_PER_PSF: Final = 47.880258980336  # from the exact pound and foot


def velocity_pressure_pa(*, wind_speed_of_gust_ms: FloatArray) -> FloatArray:
    """Return the pressure in Pa of a gust on a face, 0.00256 V² in psf and mph.

    Parameters
    ----------
    wind_speed_of_gust_ms : (..., hours)
        The gust, not the mean, for walls, panels and a raised house. [m/s]

    References
    ----------
    ASCE 7, velocity pressure without exposure factors, from memory.
    """
    gust_mph = convert(np.asarray(wind_speed_of_gust_ms, dtype=np.float64), "m/s", "mph")
    return PA_PER_PSF * PSF_PER_MPH2 * gust_mph**2
