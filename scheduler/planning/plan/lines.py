"""A plan as lines of an answer: hours and what they rest on, open parts, notes."""

from __future__ import annotations

from datetime import datetime, timedelta

from scheduler.planning.model.calendars import moment_of
from scheduler.planning.model.envelope import OpenPart, hour_opened, open_parts
from scheduler.planning.model.frame import Frame, shift_of
from scheduler.planning.model.job import State, Task
from scheduler.planning.model.standing import standing_holds
from scheduler.planning.open_house.closein_date import CloseInAnswer
from scheduler.planning.open_house.closing_work import FitHours, fit_hours
from scheduler.planning.plan.judged_job import Judged
from scheduler.planning.plan.plan_answer import Basis, PlanAnswer, PlanLine
from scheduler.planning.schedule.network import Plan
from scheduler.planning.tables.finish import NEVER, IntArray
from scheduler.planning.windows.task_weather import MAY


def answer_of(
    frame: Frame, judged: Judged, plan: Plan, found: CloseInAnswer | None, now: datetime
) -> PlanAnswer:
    """Return the answer with its lines, the date and what they rest on; odds come later."""
    lines = [_line(frame, judged, plan, task) for task in frame.job.tasks]
    lines.sort(key=lambda line: (not line.done, line.start is None, line.start or now))
    close_in = moment_of(frame.hour_zero, plan.close_in) if plan.close_in < NEVER else None
    basis = None if close_in is None else _basis(judged, plan.close_in)
    return PlanAnswer(
        job=frame.job.name,
        at=now,
        status=plan.status.value,
        proof=plan.proof,
        tasks=tuple(lines),
        close_in=close_in,
        close_in_basis=basis,
        date=found,
        forecast_until=moment_of(frame.hour_zero, judged.tail_from),
        notes=_notes(judged, basis),
        stale=judged.stale,
    )


def _line(frame: Frame, judged: Judged, plan: Plan, task: Task) -> PlanLine:
    placed = next((row for row in plan.placed if row.id == task.id), None)
    standing = frame.standing[task.id]
    visit = task.appointment
    done = standing.state is State.DONE
    start = moment_of(frame.hour_zero, placed.start) if placed else standing.started
    finish = moment_of(frame.hour_zero, placed.finish) if placed else standing.finished
    if placed and start and not task.may_pause:  # as long as the work takes, in parts of an hour
        took = task.set_up_h + standing.hours_left + task.cover_up_h
        finish = min(finish or start, start + timedelta(hours=took))
    return PlanLine(
        id=task.id,
        name=task.name,
        work_type=task.work_type,
        start=start,
        finish=finish,
        basis=_basis(judged, placed.finish) if placed else None,
        crew=task.crew,
        appointment=None if visit is None else visit.start,
        who="" if visit is None else visit.who,
        kept=None if visit is None or placed is None else task.id not in plan.moved,
        done=done,
        holds=() if done else standing_holds(task, frame.progress.entries),
    )


def _basis(judged: Judged, finish: int) -> Basis:
    if finish <= judged.tail_from:
        return Basis.FORECAST
    return Basis.ASSUMED_FIT if judged.blind else Basis.CLIMATE


def _notes(judged: Judged, basis: Basis | None) -> tuple[str, ...]:
    notes = []
    if judged.stale:
        notes.append(
            "the forecast is too old, or for another place: nothing is planned in its hours"
        )
    if judged.blind:
        notes.append(
            "no past years were given: past the forecast every shift hour is taken as fit, "
            "which no weather will be; give --climate FILE"
        )
    if basis is Basis.ASSUMED_FIT:
        notes.append("the close-in day is the earliest possible, not a day to count on")
    if judged.unseen:
        named = ", ".join(name.rsplit("_", 1)[0].replace("_", " ") for name in judged.unseen)
        notes.append(f"past the forecast nothing is known of {named}: no wait for it is planned")
    return tuple(notes)


def opened_at(frame: Frame, plan: Plan) -> int:
    """Return the hour in which the house is first open, by the log and the plan."""
    return hour_opened(open_parts_of(frame, plan), frame.job, frame.hour_zero)


def open_parts_of(frame: Frame, plan: Plan) -> tuple[OpenPart, ...]:
    """Return the open parts of the house, since and until when, by the log and the plan."""
    ahead = {
        row.id: (moment_of(frame.hour_zero, row.start), moment_of(frame.hour_zero, row.finish))
        for row in plan.placed
    }
    return open_parts(frame.job, frame.standing, ahead)


def fit_hours_left(frame: Frame, judged: Judged) -> tuple[FitHours, ...]:
    """Return the hours left for the tasks that close the house."""
    return tuple(
        fit_hours(
            task.id,
            needs_h=frame.standing[task.id].hours_left,
            fit=judged.many[task.id].by_hour <= MAY,
            shift=shift_of(frame, task),
        )
        for task in frame.open_tasks
        if task.closes
    )


def closing_finishes(frame: Frame, judged: Judged) -> dict[str, IntArray]:
    """Return the finish tables, in every scenario, of the tasks that close the house."""
    return {t.id: judged.many[t.id].finish for t in frame.open_tasks if t.closes}
