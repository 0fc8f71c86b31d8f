"""Cribbing under a raised house: steps of the jacks, layers and timbers of the towers.

References
----------
Jacking about 16 in. between re-cribbings (12 to 18 in. on how-to pages): common practice, no
source. Two timbers to a layer, crossed: common practice, no source. How high a tower may stand,
where, and on what, is the house lifter's and the engineer's word.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rules.errors import OutOfRange

TIMBERS_PER_LAYER = 2


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the lift: how far, and how the towers stand after it."""

    rise_m: float  # of this step
    raised_m: float  # in all
    layers: int  # of each tower
    timbers: int  # of all towers


def lift_steps(raise_m: float, *, step_m: float, towers: int, timber_m: float) -> tuple[Step, ...]:
    """Return the steps of a lift, the towers built up under each.

    Raises
    ------
    OutOfRange
        If a step is not higher than a timber: the towers could not follow.
    """
    if min(raise_m, step_m, timber_m) <= 0 or towers < 1:
        raise OutOfRange("a lift needs a height, a step, timbers and towers above 0")
    if step_m < timber_m - 1e-9:
        raise OutOfRange(
            f"a step of {step_m:.2f} m is less than a timber of {timber_m:.2f} m: "
            "the cribbing cannot follow"
        )
    count = math.ceil(raise_m / step_m - 1e-9)
    steps = []
    for number in range(1, count + 1):
        raised = min(number * step_m, raise_m)
        layers = math.floor(raised / timber_m + 1e-9)
        steps.append(
            Step(
                rise_m=raised - (number - 1) * step_m,
                raised_m=raised,
                layers=layers,
                timbers=towers * layers * TIMBERS_PER_LAYER,
            )
        )
    return tuple(steps)
