"""The parts of a draft: one step of the work, and the whole of what a job file will say."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from rules.amounts.labour import cold_output
from rules.gates import gates, specified_mpa
from scheduler.newjob.numbers import Numbers
from scheduler.planning.model.job import Hold

After = str | Mapping[str, object]
LONGEST_PIECE_H: Final = 8.0  # what must not stop overnight is done in a shift
LONGEST_POUR_H: Final = 6.0  # set-up, cover and the walk round come on top
HUMIDITY_PCT: Final = 70.0  # taken for the loss of output in the cold


@dataclass(frozen=True, slots=True)
class Step:
    """One task of the draft: its hours are those of the crew, the cold's loss in them."""

    id: str
    name: str
    work_type: str
    section: str
    hours: float
    crew: str
    after: tuple[After, ...] = ()
    note: str = ""  # a remark in the file
    structural: bool = False  # people or the house can be hurt: it has a hold
    may_pause: bool = False
    holds: tuple[Hold, ...] = ()
    more: Mapping[str, object] = field(default_factory=dict)  # further keys of the task


@dataclass(frozen=True, slots=True)
class Draft:
    """What a kind of job says beside the numbers."""

    steps: tuple[Step, ...]
    documents: tuple[Mapping[str, object], ...] = ()


def crew_hours(n: Numbers, crew: str, man_h: float) -> float:
    """Return the hours that a crew takes, longer in the cold, up to the next half hour."""
    people = {
        "masons": n.masons,
        "carpenters": n.carpenters,
        "digger": n.diggers,
        "lifter": n.lifters,
    }[crew]
    output = float(
        cold_output(
            air_temperature_c=np.asarray(n.work_temperature),
            relative_humidity_pct=np.asarray(HUMIDITY_PCT),
            wind_speed_ms=np.asarray(0.0),
        )
    )
    return max(math.ceil(man_h / people / output * 2 - 1e-9) / 2, 0.5)


def gate(task: str, purpose: str, *, material: str = "grout") -> After:
    """Return a link that opens with the strength and the wait that the book asks for a purpose."""
    row = gates()[purpose]
    share = round(row.needed_share(specified_mpa(material)), 3)
    if not share:  # the book asks a wait alone
        return {"task": task, "wait_h": row.wait_h}
    return {"task": task, "gate": {"share": share, "wait_h": row.wait_h, "purpose": purpose}}


def pieces(hours: float) -> tuple[float, ...]:
    """Return equal pieces of a pour that none of them outlasts the longest."""
    count = max(math.ceil(hours / LONGEST_POUR_H), 1)
    return (max(math.ceil(hours / count * 2) / 2, 0.5),) * count
