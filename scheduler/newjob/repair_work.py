"""The steps of a chimney or wall repair: scaffold, broken units, joints, cap, seal."""

from __future__ import annotations

from collections.abc import Iterator

from rules.amounts.rates import man_h
from scheduler.newjob.masonry_work import COMPETENT, ENGINEER, INSPECTOR
from scheduler.newjob.numbers import Numbers
from scheduler.newjob.step import After, Draft, Step, crew_hours
from scheduler.planning.model.job import Hold

BEFORE = "Before work"
REPAIR = "The repair"
AFTER = "After it"


def repair_draft(n: Numbers) -> Draft:
    """Return every step of a repair."""
    return Draft((*_before(n), *_repair(n), *_after(n)))


def _hours(n: Numbers, name: str, amount: float = 1.0) -> float:
    return crew_hours(n, "masons", man_h(name, amount))


def _before(n: Numbers) -> Iterator[Step]:
    yield Step(
        "permit", "Permit in hand; the engineer has seen the wall", "inspection", BEFORE, 1.0,
        "masons", holds=(Hold((INSPECTOR, ENGINEER), "what is to stay up meanwhile, and how"),),
        more={"not_before": n.start},
    )  # fmt: skip
    yield Step(
        "kit", "Sheets, heater, fuel and gas meter on site", "material_handling", BEFORE, 2.0,
        "masons", ("permit",), note="On site before the first night that needs it.",
    )  # fmt: skip
    if n.scaffold_height > 0:
        yield Step(
            "scaffold", "Build the scaffold", "scaffold_work", BEFORE,
            _hours(n, "scaffold", n.scaffold_height), "masons", ("permit",), structural=True,
            may_pause=True,
            holds=(Hold((COMPETENT,), "the scaffold, before each shift and after wind"),),
        )  # fmt: skip


def _repair(n: Numbers) -> Iterator[Step]:
    up: tuple[After, ...] = ("scaffold", "kit") if n.scaffold_height > 0 else ("permit", "kit")
    yield Step(
        "rake", "Rake out the joints", "demolish_openings", REPAIR,
        _hours(n, "rake", n.repair_area), "masons", up, structural=True, may_pause=True,
        holds=(Hold((ENGINEER, COMPETENT), "how much may be open at once"),),
    )  # fmt: skip
    before: tuple[After, ...] = ("rake",)
    if n.units_replaced:
        yield Step(
            "replace", "Replace broken units", "lay_block", REPAIR,
            _hours(n, "replace_unit", n.units_replaced), "masons", before, structural=True,
            may_pause=True, more={"grouted": False},
            holds=(Hold((ENGINEER, COMPETENT), "props, and the order in which units go"),),
        )  # fmt: skip
        before = ("replace",)
    yield Step(
        "repoint", "Repoint", "lay_block", REPAIR, _hours(n, "repoint", n.repair_area), "masons",
        before, may_pause=True, more={"grouted": False},
    )  # fmt: skip
    if n.cap_length:
        yield Step(
            "cap", "Renew the cap", "lay_block", REPAIR, _hours(n, "cap", n.cap_length), "masons",
            ("repoint",), may_pause=True, more={"grouted": False, "closes": ["wall_top"]},
        )  # fmt: skip


def _after(n: Numbers) -> Iterator[Step]:
    last = "cap" if n.cap_length else "repoint"
    closes = {} if n.cap_length else {"closes": ["wall_top"]}
    yield Step(
        "seal", "Seal the joints at roof and wall", "seal_joints", AFTER, _hours(n, "seal", 6.0),
        "masons", ({"task": last, "wait_h": 48},), may_pause=True, more=closes,
    )  # fmt: skip
    if n.scaffold_height > 0:
        yield Step(
            "strike", "Take the scaffold down", "scaffold_work", AFTER,
            _hours(n, "scaffold", n.scaffold_height / 2), "masons", ("seal",), structural=True,
            may_pause=True, holds=(Hold((COMPETENT,), "wind and ice on the planks"),),
        )  # fmt: skip
