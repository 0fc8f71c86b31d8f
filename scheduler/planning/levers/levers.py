"""What would buy chance and days: a crew, Saturdays, a longer day, a date, heat, panels.

Each change is tried on the same scenarios as the plan: the plan's order replayed with it, and the
house's own first breach in each. What is told is the difference, so that the draw of scenarios
counts little. What each costs stands in ``lever_prices.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from enum import StrEnum
from typing import Final

from scheduler.planning.model.calendars import with_overtime, with_saturday
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import Calendar, Crew, Job, Shift, State, Task
from scheduler.planning.strength.fresh_work import fresh_work

LEVER_SCENARIOS: Final = 144  # tried on so many of them: six of each of 24 past years
LONGER_DAY_H: Final = 2.0
SOONER: Final = timedelta(days=7)
ENCLOSURE: Final = "heated_enclosure"


class Kind(StrEnum):
    """What is changed; each is paid in its own way."""

    CREW = "crew"
    SATURDAY = "saturday"
    OVERTIME = "overtime"
    DATE = "date"
    SOONER = "sooner"
    ENCLOSURE = "enclosure"
    CLOSING = "closing"


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that is changed, and the crew or task it is about; "" for the whole job."""

    kind: Kind
    of: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """One change of the job, or two together, and what of the plan it touches."""

    what: str
    job: Job
    made_of: tuple[Step, ...]
    hours: bool = False  # working hours or measures: tasks are judged again
    strength: bool = False  # covers: gates are worked out again
    house: bool = False  # how fast the open house cools: breaches are found again
    order: bool = True  # the plan's order is replayed with it


def changes(frame: Frame, *, dear: bool = False) -> tuple[Change, ...]:
    """Return the changes that can be tried on what is left of a job.

    With ``dear`` also those that take the wall model once more.
    """
    return (
        *_more_crew(frame),
        *_hours(frame),
        *_free_dates(frame),
        *_sooner(frame),
        *(_enclosed(frame) if dear else ()),
        *_covered(frame),
    )


def not_tried(frame: Frame) -> tuple[str, ...]:
    """Return what the job prices that cannot be tried, and why."""
    job, said = frame.job, []
    if job.costs.heated_enclosure is not None and not _may_be_enclosed(frame):
        there = ENCLOSURE in _had(job)
        why = "on hand or offered, the plan counts on it" if there else "no fresh work is left"
        said.append(f"heated enclosure: {why}")
    if job.costs.temporary_closing is not None and job.exposure.openings is None:
        said.append("openings covered: exposure.openings does not say what they do")
    return tuple(said)


def both(frame: Frame, one: Change, other: Change) -> Change | None:
    """Return two changes made together; None where the second is none after the first."""
    after = changes(replace(frame, job=one.job), dear=other.strength)
    again = next((change for change in after if change.made_of == other.made_of), None)
    if again is None:
        return None
    return Change(
        f"{one.what}, and {other.what}",
        again.job,
        (*one.made_of, *other.made_of),
        hours=one.hours or other.hours,
        strength=one.strength or other.strength,
        house=one.house or other.house,
        order=one.order or other.order,
    )


def _more_crew(frame: Frame) -> Iterator[Change]:
    job = frame.job
    for crew in job.crews:
        if sum(crew.id in task.crew for task in frame.open_tasks) > 1:
            more = tuple(
                replace(one, size=one.size + 1) if one.id == crew.id else one for one in job.crews
            )
            told = f"one more crew: {crew.name}"
            yield Change(told, replace(job, crews=more), (Step(Kind.CREW, crew.id),))


def _hours(frame: Frame) -> Iterator[Change]:
    job = frame.job
    friday = next((shift for shift in reversed(job.calendar.week[:5]) if shift is not None), None)
    if friday is None:
        return
    if job.calendar.week[5] is None:
        told = f"Saturdays worked, {friday.start:%H:%M}-{friday.end:%H:%M}"
        worked = _on(job, lambda one: _saturday(one, friday))
        yield Change(told, worked, (Step(Kind.SATURDAY),), hours=True)
    longer = _on(job, lambda one: with_overtime(one, LONGER_DAY_H))
    told = f"each day {LONGER_DAY_H:g} hours longer"
    yield Change(told, longer, (Step(Kind.OVERTIME),), hours=True)


def _saturday(calendar: Calendar, shift: Shift) -> Calendar:
    return calendar if calendar.week[5] is not None else with_saturday(calendar, shift)


def _on(job: Job, change: Callable[[Calendar], Calendar]) -> Job:
    """Return the job with its own calendar and its crews' changed."""

    def crew(one: Crew) -> Crew:
        return one if one.calendar is None else replace(one, calendar=change(one.calendar))

    return replace(job, calendar=change(job.calendar), crews=tuple(crew(one) for one in job.crews))


def _free_dates(frame: Frame) -> Iterator[Change]:
    for task in frame.open_tasks:
        if task.appointment is not None and frame.standing[task.id].state is State.TO_DO:
            who = task.appointment.who.replace("_", " ")
            told = f"{who} free to come as soon as {task.name} can begin"
            free = _with_task(frame.job, replace(task, appointment=None, slots=()))
            yield Change(told, free, (Step(Kind.DATE, task.id),))


def _sooner(frame: Frame) -> Iterator[Change]:
    for task in frame.open_tasks:
        if task.not_before is not None and frame.hour(task.not_before) > frame.now:
            earlier = _with_task(frame.job, replace(task, not_before=task.not_before - SOONER))
            told = f"{task.name} a week sooner, as if delivered sooner"
            yield Change(told, earlier, (Step(Kind.SOONER, task.id),))


def _enclosed(frame: Frame) -> Iterator[Change]:
    """Yield a heated enclosure over all fresh work, where the job has none and none is offered."""
    if _may_be_enclosed(frame):
        job = replace(frame.job, on_hand=(*frame.job.on_hand, ENCLOSURE))
        told = "heated enclosure over fresh work"
        yield Change(told, job, (Step(Kind.ENCLOSURE),), hours=True, strength=True)


def _may_be_enclosed(frame: Frame) -> bool:
    fresh = any(fresh_work(task) is not None for task in frame.open_tasks)
    return fresh and ENCLOSURE not in _had(frame.job)


def _had(job: Job) -> set[str]:
    return {*job.on_hand, *(offer.measure for offer in job.can_be_had)}


def _covered(frame: Frame) -> Iterator[Change]:
    """Yield the openings covered for the time, where the job says what they do."""
    limits = frame.job.exposure
    if limits.openings is None:
        return
    shut = replace(limits, openings=None, time_constant_h=limits.openings.closed_time_constant_h)
    told = "openings covered for the time with panels"
    job = replace(frame.job, exposure=shut)
    yield Change(told, job, (Step(Kind.CLOSING),), house=True, order=False)


def _with_task(job: Job, changed: Task) -> Job:
    tasks = tuple(changed if task.id == changed.id else task for task in job.tasks)
    return replace(job, tasks=tasks)
