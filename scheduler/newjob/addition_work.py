"""The steps of a small block addition, from the ground to closed in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rules.amounts.rates import man_h
from scheduler.newjob.closing_work import CLOSE, close_in, outside
from scheduler.newjob.masonry_work import ENGINEER, INSPECTOR, courses, footing, sill, tighten
from scheduler.newjob.numbers import Numbers
from scheduler.newjob.step import Draft, Step, crew_hours, gate
from scheduler.planning.model.job import Hold

BEFORE = "Before work"
ROOF = "Floor, frame, roof"


def addition_draft(n: Numbers) -> Draft:
    """Return every step of an addition."""
    begin = (gate("footing", "take_block", material="concrete"),)
    steps = [*_before(n), *footing(n, ("permit",)), *courses(n, begin), *sill(n), *_roof(n)]
    steps.append(tighten(n, ("sill",)))
    steps += [
        *outside(n, ("frame",), gate_on="top"),
        *close_in(n, ("break_through" if n.windows + n.doors else "roof",)),
    ]
    return Draft(tuple(steps), tuple(_papers()))


def _before(n: Numbers) -> Iterator[Step]:
    yield Step(
        "permit", "Permit in hand, buried lines marked", "inspection", BEFORE, 1.0, "carpenters",
        holds=(Hold((INSPECTOR,), "the permit, and drawings of footing, wall and roof"),),
        more={"not_before": n.start},
    )  # fmt: skip
    yield Step(
        "kit", "Blankets, covers, heater, fuel and gas meter on site", "material_handling", BEFORE,
        2.0, "masons", ("permit",), note="On site before the first night that needs it.",
    )  # fmt: skip


def _roof(n: Numbers) -> Iterator[Step]:
    yield Step(
        "frame", "Frame floor and walls on the sill", "framing", ROOF,
        crew_hours(n, "carpenters", man_h("frame", n.length_m)), "carpenters",
        ("sill", gate("top", "concentrated_load")),
        structural=True, may_pause=True,
        holds=(Hold((ENGINEER, INSPECTOR), "braces of the frame, and what it bears on"),),
    )  # fmt: skip
    yield Step(
        "roof", "Roof the addition", "roofing", ROOF,
        crew_hours(n, "carpenters", man_h("roof", n.length_m)), "carpenters", ("frame",),
        structural=True, may_pause=True, more={"closes": ["roof"]},
        holds=(Hold(("competent_person",), "ties against falls, ice and wind on the roof"),),
    )  # fmt: skip
    if n.windows + n.doors:
        yield Step(
            "break_through", "Open the wall to the old house", "demolish_openings", CLOSE,
            crew_hours(n, "masons", man_h("cut_opening")), "masons", ("roof",), structural=True,
            may_pause=True, holds=(Hold((ENGINEER,), "lintel and props of the old wall"),),
        )  # fmt: skip


def _papers() -> Iterator[Mapping[str, object]]:
    yield {
        "id": "inspector", "kind": "appointment", "role": "inspector",
        "for_task": ["footing_look", "cells_look"], "notice_h": 24,
        "hours": "weekdays 08:00-15:30",
    }  # fmt: skip
    yield {
        "id": "grout_plant", "kind": "supplier", "supplier_of": "grout", "for_task": "grout",
        "notice_h": 20, "closes": "16:30",
    }  # fmt: skip
