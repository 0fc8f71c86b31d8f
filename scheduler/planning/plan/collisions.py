"""Why a job has no plan, in the job's own terms and moments."""

from __future__ import annotations

from datetime import datetime

from scheduler.planning.model.calendars import moment_of
from scheduler.planning.model.frame import Frame
from scheduler.planning.plan.plan_answer import CollisionLine
from scheduler.planning.schedule.collisions import Collision, collisions
from scheduler.planning.schedule.network import Plan, Problem, Status
from scheduler.planning.tables.finish import NEVER


def collision_lines(frame: Frame, problem: Problem, plan: Plan) -> tuple[CollisionLine, ...]:
    """Return the requirements that collide; nothing where there is a plan, or none was proven."""
    if plan.status is not Status.INFEASIBLE:
        return ()
    found = collisions(problem)
    if found.season_too_short:
        return (CollisionLine("season", "", "", moment_of(frame.hour_zero, frame.hours), None),)
    return tuple(
        CollisionLine(
            one.kind,
            one.task,
            one.other,
            _moment(frame, _hour_of(problem, one)),
            _moment(frame, one.close_in),
        )
        for one in found.found
    )


def _hour_of(problem: Problem, one: Collision) -> int:
    """Return the hour that a requirement names; NEVER where it names none."""
    work = next((w for w in problem.tasks if w.id == one.task), None)
    if work is None:
        return NEVER
    if one.kind == "appointment" and work.booking is not None:
        return work.booking.start
    return work.not_before if one.kind == "not_before" else NEVER


def _moment(frame: Frame, hour: int) -> datetime | None:
    return moment_of(frame.hour_zero, hour) if hour < NEVER else None
