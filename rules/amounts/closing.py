"""What closes and covers: tape, sealant, membranes, blankets.

References
----------
A cartridge of 10.1 US fl oz holds 18.2 cu in. (299 ml): NIST HB 44 appendix C, exact gallon.
Laps of 6 in. at each corner of a window and a tenth more for covers: common practice, no source.
A cover over a wall's top laps 24 in. down both faces: TMS 602 protection of fresh masonry, from
memory.
"""

from __future__ import annotations

import math
from typing import Final

from rules.amounts.blocks import INCH_M

CARTRIDGE_M3: Final = 10.1 * 29.5735295625e-6  # a US fluid ounce in cubic metres, exact
CORNER_LAP_M: Final = 6 * INCH_M
COVER_LAP_M: Final = 24 * INCH_M
COVER_OVERLAP: Final = 0.10
BEAD_M: Final = (3 / 8 * INCH_M, 1 / 4 * INCH_M)  # width and depth of a joint


def tape_m(width_m: float, height_m: float) -> float:
    """Return the tape round one opening, its corners lapped."""
    return 2 * (width_m + height_m) + 4 * CORNER_LAP_M


def cartridges(joint_m: float, *, bead_m: tuple[float, float] = BEAD_M) -> int:
    """Return the cartridges that fill a joint of that length."""
    return math.ceil(joint_m * bead_m[0] * bead_m[1] / CARTRIDGE_M3 - 1e-9)


def blanket_m2(length_m: float, *, height_m: float, thickness_m: float) -> float:
    """Return the blankets over a wall: both faces and the top, overlaps in it."""
    return length_m * (2 * height_m + thickness_m) * (1 + COVER_OVERLAP)


def top_cover_m2(length_m: float, *, thickness_m: float) -> float:
    """Return the sheet over the top of a wall, lapped down both faces, overlaps in it."""
    return length_m * (2 * COVER_LAP_M + thickness_m) * (1 + COVER_OVERLAP)
