"""Footing, courses, grout, sill: the steps that all walls share."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rules.amounts.labour import grout_man_h, wall_man_h
from rules.amounts.rates import man_h
from scheduler.newjob.numbers import Numbers
from scheduler.newjob.step import After, Step, crew_hours, gate, pieces
from scheduler.newjob.takeoff import cores, footing_m3, grout_m3, wall
from scheduler.planning.model.job import Hold

ENGINEER = "engineer"
INSPECTOR = "inspector"
COMPETENT = "competent_person"
FOOTING = "Footing"
COURSES = "New courses"
SILL = "Sill"


def footing(n: Numbers, after: tuple[After, ...]) -> Iterator[Step]:
    """Yield the steps of a new footing, to the look at its bottom and the pour."""

    def hours(crew: str, name: str, amount: float) -> float:
        return crew_hours(n, crew, man_h(name, amount))

    yield Step(
        "dig", "Dig for the footing", "open_ground", FOOTING, hours("digger", "dig", n.length_m),
        "digger", after, structural=True, may_pause=True,
        holds=(Hold((COMPETENT,), "sides, water and what stands beside the cut, each day"),),
        note="An old footing beside the cut may move: the engineer says how it is held.",
    )  # fmt: skip
    yield Step(
        "forms", "Forms and bars of the footing", "set_forms", FOOTING,
        hours("masons", "form", n.length_m), "masons", ("dig",), may_pause=True,
    )  # fmt: skip
    yield Step(
        "footing_look", "Inspector looks at the bottom and the bars", "inspection", FOOTING, 1.0,
        "masons", ("forms",),
        holds=(Hold((INSPECTOR,), "firm unfrozen bottom, forms, bars"),),
    )  # fmt: skip
    yield from _pours(
        Step(
            "footing", "Place the footing", "place_footing", FOOTING,
            hours("masons", "place_concrete", footing_m3(n)), "masons", ("footing_look",),
            structural=True,
            holds=(Hold((INSPECTOR, ENGINEER), "the looked-at bottom as it was"),),
            more={"element": {"section_m": round(n.footing_depth, 3), "cement": "type_i_ii"}},
        )
    )  # fmt: skip


def courses(n: Numbers, after: tuple[After, ...]) -> Iterator[Step]:
    """Yield dowels, courses, the inspector's look, grout and the top course."""
    laid = wall(n)
    height = {"height_m": round(n.wall_height, 3), "thickness_m": round(n.unit.thickness_m, 4)}
    yield Step(
        "dowels", "Drill and set the dowels", "set_dowels", COURSES,
        crew_hours(n, "masons", man_h("dowel", cores(n))), "masons", after,
        may_pause=True, structural=True,
        holds=(Hold((ENGINEER,), "size, depth and place of dowels on a drawing"),),
    )  # fmt: skip
    own = n.units_per_hour
    work = wall_man_h(laid.face_m2) if own is None else laid.units / own
    lay_h = crew_hours(n, "masons", work)
    rate = round(laid.to_order / lay_h, 2)
    yield Step(
        "lay", f"Lay {n.courses} courses", "lay_block", COURSES, lay_h, "masons",
        ("dowels", "kit"), may_pause=True, structural=True,
        holds=(Hold((COMPETENT,), "braces of the fresh wall, and the zone beside it"),),
        note="Hours by NAVFAC P-405, 160 man-hours for 1000 sq ft, longer in the cold."
        if own is None
        else f"Hours by your own {own:g} units an hour and person, longer in the cold.",
        more={
            "quantity": {"amount": laid.to_order, "unit": "block", "per_hour": rate},
            "grouted": False, "element": height,
        },
    )  # fmt: skip
    yield Step(
        "cells_look", "Inspector looks at bars and cells", "inspection", COURSES, 1.0, "masons",
        ("lay",), holds=(Hold((INSPECTOR,), "bars, laps, cells clean to the bottom"),),
    )  # fmt: skip
    yield from _grout(n, height)


def _grout(n: Numbers, height: dict[str, float]) -> Iterator[Step]:
    element = {"cement": "type_i_ii", **height}
    hold = (Hold((INSPECTOR, ENGINEER), "the look at the cells signed"),)
    work = grout_man_h(grout_m3(n)) + man_h("anchor", cores(n))
    yield from _pours(
        Step(
            "grout", "Bar and grout the cores", "place_grout", COURSES,
            crew_hours(n, "masons", work), "masons",
            ("cells_look", gate("lay", "grout_masonry")), structural=True, holds=hold,
            more={"grouted": True, "element": element},
            note="Height of a lift, and openings at the foot, as the code in force says.",
        )
    )  # fmt: skip
    beam = "bond beam" if n.bond_beam else "top course"
    yield from _pours(
        Step(
            "top", f"Fill the {beam}, set the sill anchors", "fill_top_course", COURSES,
            crew_hours(n, "masons", man_h("top_course", n.length_m)), "masons", ("grout",),
            structural=True, holds=hold, more={"grouted": True, "element": element},
        )
    )  # fmt: skip


def _pours(whole: Step) -> Iterator[Step]:
    """Yield a pour in parts that fit a shift; the last part keeps the name."""
    parts = pieces(whole.hours)
    before = whole.after
    for number, hours in enumerate(parts, 1):
        last = number == len(parts)
        step_id = whole.id if last else f"{whole.id}_{number}"
        name = whole.name if len(parts) == 1 else f"{whole.name}, part {number}"
        yield replace(
            whole, id=step_id, name=name, hours=hours, after=before,
            note=whole.note if number == 1 else "",
        )  # fmt: skip
        before = (step_id,)


def sill(n: Numbers) -> Iterator[Step]:
    """Yield the sill plate, when the wall may take it."""
    yield Step(
        "sill", "Set the sill gasket and plate", "set_sill", SILL,
        crew_hours(n, "carpenters", man_h("sill", n.length_m)), "carpenters",
        (gate("top", "uniform_load"),),
        may_pause=True,
    )  # fmt: skip


def tighten(n: Numbers, after: tuple[After, ...]) -> Step:
    """Return the full tightening of the anchors."""
    opening = gate("top", "tighten_anchors")
    return Step(
        "tighten", "Tighten the sill anchors in full", "framing", SILL,
        crew_hours(n, "carpenters", man_h("anchor", cores(n))), "carpenters", (*after, opening),
    )  # fmt: skip
