"""Grout in cores and bond beams, and where the cores stand.

References
----------
Inspector's handbook table of grout quantities, from memory, compare with the block maker's own:
0.1344 cu ft fills one core of an 8-in. two-core unit over one course, 1.12 cu yd fills 100 sq ft
of 8-in. wall solid.
ASTM C90 least face shells (1, 1 1/4, 1 3/8, 1 1/2 in. for 6, 8, 10, 12 in. units), from memory:
other thicknesses are scaled by the clear width between the shells.
Grouted cores about every 32 in.: common practice, no source; the engineer's drawing decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from rules.amounts.blocks import FOOT_M, INCH_M, Block
from rules.errors import OutOfRange

CORE_M3: Final = 0.1344 * FOOT_M**3  # one core, one course of 8 in., an 8-in. unit
SOLID_M3_PER_M2: Final = 1.12 * 27.0 * FOOT_M**3 / (100.0 * FOOT_M**2)
JOINT_M: Final = 3 / 8 * INCH_M
# nominal thickness, in.: least face shell, in.
FACE_SHELL_IN: Final = {6: 1.0, 8: 1.25, 10: 1.375, 12: 1.5}
CORES_PER_UNIT: Final = 2


def clear_width_share(block: Block) -> float:
    """Return the clear width between face shells, as a share of an 8-in. unit's.

    Raises
    ------
    OutOfRange
        If no face shell is known for the thickness.
    """

    def clear(nominal_in: int) -> float:
        return nominal_in - JOINT_M / INCH_M - 2 * FACE_SHELL_IN[nominal_in]

    nominal = round(block.thickness_m / INCH_M)
    if nominal not in FACE_SHELL_IN:
        raise OutOfRange(
            f"units {nominal} in. thick; grout is known for {', '.join(map(str, FACE_SHELL_IN))}"
        )
    return clear(nominal) / clear(8)


def cores_in(runs_m: Sequence[float], *, spacing_m: float, closed: bool) -> int:
    """Return the grouted cores along a wall.

    A closed wall has one every spacing round; each straight run of an open one has one more, at
    its end.
    """
    if spacing_m <= 0:
        raise OutOfRange("the spacing of cores is not above 0")
    if closed:
        return math.ceil(sum(runs_m) / spacing_m - 1e-9)
    return sum(math.ceil(run / spacing_m - 1e-9) + 1 for run in runs_m)


def core_grout_m3(cores: int, *, courses: int, block: Block) -> float:
    """Return the grout in filled cores, cubic metres, waste not in it."""
    lift = block.height_m / (8 * INCH_M)
    return cores * courses * CORE_M3 * lift * clear_width_share(block)


def beam_grout_m3(length_m: float, *, cores: int, block: Block) -> float:
    """Return the grout in one course of bond beam, less what its crossing cores hold already."""
    solid = length_m * block.height_m * SOLID_M3_PER_M2 * clear_width_share(block)
    return max(solid - core_grout_m3(cores, courses=1, block=block), 0.0)


def lifts(height_m: float, *, lift_m: float) -> int:
    """Return the lifts that a pour of that height is placed in."""
    if lift_m <= 0:
        raise OutOfRange("the height of a lift is not above 0")
    return max(math.ceil(height_m / lift_m - 1e-9), 1)
