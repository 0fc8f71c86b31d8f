"""Why there is no plan, in words: what cannot be met together, and what would free it."""

from __future__ import annotations

from scheduler.output.words import clock, words
from scheduler.planning.model.job import Job
from scheduler.planning.plan.plan_answer import CollisionLine


def collision_lines(found: tuple[CollisionLine, ...], job: Job) -> list[str]:
    """Return a line for each requirement; nothing where there is a plan."""
    if not found:
        return []
    zone = job.site.time_zone
    if found[0].kind == "season":
        return [f"The work alone does not fit before the season's end, {clock(found[0].at, zone)}"]
    lines = ["These cannot all be met:"]
    for one in found:
        freed = "the others collide still"
        if one.close_in is not None:
            freed = f"close-in {clock(one.close_in, zone)}"
        lines.append(f"  {_what(one, job)} (without it: {freed})")
    return lines


def _what(one: CollisionLine, job: Job) -> str:
    zone, names = job.site.time_zone, {task.id: task.name for task in job.tasks}
    crews = {crew.id: crew.name for crew in job.crews}
    task, other = names.get(one.task, one.task), names.get(one.other, one.other)
    told = {
        "appointment": f"{task}: the appointment of {clock(one.at, zone)} and the slots offered",
        "slots": f"{task}: only at the hours offered",
        "not_before": f"{task}: not before {clock(one.at, zone)}",
        "weather": f"{task}: only in fit weather",
        "wait": f"{task}: its wait or strength gate after {other}",
        "in_time": f"{task}: soon enough after {other}",
        "crew": f"{crews.get(one.task, words(one.task))}: no more of them than there are",
    }
    return told[one.kind]
