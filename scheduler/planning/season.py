"""Before work starts: what each start date would bring, in every past year at the place.

The chain of tasks is replayed from each start date in each past year (``season_chain.py``) and the
house, open from the first task that opens it, goes through that same year's weather. A year is
made where the house is closed before any limit is passed. Years whose record has a gap before
that is settled are left out for that start and counted so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from rules.book import Book
from rules.weather import Weather
from scheduler.planning.evidence.book_waits import with_book_waits
from scheduler.planning.evidence.facts import asked_of
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.scenarios import FEWEST_YEARS
from scheduler.planning.model.calendars import local_day_numbers, moment_of
from scheduler.planning.model.deliveries import DELIVERED, papers_of
from scheduler.planning.model.envelope import open_parts
from scheduler.planning.model.frame import Frame, effort_of, frame_of, shift_of
from scheduler.planning.model.job import Document, Job, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.money.money import Bill, bills
from scheduler.planning.money.protection_days import Protections
from scheduler.planning.open_house.closein_date import years_needed
from scheduler.planning.open_house.open_house import breaches
from scheduler.planning.plan.problem import Tables, build_problem
from scheduler.planning.replay.season_chain import Chain, Hours, replay
from scheduler.planning.schedule.network import Problem
from scheduler.planning.strength.job_gates import GateWeather, job_gates
from scheduler.planning.tables.finish import NEVER, BoolArray, IntArray
from scheduler.planning.tables.hours import HourlyTable
from scheduler.planning.windows.task_weather import task_weather

OPEN_DAYS: Final = 150  # an open house is followed no longer; longer than any limit here holds out
PERCENTS: Final = (10, 50, 90)


class Advice(StrEnum):
    """What the season question comes to."""

    START_BY = "start_by"  # the last sensible start date
    WAIT = "wait"  # too late now: wait for a later start
    ANY = "any"  # every start that was looked at is sensible
    NONE = "none"  # none is
    NOT_KNOWN = "not_known"  # too few past years for the confidence


@dataclass(frozen=True, slots=True)
class SeasonStart:
    """One start date: the chance, the days and the money it would bring."""

    day: date
    years: int  # past years that could be settled
    made: int  # of them closed in before the first limit is passed
    chance: float | None  # the same as a share; None where the years are too few
    planned_on: float | None  # the same with one more year counted as not made
    close_in: tuple[date | None, ...]  # by which 10, 50, 90 % have closed in
    limit: str  # the limit passed most often, "" where none is
    crib_days: tuple[float | None, ...]  # house on cribbing, 10, 50, 90 % of years
    bill: Bill


@dataclass(frozen=True, slots=True)
class SeasonAnswer:
    """Every start date, and which is the last sensible one."""

    confidence: float
    starts: tuple[SeasonStart, ...]
    advice: Advice
    last_start: date | None  # last sensible start before the chance falls under the confidence
    next_start: date | None  # first later start that is sensible again
    years: tuple[int, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """Which start dates are looked at, on which hours."""

    hour_zero: datetime  # UTC, local midnight of the first start
    days: tuple[date, ...]
    begin: Hours  # (starts,) hour of each day's midnight
    hours: int

    @classmethod
    def of(cls, job: Job, *, first: date, last: date, step: int) -> Asked:
        """Return the start days from first to last, and the hours they need after them."""
        zone = ZoneInfo(job.site.time_zone)
        zero = datetime.combine(first, time(0), zone).astimezone(UTC)
        days = tuple(first + timedelta(days=n) for n in range(0, (last - first).days + 1, step))
        begin = [datetime.combine(day, time(0), zone).astimezone(UTC) for day in days]
        hours = np.array([round((at - zero) / timedelta(hours=1)) for at in begin], dtype=np.int64)
        return cls(zero, days, hours, int(hours[-1]) + OPEN_DAYS * 24)


def season(
    job: Job, *, asked: Asked, book: Book, progress: Progress, climate: ClimateYears
) -> SeasonAnswer:
    """Return what each start date would bring.

    Parameters
    ----------
    job : Job
        Its tasks, limits, figures. Agreed and earliest dates are left aside: the question comes
        before any of them.
    asked : Asked
    book : Book
    progress : Progress
        Tasks that are done are not done again.
    climate : ClimateYears
        Rows from ``asked.hour_zero`` on, ``asked.hours`` long.
    """
    job = replace(
        job,
        tasks=undated(job),
        documents=undelivered(job),
        exposure=replace(job.exposure, covers=()),
    )
    job = with_book_waits(job, book, progress, asked.hour_zero)
    frame = frame_of(job, progress, hour_zero=asked.hour_zero, hours=asked.hours, now_hour=0)
    start = np.datetime64(asked.hour_zero.replace(tzinfo=None), "h") + np.arange(asked.hours)
    table = HourlyTable(start, dict(climate.columns))
    weather = Weather(dict(table.columns), table.hours)
    problem, finish = _judged(frame, book, table, weather)
    chain = replay(
        problem,
        finish,
        asked.begin,
        years=len(climate.years),
        order=[task.id for task in job.tasks],
    )
    fates = Fates.of(job, frame, chain, table, asked)
    days = local_day_numbers(job.site.time_zone, hour_zero=asked.hour_zero, hours=asked.hours)
    each = bills(
        Protections(frame, book, weather, finish),
        chain,
        days,
        opened=fates.opened,
        closed=fates.closed,
    )
    rows = tuple(_row(job, asked, n, chain, fates, each[n]) for n in range(len(asked.days)))
    return _advised(job, rows, climate, (*fates.notes, *_unseen(table), *_stuck(job, chain)))


def undelivered(job: Job) -> tuple[Document, ...]:
    """Return the job's papers without days of delivery."""
    return tuple(
        replace(paper, terms={k: v for k, v in paper.terms.items() if k not in DELIVERED})
        for paper in job.documents
    )


def undated(job: Job) -> tuple[Task, ...]:
    """Return the job's tasks without agreed, asked and earliest dates."""
    return tuple(
        replace(
            task,
            appointment=None,
            not_before=None,
            booked=None,
            until=None,
            offered=None,
            slots=(),
            days=(),
        )
        for task in job.tasks
    )


def _judged(
    frame: Frame, book: Book, table: HourlyTable, weather: Weather
) -> tuple[Problem, Mapping[str, IntArray]]:
    """Return the ties of the tasks to do, and the finish of every start in every year.

    What no past year knows does not hold a task up: the answer names it.
    """
    anywhere = np.ones(table.hours, dtype=np.bool_)
    finish = {
        task.id: np.atleast_2d(
            task_weather(
                book,
                asked_of(frame, task),
                weather,
                shift=shift_of(frame, task),
                effort=effort_of(frame, task),
                papers=papers_of(frame.job, task),
                unseen=anywhere,
            ).finish
        )
        for task in frame.open_tasks
    }
    strength = job_gates(frame, weather=GateWeather(table), finish=finish)
    problem = build_problem(
        frame.job,
        frame.progress,
        hour_zero=frame.hour_zero,
        hours=frame.hours,
        tables=Tables(workable=dict.fromkeys(finish, anywhere), ready=strength.ready),
        now_hour=0,
    )
    return problem, {
        name: np.where(strength.may_start.get(name, anywhere), each, NEVER).astype(np.int32)
        for name, each in finish.items()
    }


@dataclass(frozen=True, slots=True)
class Fates:
    """What becomes of each start date in each past year; arrays are ``(starts, years)``."""

    opened: Hours
    closed: Hours  # NEVER where it is not closed within the hours looked at
    passed: Hours  # first hour past a limit, house left open
    unknown: Hours  # first hour whose weather is not known
    which: NDArray[np.int64]  # limit passed first, by place in ``limits``
    limits: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def made(self) -> BoolArray:
        """Tell where the house is closed before any limit is passed."""
        first: BoolArray = (self.closed <= self.passed) & (self.closed <= self.unknown)
        return first & (self.closed < NEVER)

    @property
    def settled(self) -> BoolArray:
        """Tell which years' records last until that is settled."""
        return self.made | (self.passed <= self.unknown)

    @classmethod
    def of(cls, job: Job, frame: Frame, chain: Chain, table: HourlyTable, asked: Asked) -> Fates:
        """Return the fates of a chain in the weather it was replayed in."""
        opened, closed = _open_hours(frame, chain, asked)
        found = [_first(job, _from(table, opened[n]), opened[n]) for n in range(opened.shape[0])]
        absent = sorted({name for one in found for name in one.absent})
        return cls(
            opened=opened,
            closed=closed,
            passed=np.array([one.passed for one in found]),
            unknown=np.array([one.unknown for one in found]),
            which=np.array([one.which for one in found]),
            limits=found[0].limits if found else (),
            notes=tuple(f"{name}: no past year has the weather it needs" for name in absent),
        )


def _open_hours(frame: Frame, chain: Chain, asked: Asked) -> tuple[Hours, Hours]:
    """Return when the house is first open and when the last closing task is done."""
    tasks = frame.open_tasks
    opening = [task.id for task in tasks if task.opens]
    closing = [task.id for task in tasks if task.closes] or [task.id for task in tasks]
    already = open_parts(frame.job, frame.standing)
    begin = np.broadcast_to(asked.begin[:, None], chain.start.shape[1:])
    opened = begin if already or not opening else chain.of(opening)[0]
    return opened.astype(np.int64), chain.of(closing)[1]


@dataclass(frozen=True, slots=True)
class _First:
    passed: Hours  # (years,)
    unknown: Hours
    which: NDArray[np.int64]
    limits: tuple[str, ...]
    absent: tuple[str, ...]


def _from(table: HourlyTable, opened: Hours) -> HourlyTable:
    """Return each year's hours from the one in which its house is first open."""
    hours = OPEN_DAYS * 24
    at = np.minimum(opened, table.hours)[:, None] + np.arange(hours)
    inside = at < table.hours
    place = np.where(inside, at, 0)
    columns = {
        name: np.where(inside, np.take_along_axis(values, place, axis=-1), np.nan)
        for name, values in table.columns.items()
    }
    return HourlyTable(table.start[0] + np.arange(hours), columns)


def _first(job: Job, table: HourlyTable, opened: Hours) -> _First:
    """Return the first limit passed in each year; one that no year can judge is left out."""
    every = breaches(job, table)
    kept = [b for b in every if b.essential or not (b.unknown == 0).all()]
    absent = tuple(b.limit for b in every if b not in kept)
    passed = np.stack([np.broadcast_to(b.passed, opened.shape) for b in kept])
    unknown = np.stack([np.broadcast_to(b.unknown, opened.shape) for b in kept]).min(axis=0)
    which = passed.argmin(axis=0)
    first = passed.min(axis=0)

    def from_zero(at: Hours) -> Hours:
        return np.where((at < NEVER) & (opened < NEVER), at + opened, NEVER)

    limits = tuple(b.limit for b in kept)
    return _First(from_zero(first), from_zero(unknown), which, limits, absent)


def _row(job: Job, asked: Asked, n: int, chain: Chain, fates: Fates, bill: Bill) -> SeasonStart:
    settled = fates.settled[n]
    count = int(settled.sum())
    made = int(fates.made[n].sum())
    lost, shares = settled & ~fates.made[n], count >= FEWEST_YEARS
    zone = ZoneInfo(job.site.time_zone)
    closed = np.sort(fates.closed[n][settled])
    names = [fates.limits[int(at)] for at in fates.which[n][lost]]
    return SeasonStart(
        day=asked.days[n],
        years=count,
        made=made,
        chance=made / count if shares else None,
        planned_on=made / (count + 1) if shares else None,
        close_in=tuple(_day(asked, _ranked(closed, q), zone) for q in PERCENTS) if shares else (),
        limit=max(sorted(set(names)), key=names.count, default=""),
        crib_days=_crib_days(job, asked, n, chain, settled) if shares else (),
        bill=bill,
    )


def _ranked(ordered: Hours, percent: int) -> int | None:
    """Return the value by which a share of the years is through; None where it is never."""
    if ordered.size == 0:
        return None
    found = int(ordered[max(int(np.ceil(ordered.size * percent / 100.0)), 1) - 1])
    return None if found >= NEVER else found


def _day(asked: Asked, hour: int | None, zone: ZoneInfo) -> date | None:
    if hour is None:
        return None
    return moment_of(asked.hour_zero, hour - 1).astimezone(zone).date()


def _crib_days(
    job: Job, asked: Asked, n: int, chain: Chain, settled: BoolArray
) -> tuple[float | None, ...]:
    """Return how long the house stands on cribs, in 10, 50, 90 of 100 years."""
    down = [t.id for t in job.tasks if t.work_type == "lower_house" and t.id in chain.ids]
    if not down:
        return ()
    up = [t.id for t in job.tasks if t.work_type == "raise_house" and t.id in chain.ids]
    last = chain.of(down)[1][n]
    since = chain.of(up)[1][n] if up else np.full_like(last, asked.begin[n])
    hours = np.sort(np.where(last < NEVER, last - since, NEVER)[settled])
    found = [_ranked(hours, q) for q in PERCENTS]
    return tuple(None if one is None else one / 24.0 for one in found)


def _advised(
    job: Job, rows: tuple[SeasonStart, ...], climate: ClimateYears, notes: Sequence[str]
) -> SeasonAnswer:
    """Say which start is the last sensible one, or which later one to wait for."""
    needed = years_needed(job.confidence)
    told = [row for row in rows if row.years >= needed]
    good = [(row.planned_on or 0.0) >= job.confidence - 1e-9 for row in told]
    said = list(notes)
    if len(told) < len(rows):
        said.append(
            f"{len(rows) - len(told)} start dates have fewer than the {needed} whole past years "
            f"that {job.confidence:.0%} needs: nothing is advised on them"
        )
    last, later = None, None
    if told and good[0]:
        at = next((n for n, fine in enumerate(good) if not fine), len(good))
        last = told[at - 1].day
        later = next((r.day for r, fine in zip(told[at:], good[at:], strict=True) if fine), None)
        advice = Advice.ANY if at == len(good) else Advice.START_BY
    else:
        later = next((r.day for r, fine in zip(told, good, strict=True) if fine), None)
        advice = Advice.NOT_KNOWN if not told else Advice.NONE if later is None else Advice.WAIT
    return SeasonAnswer(
        confidence=job.confidence,
        starts=rows,
        advice=advice,
        last_start=last,
        next_start=later,
        years=climate.years,
        notes=tuple(said),
    )


def _stuck(job: Job, chain: Chain) -> list[str]:
    """Return a note of the first task that no start date and no year lets finish."""
    never = [one for n, one in enumerate(chain.ids) if (chain.finish[n] >= NEVER).all()]
    first = next((task.name for task in job.tasks if task.id in never), None)
    if first is None:
        return []
    return [f"{first}: no year lets it finish; is it longer than a shift and may not pause?"]


def _unseen(table: HourlyTable) -> list[str]:
    """Return a note of the weather that no past year has."""
    wanted = ("wind_speed_of_gust_ms", "precipitation_amount_mm", "relative_humidity_pct")
    absent = [n for n in wanted if not np.isfinite(table.column(n)).any()]
    named = ", ".join(name.rsplit("_", 1)[0].replace("_", " ") for name in absent)
    return [f"no past year knows of {named}: no task waits for it"] if named else []
