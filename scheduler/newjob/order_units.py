"""Amounts as they are ordered: in people's units, rounded up to what is sold."""

from __future__ import annotations

import math
from typing import Final

from rules.amounts.blocks import FOOT_M
from scheduler.newjob.takeoff import Line

# SI unit: (unit to order in, its size in SI, step it is rounded up to)
US: Final = {
    "count": ("each", 1.0, 1.0),
    "m": ("ft", FOOT_M, 1.0),
    "m2": ("ft2", FOOT_M**2, 1.0),
    "m3": ("yd3", 27 * FOOT_M**3, 0.25),
}
SI: Final = {
    "count": ("each", 1.0, 1.0),
    "m": ("m", 1.0, 1.0),
    "m2": ("m2", 1.0, 1.0),
    "m3": ("m3", 1.0, 0.1),
}


def ordered(line: Line, units: str) -> tuple[float, str]:
    """Return how much is ordered, waste in it, and the unit.

    Mortar under a cubic yard is still told in parts of one; a plant's least load is its own word.
    """
    unit, size, step = (US if units == "us" else SI)[line.unit]
    return round(math.ceil(line.with_waste / size / step - 1e-9) * step, 6), unit


def net(line: Line, units: str) -> float:
    """Return the net amount in the unit that is ordered in."""
    return line.net / (US if units == "us" else SI)[line.unit][1]
