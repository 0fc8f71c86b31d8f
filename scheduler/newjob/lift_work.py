"""The steps of a raised house and of a new stem wall under one, from the permit to close-in."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from rules.amounts.rates import man_h
from scheduler.newjob.answers import length_text
from scheduler.newjob.closing_work import close_in, outside
from scheduler.newjob.masonry_work import (
    COMPETENT,
    ENGINEER,
    INSPECTOR,
    courses,
    footing,
    sill,
    tighten,
)
from scheduler.newjob.numbers import Numbers
from scheduler.newjob.questions import Kind
from scheduler.newjob.step import LONGEST_PIECE_H, After, Draft, Step, crew_hours, gate
from scheduler.newjob.takeoff import lift
from scheduler.planning.model.job import Hold

BEFORE = "Before anything moves"
CRIBS = "Cribbing and beams"
UP = "Up, in steps, cribbing after each"
OLD = "The old wall"
DOWN = "Down, in steps"
POCKETS_A_BEAM = 2
LIFTER = "house_lifter"


def lift_draft(n: Numbers) -> Draft:
    """Return every step of a raised house or a new stem wall."""
    up = list(_up(n))
    old = list(_old_wall(n, up[-1].id))
    ground = list(footing(n, (old[-1].id,))) if n.new_footing else []
    takes_block = gate("footing", "take_block", material="concrete")
    begin: tuple[After, ...] = (takes_block if ground else old[-1].id,)
    steps = [
        *_before(n), *_cribs(n), *up, *old, *ground, *courses(n, begin),
        *_fill_openings(n), *sill(n), *_down(n),
    ]  # fmt: skip
    last = steps[-1].id
    steps += [tighten(n, ("sill", f"lower_{_lowering(n)}"))]
    steps += [
        *outside(n, ({"task": last, "wait_h": 24},), gate_on="top"),
        *close_in(n, (f"lower_{_lowering(n)}",)),
    ]
    steps.append(
        Step(
            "join",
            "Join power, water and gas again",
            "utilities",
            "Close in",
            4.0,
            "carpenters",
            ("close",),
            note="By the utility and licensed trades.",
            structural=True,
            holds=(Hold(("utility",), "power, water and gas joined by licensed trades"),),
        )
    )
    return Draft(tuple(steps), tuple(_papers(n)))


def _before(n: Numbers) -> Iterator[Step]:
    yield Step(
        "permit", "Permit in hand, buried lines marked", "inspection", BEFORE, 1.0, "carpenters",
        holds=(Hold((INSPECTOR,), "the permit, and the engineer's drawings of lift and wall"),),
        more={"not_before": n.start},
    )  # fmt: skip
    yield Step(
        "part", "Part power, water and gas; drain the lines", "utilities", BEFORE,
        crew_hours(n, "carpenters", man_h("utilities")), "carpenters", ("permit",),
        structural=True, may_pause=True,
        holds=(Hold(("utility",), "power, water and gas parted by licensed trades"),),
    )  # fmt: skip
    yield Step(
        "kit", "Blankets, covers, heater, fuel and gas meter on site", "material_handling", BEFORE,
        2.0, "masons", ("permit",),
        note="On site before the first night that needs it; nothing fresh is left without.",
    )  # fmt: skip


def _cribs(n: Numbers) -> Iterator[Step]:
    yield Step(
        "access", "Lane and bearing pads for the cribbing", "site_drainage", CRIBS,
        crew_hours(n, "digger", man_h("access")), "digger", ("permit",), may_pause=True,
    )  # fmt: skip
    yield Step(
        "pockets_cut", "Cut the pockets for the beams", "demolish_openings", CRIBS,
        crew_hours(n, "masons", man_h("cut_pocket", n.beams * POCKETS_A_BEAM)), "masons",
        ("part",), structural=True, may_pause=True,
        holds=(Hold((ENGINEER,), "where the pockets go and what carries the wall meanwhile"),),
        more={"opens": ["beam_pockets"]},
    )  # fmt: skip
    yield Step(
        "towers", "Build the cribbing towers", "material_handling", CRIBS,
        crew_hours(n, "lifter", man_h("set_tower", n.towers)), "lifter", ("access", "part"),
        structural=True, may_pause=True,
        holds=(Hold((LIFTER, COMPETENT), "firm level bearing under each tower"),),
    )  # fmt: skip
    yield Step(
        "beams", "Slide the beams in, set the jacks", "material_handling", CRIBS,
        crew_hours(n, "lifter", man_h("set_beam", n.beams)), "lifter", ("towers", "pockets_cut"),
        structural=True, may_pause=True,
        holds=(Hold((ENGINEER,), "beams and lifting points as drawn"),),
    )  # fmt: skip


def _up(n: Numbers) -> Iterator[Step]:
    steps = lift(n)
    hours = crew_hours(n, "lifter", man_h("jack_step", n.towers))
    for number, step in enumerate(steps, 1):
        rise = length_text(step.rise_m, n.units, small=True)
        more: dict[str, object] = {}
        if number == 1:
            more["opens"] = ["floor", *(_wall_openings(n) if not n.openings_cut else ())]
            if n.lifter_up is not None:
                more["appointment"] = _visit(n.lifter_up)
        yield Step(
            f"lift_{number}", f"Jack up {rise} and crib, step {number} of {len(steps)}",
            "raise_house", UP, hours, "lifter",
            ("beams" if number == 1 else f"lift_{number - 1}",), structural=True,
            may_pause=hours > LONGEST_PIECE_H,
            holds=_lift_holds(number), more=more,
            note=f"Towers then stand {step.layers} layers higher, {step.timbers} timbers in all.",
        )  # fmt: skip


def _lift_holds(number: int) -> tuple[Hold, ...]:
    looked = Hold((LIFTER, COMPETENT), "levels, jacks and cribs before each step")
    if number > 1:
        return (looked,)
    return (Hold((ENGINEER,), "the raised house's beams, cribs and bracing as drawn"), looked)


def _visit(at: object) -> Mapping[str, object]:
    return {"who": LIFTER, "at": at, "notice_h": 48}


def _old_wall(n: Numbers, after: str) -> Iterator[Step]:
    what, work = "Clean the old wall's top", man_h("clean", n.length_m)
    if n.kind is Kind.STEM_WALL:
        what, work = "Take down the old wall", man_h("demolish", n.length_m * n.wall_height)
    yield Step(
        "take_down", what, "demolish_openings", OLD,
        crew_hours(n, "masons", work), "masons", (after,), structural=True,
        may_pause=True, holds=(Hold((ENGINEER,), "what may go while the house is up"),),
    )  # fmt: skip
    if n.openings_cut:
        yield Step(
            "cut", "Cut the openings", "demolish_openings", OLD,
            crew_hours(n, "masons", man_h("cut_opening", n.openings_cut)), "masons",
            ("take_down",), structural=True, may_pause=True,
            holds=(Hold((ENGINEER,), "lintels, and what carries the wall meanwhile"),),
            more={"opens": [*_wall_openings(n)]},
        )  # fmt: skip


def _wall_openings(n: Numbers) -> tuple[str, ...]:
    """Return the part that stands open until windows, doors or block fill it; none without."""
    return ("wall_openings",) if n.windows or n.doors or n.openings_filled else ()


def _fill_openings(n: Numbers) -> Iterator[Step]:
    if not n.openings_filled:
        return
    face = n.openings_filled * n.opening_width * n.opening_height
    yield Step(
        "fill_openings", "Fill openings with block", "lay_block", "New courses",
        crew_hours(n, "masons", man_h("fill_opening", face)), "masons", ("lay",), may_pause=True,
        more={"grouted": False, "closes": ["wall_openings"]},
    )  # fmt: skip


def _lowering(n: Numbers) -> int:
    """Return in how many steps the house comes down on the new courses."""
    new = n.laid_m if n.kind is Kind.RAISED_HOUSE else 0.0
    down = n.raise_height - new
    return max(math.ceil(down / n.step - 1e-9), 1)


def _down(n: Numbers) -> Iterator[Step]:
    count = _lowering(n)
    hours = crew_hours(n, "lifter", man_h("lower_step", n.towers))
    carries = gate("top", "lower_house")
    for number in range(1, count + 1):
        more: dict[str, object] = {"load": "concentrated"}
        if number == count:
            more["closes"] = ["floor"]
        if number == 1 and n.lifter_back is not None:
            more["appointment"] = _visit(n.lifter_back)
        yield Step(
            f"lower_{number}", f"Lower the house, step {number} of {count}", "lower_house", DOWN,
            hours, "lifter", ("sill", carries) if number == 1 else (f"lower_{number - 1}",),
            structural=True, may_pause=hours > LONGEST_PIECE_H, more=more,
            holds=(
                Hold((ENGINEER,), "age and strength of the wall against what it is to carry"),
                Hold((LIFTER, COMPETENT), "levels, jacks, cribs, ice and wind this morning"),
            ),
        )  # fmt: skip
    yield Step(
        "beams_out", "Draw the beams", "material_handling", DOWN,
        crew_hours(n, "lifter", man_h("pull_beam", n.beams)), "lifter", (f"lower_{count}",),
        structural=True, may_pause=True,
        holds=(Hold((LIFTER, COMPETENT), "the house bearing all along the sill"),),
    )  # fmt: skip
    yield Step(
        "pockets", "Fill the beam pockets", "infill_pockets", DOWN,
        crew_hours(n, "masons", man_h("pocket", n.beams * POCKETS_A_BEAM)), "masons",
        ("beams_out",), structural=True, may_pause=True,
        holds=(Hold((ENGINEER,), "how the pockets are filled and what they carry"),),
        more={"grouted": True, "element": {"cement": "type_i_ii"}, "closes": ["beam_pockets"]},
    )  # fmt: skip


def _papers(n: Numbers) -> Iterator[Mapping[str, object]]:
    looks = ["footing_look", "cells_look"] if n.new_footing else ["cells_look"]
    yield {
        "id": "inspector", "kind": "appointment", "role": "inspector", "for_task": looks,
        "notice_h": 24, "hours": "weekdays 08:00-15:30",
    }  # fmt: skip
    yield {
        "id": "lifter", "kind": "supplier", "supplier_of": "house_lifting",
        "for_task": ["lift_1", "lower_1"], "notice_h": 48,
    }  # fmt: skip
    yield {
        "id": "grout_plant", "kind": "supplier", "supplier_of": "grout", "for_task": "grout",
        "notice_h": 20, "closes": "16:30",
    }  # fmt: skip
