"""Units: exact factors between what people and files write and what is kept inside.

References
----------
NIST SP 811 (2008), appendix B.8: exact factors for foot, inch, mile, pound-force per square
inch (rounded there to seven figures; here from the exact pound and inch).
"""

from __future__ import annotations

from typing import Final, TypeVar

import numpy as np

from rules.errors import OutOfRange
from rules.verdict import FloatArray

Number = TypeVar("Number", float, FloatArray)

# unit: (dimension, factor, offset); SI value = value * factor + offset
UNITS: Final[dict[str, tuple[str, float, float]]] = {
    "degC": ("temperature", 1.0, 0.0),
    "degF": ("temperature", 5.0 / 9.0, -32.0 * 5.0 / 9.0),
    "K": ("temperature", 1.0, -273.15),
    "delta_degC": ("temperature_difference", 1.0, 0.0),
    "delta_degF": ("temperature_difference", 5.0 / 9.0, 0.0),
    "m/s": ("speed", 1.0, 0.0),
    "m s-1": ("speed", 1.0, 0.0),
    "km/h": ("speed", 1.0 / 3.6, 0.0),
    "mph": ("speed", 0.44704, 0.0),
    "kt": ("speed", 1852.0 / 3600.0, 0.0),
    "mm": ("length", 1.0, 0.0),
    "cm": ("length", 10.0, 0.0),
    "m": ("length", 1000.0, 0.0),
    "in": ("length", 25.4, 0.0),
    "ft": ("length", 304.8, 0.0),
    "kg m-2": ("length", 1.0, 0.0),  # of water
    "%": ("share", 1.0, 0.0),
    "1": ("share", 100.0, 0.0),
    "ppm": ("concentration", 1.0, 0.0),
    "MPa": ("pressure", 1.0, 0.0),
    "psi": ("pressure", 4.4482216152605 / 25.4**2, 0.0),
    "Pa": ("pressure", 1e-6, 0.0),
    "kg/m2/h": ("evaporation", 1.0, 0.0),
    "lb/ft2/h": ("evaporation", 0.45359237 / 0.3048**2, 0.0),
    "degC_h": ("temperature_time", 1.0, 0.0),
    "degF_h": ("temperature_time", 5.0 / 9.0, 0.0),
    "h": ("time", 1.0, 0.0),
    "d": ("time", 24.0, 0.0),
    "min": ("time", 1.0 / 60.0, 0.0),
    "s": ("time", 1.0 / 3600.0, 0.0),
    "count": ("count", 1.0, 0.0),
    "usd": ("money", 1.0, 0.0),
    "W/m2": ("irradiance", 1.0, 0.0),
    "W m-2": ("irradiance", 1.0, 0.0),
    "degree": ("angle", 1.0, 0.0),
    "yes_no": ("yes_no", 1.0, 0.0),
}


def convert(value: Number, unit: str, to: str) -> Number:
    """Convert between two units of one dimension.

    Raises
    ------
    OutOfRange
        If a unit is not known or the two measure different things.
    """
    for name in (unit, to):
        if name not in UNITS:
            raise OutOfRange(f"unit {name!r} is not known; use one of {', '.join(UNITS)}")
    (kind, factor, offset), (other, to_factor, to_offset) = UNITS[unit], UNITS[to]
    if kind != other:
        raise OutOfRange(f"{unit} measures {kind}, {to} measures {other}")
    if unit == to:
        return value
    return (value * factor + offset - to_offset) / to_factor


def same_edge(value: FloatArray, edge: float, tolerance: float = 1e-6) -> np.ndarray:
    """Tell where a converted value is the edge itself, apart from binary noise."""
    close: np.ndarray = np.abs(value - edge) <= tolerance
    return close
