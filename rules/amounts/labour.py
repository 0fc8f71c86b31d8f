"""Hours that work takes: published rates, and what the cold adds.

References
----------
NAVFAC P-405 (in the Navy builder's manual): 160 man-hours lay 1000 sq ft of block wall.
C. Schierhorn, "Estimating Production", 1995: 131 units of 8 x 8 x 16 in. to a mason's day, 200 cu
ft of grout to a man's day.
E. Koehn and G. Brown, "Climatic Effects on Construction", ASCE J. Constr. Eng. Manage. 111(2),
1985: labour output by temperature (deg F) and humidity (%) in the cold; coefficients from memory,
compare with the paper. Against 50 F at 50 % humidity it loses 20 % at 20 F and 64 % at -10 F;
"Work Efficiency Decreases at Abnormal Temperatures" (Concrete Construction) tells 12 to 75 %.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from rules.amounts.blocks import FOOT_M
from rules.verdict import FloatArray

WALL_MAN_H_PER_M2: Final = 160.0 / (1000.0 * FOOT_M**2)
UNITS_PER_MASON_DAY: Final = 131.0
GROUT_M3_PER_MAN_DAY: Final = 200.0 * FOOT_M**3
DAY_H: Final = 8.0
COLD_BELOW_F: Final = 50.0  # where the paper's cold curve ends
LEAST_OUTPUT: Final = 0.1  # the curve is not read lower
MPH_PER_MS: Final = 1 / 0.44704


def wall_man_h(face_m2: float) -> float:
    """Return the man-hours that a block wall takes, tending in it."""
    return face_m2 * WALL_MAN_H_PER_M2


def mason_days(units: float) -> float:
    """Return the mason-days that units take at the rate of the production article."""
    return units / UNITS_PER_MASON_DAY


def grout_man_h(volume_m3: float) -> float:
    """Return the man-hours that placing grout takes."""
    return volume_m3 / GROUT_M3_PER_MAN_DAY * DAY_H


def cold_output(
    *, air_temperature_c: FloatArray, relative_humidity_pct: FloatArray, wind_speed_ms: FloatArray
) -> FloatArray:
    """Return labour output in the cold as a share of that at 50 °F.

    Parameters
    ----------
    air_temperature_c, relative_humidity_pct, wind_speed_ms : array
        Any shape; broadcast together. NaN gives NaN.

    Returns
    -------
    array
        1 at and above 50 °F, less below it. A degree F is taken off for each mile per hour of
        wind, as the article on abnormal temperatures does.
    """
    felt = np.asarray(air_temperature_c) * 1.8 + 32.0 - np.asarray(wind_speed_ms) * MPH_PER_MS
    humidity = np.asarray(relative_humidity_pct)
    share = _koehn_brown(np.minimum(felt, COLD_BELOW_F), humidity)
    return np.clip(share / _koehn_brown(np.asarray(COLD_BELOW_F), humidity), LEAST_OUTPUT, 1.0)


def _koehn_brown(t: FloatArray, h: FloatArray) -> FloatArray:
    return np.asarray(
        0.0144 * t - 0.00313 * h - 0.000107 * t**2 - 0.000029 * h**2 - 0.0000357 * t * h + 0.647
    )
