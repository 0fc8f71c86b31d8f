"""Bars with their laps, and the anchors of a sill.

References
----------
ASTM A615/A615M nominal sizes: bar number is the diameter in eighths of an inch; mass per foot.
Lap of 48 bar diameters for grade 60 bars in masonry: the figure many codes and drawings use, from
memory; the engineer's drawing decides.
IRC R403.1.6, from memory, compare with the adopted edition: sill anchors at most 6 ft apart, at
least two in each piece of plate, one within 12 in. of each end.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from rules.amounts.blocks import FOOT_M, INCH_M
from rules.errors import OutOfRange

LAP_DIAMETERS: Final = 48.0
STOCK_M: Final = 20 * FOOT_M  # length that bars are sold in
KG_PER_M: Final = {3: 0.560, 4: 0.994, 5: 1.552, 6: 2.235}  # ASTM A615M
ANCHOR_SPACING_M: Final = 6 * FOOT_M
ANCHOR_END_M: Final = 12 * INCH_M
LEAST_ANCHORS: Final = 2


def diameter_m(bar: int) -> float:
    """Return the nominal diameter of a bar number."""
    if bar not in KG_PER_M:
        raise OutOfRange(f"bar {bar}; known are {', '.join(map(str, KG_PER_M))}")
    return bar / 8 * INCH_M


def lap_m(bar: int) -> float:
    """Return the lap of two bars."""
    return LAP_DIAMETERS * diameter_m(bar)


def core_bars_m(cores: int, *, height_m: float, bar: int) -> float:
    """Return the length of upright bars: each with one lap on its dowel."""
    return cores * (height_m + lap_m(bar))


def beam_bars_m(runs_m: Sequence[float], *, bars: int, bar: int, closed: bool) -> float:
    """Return the length of bars along a bond beam, laps in it.

    Each run has a lap wherever a stock length ends; each corner a bent bar that laps both ways.
    """
    corners = len(runs_m) if closed and len(runs_m) > 1 else max(len(runs_m) - 1, 0)
    splices = sum(max(math.ceil(run / STOCK_M - 1e-9) - 1, 0) for run in runs_m)
    return bars * (sum(runs_m) + (splices + 2 * corners) * lap_m(bar))


def dowels_m(cores: int, *, embedment_m: float, bar: int) -> float:
    """Return the length of dowels: set into what is there, lapped with the bar above."""
    return cores * (embedment_m + lap_m(bar))


def stock_bars(length_m: float) -> int:
    """Return the bars of stock length that give a length."""
    return math.ceil(length_m / STOCK_M - 1e-9)


def anchors_in(pieces_m: Sequence[float], *, spacing_m: float = ANCHOR_SPACING_M) -> int:
    """Return the anchors of a sill made of pieces.

    One within the end distance of each end, none further apart than the spacing, two at least.
    """
    if spacing_m <= 0:
        raise OutOfRange("the spacing of anchors is not above 0")
    return sum(
        max(math.ceil(max(piece - 2 * ANCHOR_END_M, 0.0) / spacing_m - 1e-9) + 1, LEAST_ANCHORS)
        for piece in pieces_m
    )


def sill_pieces(runs_m: Sequence[float], *, board_m: float = 16 * FOOT_M) -> tuple[float, ...]:
    """Return the pieces of plate along the runs: whole boards, and what is left of each run."""
    pieces: list[float] = []
    for run in runs_m:
        whole = math.floor(run / board_m + 1e-9)
        pieces += [board_m] * whole
        rest = run - whole * board_m
        if rest > INCH_M:
            pieces.append(rest)
    return tuple(pieces)
