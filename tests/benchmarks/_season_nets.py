"""Made jobs of a season for the planner's benchmark: crews, calendars, weather, gates.

Everything here is invented: 90 days of hourly air, rain and gusts from a seed, limits that look
like those of masonry, cure gates by degree hours. The book is not read, so that the figures stay
comparable when its limits change.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from scheduler.planning.schedule.network import Booking, Plan, Problem, Tie, Work
from scheduler.planning.tables.finish import (
    NEVER,
    BoolArray,
    Effort,
    IntArray,
    finish_table,
    ready_after,
    ready_after_shifts,
)

HOURS = 2160  # 90 days, the first one a Monday
SAME = ((range(5), 7, 17),) * 3  # weekdays, first hour, hour of leaving; by crew
DIFFERENT = ((range(5), 7, 17), (range(6), 6, 15), (range(1, 6), 9, 19))
Calendars = tuple[tuple[range, int, int], ...]


@dataclass(frozen=True)
class Season:
    """A job and what its tables were made of, so that a lost day can be taken out again."""

    problem: Problem
    efforts: tuple[Effort, ...]
    fit: tuple[BoolArray, ...]  # by task: (hours,) weather and shift allow


def season(seed: int, tasks: int, calendars: Calendars = SAME, *, bookings: int = 0) -> Season:
    """Return a job of three crews that bind: their work is longer than any chain of tasks.

    Parameters
    ----------
    seed : int
        Of weather and job.
    tasks : int
        How many.
    calendars : Calendars
        Of each crew.
    bookings : int
        How many tasks have an appointment with somebody outside.
    """
    rng = np.random.default_rng(seed)
    air, verdicts = _weather(rng)
    shifts = [_shift(*calendar) for calendar in calendars]
    crews = rng.integers(0, len(shifts), tasks)
    efforts = tuple(_effort(rng) for _ in range(tasks))
    fit = tuple(verdicts[int(rng.integers(0, len(verdicts)))] & shifts[crew] for crew in crews)
    works = tuple(
        Work(
            id=f"t{n:02d}",
            finish=finish_table(fit[n], np.ones(HOURS, bool), efforts[n]),
            crews={f"crew{crews[n]}": 1},
            closes=n >= tasks - 4,
            fair=finish_table(np.ones(HOURS, bool), shifts[crews[n]], efforts[n]),
        )
        for n in range(tasks)
    )
    ties = tuple(
        _tie(rng, before, n, air, shifts[0])
        for n in range(1, tasks)
        for before in sorted(_before(rng, n, tasks))
    )
    problem = Problem(HOURS, works, ties, {f"crew{c}": 1 for c in range(len(shifts))})
    return Season(_booked(rng, problem, bookings), efforts, fit)


def _weather(rng: np.random.Generator) -> tuple[np.ndarray, tuple[BoolArray, ...]]:
    """Return air temperature in °C and the hours that four kinds of work may use."""
    hour = np.arange(HOURS)
    fronts = np.repeat(rng.normal(0, 3.5, HOURS // 24), 24)
    air = 16 - hour / 240 + 5 * np.sin((hour - 9) / 24 * 2 * np.pi) + fronts
    wet = np.repeat(rng.random(HOURS // 6) < 0.1, 6)
    gust = np.repeat(rng.gamma(5, 1.6, HOURS // 6), 6)
    return air, (air > 4, (air > 2) & ~wet, ~wet & (gust < 13), np.ones(HOURS, bool))


def _shift(days: range, begin: int, end: int) -> BoolArray:
    hour = np.arange(HOURS)
    worked: BoolArray = np.isin(hour // 24 % 7, days) & (hour % 24 >= begin) & (hour % 24 < end)
    return worked


def _effort(rng: np.random.Generator) -> Effort:
    """Return work that may not pause and fits into a day, or work that pauses by night."""
    if rng.random() < 0.45:
        return Effort(int(rng.integers(2, 8)))
    around = int(rng.random() < 0.3)
    return Effort(int(rng.integers(8, 31)), may_pause=True, least_piece=2, cover_up=around)


def _before(rng: np.random.Generator, task: int, tasks: int) -> set[int]:
    """Return predecessors among the tasks shortly before; the closing ones have three."""
    count = 3 if task >= tasks - 4 else int(rng.random() < 0.6) + int(rng.random() < 0.2)
    return {int(rng.integers(max(0, task - 20), task)) for _ in range(count)}


def _tie(
    rng: np.random.Generator, before: int, after: int, air: np.ndarray, shift: BoolArray
) -> Tie:
    kind, within = rng.random(), None
    if kind < 0.55:
        ready = ready_after(HOURS, 0)
    elif kind < 0.7:
        ready = ready_after(HOURS, int(rng.integers(12, 73)))
    elif kind < 0.8:
        ready = ready_after_shifts(shift, int(rng.integers(2, 11)))
    else:
        ready = _gate(air, float(rng.uniform(400, 1600)))
    if kind < 0.55 and rng.random() < 0.1:
        within = 120
    return Tie(f"t{before:02d}", f"t{after:02d}", ready, kind > 0.95, within)


def _gate(air: np.ndarray, degree_hours: float) -> IntArray:
    """Return the first hour by which air above -10 °C has summed up to so many degree hours."""
    grown = np.concatenate(([0.0], np.cumsum(np.maximum(air + 10.0, 0.0))))
    opens = np.searchsorted(grown, grown + degree_hours)
    return np.where(opens <= HOURS, opens, NEVER).astype(np.int32)


def _booked(rng: np.random.Generator, problem: Problem, bookings: int) -> Problem:
    """Return the problem with visits agreed for some tasks; times are set by `agreed`."""
    if bookings == 0:
        return problem
    visits = set(rng.choice(len(problem.tasks), bookings, replace=False).tolist())
    tasks = tuple(
        replace(work, booking=Booking(f"firm {n % 3}", 0)) if n in visits else work
        for n, work in enumerate(problem.tasks)
    )
    return replace(problem, tasks=tasks)


def agreed(made: Season, plan: Plan) -> Season:
    """Return the job with its visits agreed for the hours of a plan."""
    at = plan.starts()
    tasks = tuple(
        work
        if work.booking is None
        else replace(work, booking=replace(work.booking, start=at[work.id]))
        for work in made.problem.tasks
    )
    return replace(made, problem=replace(made.problem, tasks=tasks))


def after_lost_day(made: Season, plan: Plan, day: int, notice_h: int = 48) -> Problem:
    """Return what is to be planned on the morning after a day on which nobody worked.

    What had begun keeps its start, what had not cannot begin before now; the lost day is gone
    from everybody's hours, and nothing new can be agreed with less than the notice.
    """
    now, at = 24 * (day + 1), plan.starts()
    lost = np.arange(HOURS) // 24 == day
    tasks = []
    for work, effort, fit in zip(made.problem.tasks, made.efforts, made.fit, strict=True):
        finish = finish_table(fit & ~lost, np.ones(HOURS, bool), effort)
        begun = at[work.id] < 24 * day
        booking = work.booking
        if booking is not None:
            booking = None if begun else replace(booking, earliest_move=now + notice_h)
        tasks.append(
            replace(
                work,
                finish=finish,
                not_before=0 if begun else now,
                starts=(at[work.id],) if begun else (),
                booking=booking,
            )
        )
    return replace(made.problem, tasks=tuple(tasks))
