"""Outside of the wall, windows, flashing, sealing, insulation: to close-in."""

from __future__ import annotations

from collections.abc import Iterator

from rules.amounts.rates import man_h
from scheduler.newjob.masonry_work import ENGINEER
from scheduler.newjob.numbers import Numbers
from scheduler.newjob.step import After, Step, crew_hours, gate
from scheduler.planning.model.job import Hold

OUTSIDE = "Outside of the wall"
CLOSE = "Close in"
LABEL = "The label governs: write it as a document of `kind: label` and name it here as `label`."


def outside(n: Numbers, after: tuple[After, ...], *, gate_on: str) -> Iterator[Step]:
    """Yield dampproofing, drains and backfill; the fill waits for floor, strength and engineer."""
    face = n.length_m * n.wall_height
    yield Step(
        "dampproof", "Dampproof the wall", "dampproof", OUTSIDE,
        crew_hours(n, "masons", man_h("dampproof", face)), "masons", after, may_pause=True,
    )  # fmt: skip
    yield Step(
        "drain", "Drain and stone at the footing", "site_drainage", OUTSIDE,
        crew_hours(n, "digger", man_h("drain", n.length_m)), "digger", ("dampproof",),
        may_pause=True,
    )  # fmt: skip
    if n.fill_height <= 0:
        return
    yield Step(
        "backfill", "Backfill against the wall", "backfill", OUTSIDE,
        crew_hours(n, "digger", man_h("backfill", n.length_m * n.fill_height)), "digger",
        ("drain", gate(gate_on, "backfill")),
        structural=True, may_pause=True,
        holds=(Hold((ENGINEER,), "floor fastened to the wall, or the wall braced"),),
        more={"element": {"unbalanced_height_m": round(n.fill_height, 3), "floor_attached": True}},
    )  # fmt: skip


def close_in(n: Numbers, after: tuple[After, ...]) -> Iterator[Step]:
    """Yield what closes the openings; nothing for a wall without windows and doors."""
    count = n.windows + n.doors
    if count:
        yield from _openings(n, after, count)
        after = ("windows",)
    last: tuple[After, ...] = ("seal",) if count and n.seal_length else after
    yield Step(
        "insulate", "Insulate", "insulate", CLOSE,
        crew_hours(n, "carpenters", man_h("insulate", n.length_m)), "carpenters", last,
        may_pause=True,
    )  # fmt: skip
    yield Step(
        "close", "Close the walls", "close_walls", CLOSE,
        crew_hours(n, "carpenters", man_h("close_walls", n.length_m)), "carpenters",
        ("insulate",), may_pause=True,
    )  # fmt: skip


def _openings(n: Numbers, after: tuple[After, ...], count: int) -> Iterator[Step]:
    def hours(man_hours: float) -> float:
        return crew_hours(n, "carpenters", man_hours)

    yield Step(
        "sheathe", "Frame and sheathe the openings", "sheathe", CLOSE,
        hours(man_h("sheathe", count)), "carpenters", after, may_pause=True,
    )  # fmt: skip
    yield Step(
        "windows", "Set windows and doors", "set_windows", CLOSE,
        hours(man_h("window", n.windows) + man_h("door", n.doors)), "carpenters", ("sheathe",),
        may_pause=True, more={"closes": ["wall_openings"]},
    )  # fmt: skip
    yield Step(
        "flash", "Stick the flashing", "flash_openings", CLOSE, hours(man_h("flash", count)),
        "carpenters", ("windows",), may_pause=True,
        more={"closes": ["window_joints"]}, note=LABEL,
    )  # fmt: skip
    if n.seal_length:
        yield Step(
            "seal", "Seal the joints", "seal_joints", CLOSE,
            hours(man_h("seal", n.seal_length)), "carpenters", ("flash",), may_pause=True,
            more={"closes": ["window_joints"]}, note=LABEL,
        )  # fmt: skip
