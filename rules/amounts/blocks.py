"""Units and mortar of a block wall, course by course and run by run.

References
----------
Navy builder's manual (NAVFAC P-405 figures): three quarters of a unit to the foot of course, one
and a half courses to the foot of height, for units of 8 x 8 x 16 in. nominal.
ASTM C90 nominal dimensions: a unit with its joint is 16 in. long and 8 in. high.
Mortar of 8.5 cu ft for 100 sq ft of 8-in. wall, waste in it: the upper of 6 to 8.5 in older cement
handbooks, from memory, compare with the mason's own use.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.errors import OutOfRange

FOOT_M: Final = 0.3048
INCH_M: Final = 0.0254
MORTAR_M3_PER_M2: Final = 8.5 * FOOT_M**3 / (100.0 * FOOT_M**2)
# A length this near to a whole or half unit is one: what a joint takes up.
JOINT_SLACK_UNITS: Final = 0.04


@dataclass(frozen=True, slots=True)
class Block:
    """A masonry unit with its joint: the sizes that a wall is laid out by."""

    length_m: float = 16 * INCH_M
    height_m: float = 8 * INCH_M
    thickness_m: float = 8 * INCH_M


@dataclass(frozen=True, slots=True)
class RunUnits:
    """What one straight run of wall takes in one course."""

    length_m: float
    whole: int
    half: int
    cut: int  # units cut to a length that is neither whole nor half

    @property
    def units(self) -> float:
        """Return whole units, a half as a half: what the length itself asks for."""
        return self.whole + self.cut + 0.5 * self.half


@dataclass(frozen=True, slots=True)
class WallUnits:
    """What a wall takes: units over all courses, waste not in it."""

    runs: tuple[RunUnits, ...]
    courses: int
    units: float  # whole units and halves as halves, openings taken out
    halves: int
    corners: int  # of the units, those that show an end
    openings_less: float  # units that openings save
    face_m2: float

    @property
    def to_order(self) -> int:
        """Return whole units that give them: two halves come from one."""
        return math.ceil(self.units - 1e-9)


@dataclass(frozen=True, slots=True)
class Opening:
    """A hole left in the courses."""

    width_m: float
    courses: int


def courses_in(height_m: float, block: Block) -> int:
    """Return the courses that reach a height; the last may pass it.

    >>> courses_in(4 * FOOT_M, Block())
    6
    """
    return math.ceil(height_m / block.height_m - JOINT_SLACK_UNITS)


def run_units(length_m: float, block: Block) -> RunUnits:
    """Return the units of a straight run in one course.

    What is left after whole units is a half, or else a unit cut to fit. A hair over a whole or
    half unit is taken up in the joints.

    Raises
    ------
    OutOfRange
        If the run is shorter than half a unit.
    """
    exact = length_m / block.length_m
    if exact < 0.5 - JOINT_SLACK_UNITS:
        raise OutOfRange(
            f"a run of {length_m:.2f} m is shorter than half a unit of {block.length_m:.2f} m"
        )
    whole = math.floor(exact + JOINT_SLACK_UNITS)
    rest = exact - whole
    if rest <= JOINT_SLACK_UNITS:
        return RunUnits(length_m, whole, 0, 0)
    if abs(rest - 0.5) <= JOINT_SLACK_UNITS:
        return RunUnits(length_m, whole, 1, 0)
    return RunUnits(length_m, whole, 0, 1)


def wall_units(
    runs_m: Sequence[float],
    *,
    courses: int,
    block: Block,
    closed: bool,
    openings: Sequence[Opening] = (),
) -> WallUnits:
    """Return the units of a wall of several runs.

    Parameters
    ----------
    runs_m
        Straight runs along the outside face, in turn.
    courses
        How many; 0 gives nothing.
    closed
        The last run meets the first: as many corners as runs. Else each end is free and takes a
        half unit in every second course.
    openings
        Left out of the courses; each jamb takes a half in every second course.

    Notes
    -----
    Measured along the outside face, as the manual's rule is: at a corner the thickness is then
    counted twice, which is the manual's own margin.
    """
    if courses < 0:
        raise OutOfRange(f"{courses} courses; want 0 or more")
    laid = tuple(run_units(length, block) for length in runs_m)
    corners = (len(laid) if closed and len(laid) > 1 else max(len(laid) - 1, 0)) * courses
    free_ends = 0 if closed else 2
    less = sum(o.width_m / block.length_m * min(o.courses, courses) for o in openings)
    jambs = sum(2 * (min(o.courses, courses) // 2) for o in openings)
    halves = sum(run.half for run in laid) * courses + free_ends * (courses // 2) + jambs
    total = sum(run.units for run in laid) * courses - less
    if total < 0:
        raise OutOfRange("the openings take more units than the wall has")
    area = sum(runs_m) * courses * block.height_m
    area -= sum(o.width_m * min(o.courses, courses) * block.height_m for o in openings)
    return WallUnits(laid, courses, total, halves, corners, less, area)


def mortar_m3(face_m2: float) -> float:
    """Return the mortar of a wall 8 in. thick, waste in it, cubic metres."""
    return face_m2 * MORTAR_M3_PER_M2
