"""What would buy chance: one more crew, Saturdays, a longer day, a date moved, openings covered.

Each change is tried on the same scenarios as the plan: the plan's order replayed with it, and the
house's own first breach in each. What is told is the difference, so that the draw of scenarios
counts little. What a change costs is told where the job prices it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Final

import numpy as np

from rules.exposure import HourNumbers
from scheduler.planning.calendars import with_overtime, with_saturday
from scheduler.planning.closein_date import joint_chance
from scheduler.planning.job import Calendar, Crew, Job, Shift, State, Task
from scheduler.planning.plan_answer import Lever
from scheduler.planning.problem import Frame

LEVER_SCENARIOS: Final = 144  # tried on so many of them: six of each of 24 past years
LONGER_DAY_H: Final = 2.0
SOONER: Final = timedelta(days=7)
LEAST_GAIN: Final = 0.005  # less is the draw of scenarios, not the change


@dataclass(frozen=True, slots=True)
class Change:
    """One change of the job, and what of the plan it touches."""

    what: str
    job: Job
    hours: bool = False  # working hours: tasks are judged again
    house: bool = False  # how fast the open house cools: breaches are found again
    order: bool = True  # the plan's order is replayed with it


def changes(frame: Frame) -> tuple[Change, ...]:
    """Return the changes that can be tried on what is left of a job."""
    return (
        *_more_crew(frame),
        *_hours(frame),
        *_free_dates(frame),
        *_sooner(frame),
        *_covered(frame),
    )


def both(frame: Frame, one: Change, other: Change) -> Change | None:
    """Return two changes made together; None where the second is none after the first."""
    after = changes(replace(frame, job=one.job))
    again = next((change for change in after if change.what == other.what), None)
    if again is None:
        return None
    return Change(
        f"{one.what}, and {other.what}",
        again.job,
        hours=one.hours or other.hours,
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
            yield Change(f"one more crew: {crew.name}", replace(job, crews=more))


def _hours(frame: Frame) -> Iterator[Change]:
    job = frame.job
    friday = next((shift for shift in reversed(job.calendar.week[:5]) if shift is not None), None)
    if friday is None:
        return
    if job.calendar.week[5] is None:
        told = f"Saturdays worked, {friday.start:%H:%M}-{friday.end:%H:%M}"
        yield Change(told, _on(job, lambda one: _saturday(one, friday)), hours=True)
    longer = _on(job, lambda one: with_overtime(one, LONGER_DAY_H))
    yield Change(f"each day {LONGER_DAY_H:g} hours longer", longer, hours=True)


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
            yield Change(told, _with_task(frame.job, replace(task, appointment=None, slots=())))


def _sooner(frame: Frame) -> Iterator[Change]:
    for task in frame.open_tasks:
        if task.not_before is not None and frame.hour(task.not_before) > frame.now:
            earlier = replace(task, not_before=task.not_before - SOONER)
            told = f"{task.name} a week sooner, as if delivered sooner"
            yield Change(told, _with_task(frame.job, earlier))


def _covered(frame: Frame) -> Iterator[Change]:
    """Yield the openings covered for the time, where the job says what they do."""
    limits = frame.job.exposure
    if limits.openings is None:
        return
    shut = replace(limits, openings=None, time_constant_h=limits.openings.closed_time_constant_h)
    told = "openings covered for the time with panels"
    yield Change(told, replace(frame.job, exposure=shut), house=True, order=False)


def _with_task(job: Job, changed: Task) -> Job:
    tasks = tuple(changed if task.id == changed.id else task for task in job.tasks)
    return replace(job, tasks=tasks)


def ranked(
    chance: float,
    before: tuple[HourNumbers, HourNumbers],
    tried: Iterable[tuple[Change, HourNumbers, HourNumbers]],
) -> tuple[Lever, ...]:
    """Return what raises the chance, the most first.

    Parameters
    ----------
    chance : number
        Of the plan, over all scenarios.
    before : (passed, closed)
        First breach and close-in of the plan in the scenarios that were tried.
    tried : (change, passed, closed)
        The same with each change.
    """
    base, middle = joint_chance(*before), _middle(before[1])
    gains = [
        (joint_chance(passed, closed) - base, (middle - _middle(closed)) / 24.0, change)
        for change, passed, closed in tried
    ]
    best = sorted(gains, key=lambda row: (-row[0], -row[1], row[2].what))
    return tuple(
        Lever(change.what, min(chance + gain, 1.0), gain, margin_days=None, days_gained=days)
        for gain, days, change in best
        if gain >= LEAST_GAIN
    )


def _middle(closed: HourNumbers) -> float:
    """Return the hour by which half of the scenarios are closed in."""
    return float(np.partition(closed, closed.size // 2)[closed.size // 2])
