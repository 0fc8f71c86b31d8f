"""What a job takes, line by line: net amount, waste, source, and what it is needed for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rules.amounts.bars import (
    anchors_in,
    beam_bars_m,
    core_bars_m,
    dowels_m,
    lap_m,
    sill_pieces,
    stock_bars,
)
from rules.amounts.blocks import INCH_M, WallUnits, mortar_m3, wall_units
from rules.amounts.closing import COVER_OVERLAP, blanket_m2, cartridges, tape_m, top_cover_m2
from rules.amounts.cribs import Step, lift_steps
from rules.amounts.grout import beam_grout_m3, core_grout_m3, cores_in
from scheduler.newjob.numbers import DOOR_M, Numbers
from scheduler.newjob.questions import Kind

UNIT_WASTE: Final = 0.05  # common practice, no source
GROUT_WASTE: Final = 0.10  # 3 to 10 %, from memory
EMBEDMENT_M: Final = 6 * INCH_M  # of dowels in what is there; the engineer's drawing decides
JOINT_M3_PER_M2: Final = 0.012  # mortar to repoint a face, from memory
GEOMETRY: Final = "geometry"
PRACTICE: Final = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Line:
    """One thing to buy, hire or have: ``net`` in its unit (count, m, m2, m3)."""

    key: str
    what: str
    net: float
    unit: str
    waste: float
    source: str
    for_task: str  # what needs it first
    lead_days: int

    @property
    def with_waste(self) -> float:
        """Return the amount to order, not yet rounded up."""
        return self.net * (1.0 + self.waste)


@dataclass(frozen=True, slots=True)
class Counted:
    """What a job takes, and the numbers it was counted from."""

    numbers: Numbers
    lines: tuple[Line, ...]
    wall: WallUnits | None  # course by course and run by run; None: a repair
    steps: tuple[Step, ...]  # of the lift, with the cribbing after each


def counted(n: Numbers) -> Counted:
    """Return the whole count of a job: what it takes, its courses, the steps of its lift."""
    return Counted(
        numbers=n,
        lines=takeoff(n),
        wall=None if n.kind is Kind.REPAIR else wall(n),
        steps=lift(n) if n.lifts else (),
    )


def lift(n: Numbers) -> tuple[Step, ...]:
    """Return the steps of the lift."""
    return lift_steps(n.raise_height, step_m=n.step, towers=n.towers, timber_m=n.timber)


def takeoff(n: Numbers) -> tuple[Line, ...]:
    """Return what a job takes, in the order it is needed; lines of nothing are left out."""
    made = _repair(n) if n.kind is Kind.REPAIR else _wall(n)
    return tuple(line for line in made if line.net > 0)


def first_fresh(n: Numbers) -> str:
    """Return the task by which covers, blankets and heat must be there: nothing fresh without."""
    if n.kind is Kind.REPAIR:
        return "replace" if n.units_replaced else "repoint"
    return "forms" if n.new_footing else "lay"


def _heater(n: Numbers) -> Line:
    what = "heater, with fuel and gas meter"
    return Line("heater", what, 1, "count", 0, PRACTICE, first_fresh(n), n.kit_days)


def wall(n: Numbers) -> WallUnits:
    """Return the units of the new courses; windows and doors stand above or below them."""
    return wall_units(n.runs, courses=n.courses, block=n.unit, closed=n.closed)


def cores(n: Numbers) -> int:
    """Return the grouted cores."""
    return cores_in(n.runs, spacing_m=n.core_spacing, closed=n.closed)


def grout_m3(n: Numbers) -> float:
    """Return the grout of cores and bond beam, waste not in it."""
    volume = core_grout_m3(cores(n), courses=n.courses, block=n.unit)
    if n.bond_beam:
        volume += beam_grout_m3(n.length_m, cores=cores(n), block=n.unit)
    return volume


def footing_m3(n: Numbers) -> float:
    """Return the concrete of a new footing, waste not in it."""
    return n.length_m * n.footing_width * n.footing_depth if n.new_footing else 0.0


def _wall(n: Numbers) -> Iterator[Line]:
    if n.lifts:
        yield from _lift(n)
    yield from _masonry(n)
    yield from _steel(n)
    yield from _cover(n)
    yield from _close(n)


def _lift(n: Numbers) -> Iterator[Line]:
    steps = lift(n)
    yield Line("beams", "lifting beams", n.beams, "count", 0, PRACTICE, "beams", n.steel_days)
    yield Line("jacks", "jacks", n.jacks, "count", 0, PRACTICE, "lift_1", n.steel_days)
    # each tower stands two layers high before the first step, to jack from
    timbers = steps[-1].timbers + n.towers * 4
    yield Line(
        "timbers",
        "cribbing timbers, two to a layer",
        timbers,
        "count",
        0,
        PRACTICE,
        "towers",
        n.steel_days,
    )


def _masonry(n: Numbers) -> Iterator[Line]:
    laid = wall(n)
    block, first = n.block_days, "lay"
    yield Line(
        "units",
        f"units {n.block}, whole",
        laid.to_order - laid.halves // 2,
        "count",
        UNIT_WASTE,
        "Navy builder's manual: three quarters of a unit to the foot of course",
        first,
        block,
    )
    yield Line("halves", "half units", laid.halves, "count", UNIT_WASTE, GEOMETRY, first, block)
    yield Line(
        "corners", "of the units, corner units", laid.corners, "count", 0, GEOMETRY, first, block
    )
    if n.openings_filled:
        face = n.openings_filled * n.opening_width * n.opening_height
        count = face / (n.unit.length_m * n.unit.height_m)
        yield Line(
            "fill_units",
            "units to fill openings",
            count,
            "count",
            UNIT_WASTE,
            GEOMETRY,
            "fill_openings",
            block,
        )
    yield Line(
        "mortar",
        "mortar, waste in it",
        mortar_m3(laid.face_m2),
        "m3",
        0,
        "older cement handbooks, 8.5 cu ft for 100 sq ft, from memory",
        first,
        block,
    )
    filled = core_grout_m3(cores(n), courses=n.courses, block=n.unit)
    table = "inspector's handbook: 0.1344 cu ft a core and course, from memory"
    what = f"grout in {cores(n)} cores"
    yield Line("grout", what, filled, "m3", GROUT_WASTE, table, "grout", n.grout_days)
    solid = "inspector's handbook: 1.12 cu yd fills 100 sq ft solid, from memory"
    beam = grout_m3(n) - filled
    yield Line(
        "beam_grout", "grout in the bond beam", beam, "m3", GROUT_WASTE, solid, "top", n.grout_days
    )
    yield Line(
        "concrete",
        "concrete of the footing",
        footing_m3(n),
        "m3",
        GROUT_WASTE,
        GEOMETRY,
        "footing",
        n.grout_days,
    )


def _steel(n: Numbers) -> Iterator[Line]:
    count = cores(n)
    size = f"bars no. {n.bar}"
    source = (
        f"laps of 48 diameters, {lap_m(n.bar) / INCH_M:g} in., from memory; the drawing decides"
    )
    upright = core_bars_m(count, height_m=n.laid_m, bar=n.bar)
    dowels = dowels_m(count, embedment_m=EMBEDMENT_M, bar=n.bar)
    yield Line("bars", f"{size} upright", upright, "m", 0, source, "grout", n.block_days)
    yield Line("dowels", f"{size} as dowels", dowels, "m", 0, source, "dowels", n.block_days)
    beam = beam_bars_m(n.runs, bars=n.beam_bars, bar=n.bar, closed=n.closed) if n.bond_beam else 0
    yield Line(
        "beam_bars", f"{size} in the bond beam", beam, "m", 0, source, "grout", n.block_days
    )
    stock = stock_bars(upright + dowels + beam)
    yield Line(
        "stock", f"of these, {size} of 20 ft", stock, "count", 0, GEOMETRY, "dowels", n.block_days
    )
    pieces = sill_pieces(n.runs)
    anchors = anchors_in(pieces, spacing_m=n.anchor_spacing)
    irc = "IRC R403.1.6, from memory: 6 ft apart, two a piece, 12 in. from its ends"
    yield Line("anchors", "sill anchors", anchors, "count", 0, irc, "grout", n.block_days)
    yield Line(
        "sill", "sill plate and gasket", n.length_m, "m", 0.05, PRACTICE, "sill", n.block_days
    )


def _cover(n: Numbers) -> Iterator[Line]:
    thick, days = n.unit.thickness_m, n.kit_days
    tms = "TMS 602 protection of fresh masonry, from memory; overlaps common practice"
    yield Line(
        "sheet",
        "sheet over the wall's top",
        top_cover_m2(n.length_m, thickness_m=thick),
        "m2",
        0,
        tms,
        first_fresh(n),
        days,
    )
    area = blanket_m2(n.length_m, height_m=n.laid_m, thickness_m=thick)
    yield Line("blankets", "insulating blankets", area, "m2", 0, tms, first_fresh(n), days)
    yield _heater(n)


def _close(n: Numbers) -> Iterator[Line]:
    days = n.window_days
    yield Line("windows", "windows", n.windows, "count", 0, PRACTICE, "windows", days)
    yield Line("doors", "outside doors", n.doors, "count", 0, PRACTICE, "windows", days)
    tape = n.windows * tape_m(n.window_width, n.window_height) + n.doors * tape_m(*DOOR_M)
    yield Line("tape", "self-adhered flashing", tape, "m", 0.10, GEOMETRY, "flash", n.kit_days)
    count = cartridges(n.seal_length)
    yield Line(
        "sealant",
        "sealant, cartridges of 10.1 fl oz",
        count,
        "count",
        0.10,
        "3/8 by 1/4 in. joint, geometry",
        "seal",
        n.kit_days,
    )


def _repair(n: Numbers) -> Iterator[Line]:
    block, kit = n.block_days, n.kit_days
    yield Line(
        "units",
        "units or bricks to replace",
        n.units_replaced,
        "count",
        UNIT_WASTE,
        GEOMETRY,
        "replace",
        block,
    )
    yield Line(
        "mortar",
        "pointing mortar",
        n.repair_area * JOINT_M3_PER_M2,
        "m3",
        0.10,
        "about 12 l to the square metre, from memory",
        "repoint",
        block,
    )
    yield Line("cap", "cap or coping", n.cap_length, "m", 0.05, GEOMETRY, "cap", block)
    yield Line(
        "sheet",
        "sheets to hang before the scaffold",
        n.repair_area * (1 + COVER_OVERLAP),
        "m2",
        0,
        PRACTICE,
        first_fresh(n),
        kit,
    )
    yield _heater(n)
