"""What a lever costs by the job's own prices, and what an earlier close-in saves: kept apart.

Means over the scenarios that close in with the change. Who is on site is paid for every hour of
its shift between the start and the finish of its task, also where weather lets nobody work. A
lever of which any part has no price has none: it is never taken as free, and what is missing is
named.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.exposure import HourNumbers
from rules.verdict import FloatArray
from rules.weather import Weather
from scheduler.planning.levers.levers import Change, Kind, Step
from scheduler.planning.model.frame import Frame, shift_of
from scheduler.planning.model.job import Crew, Hire, Task
from scheduler.planning.money.money import CostLine, running
from scheduler.planning.money.protection_days import DAY_H
from scheduler.planning.replay.season_chain import Chain
from scheduler.planning.strength.fresh_work import PLANNED_COVER_H, fresh_work
from scheduler.planning.tables.finish import NEVER, BoolArray, IntArray

SATURDAY: Final = 5  # Monday is 0
LEAST_SAVED: Final = 0.005  # smaller sums are no money


@dataclass(frozen=True, slots=True)
class Kept:
    """A measure over work that goes without it elsewhere: which starts need it, how long after."""

    needed: BoolArray  # (scenarios, hours)
    after_h: float


@dataclass(frozen=True, slots=True)
class Trial:
    """How the plan's order comes out in the scenarios that were tried."""

    passed: HourNumbers  # (scenarios,) first hour past a limit
    chain: Chain  # (tasks, 1, scenarios)
    closed: HourNumbers  # (scenarios,)
    kept: Mapping[str, Kept] = field(default_factory=dict)  # by task, of an enclosure


@dataclass(frozen=True, slots=True)
class Priced:
    """What is paid for a change; with ``missing`` the sum is not known."""

    lines: tuple[CostLine, ...]
    missing: tuple[str, ...] = ()

    @property
    def total(self) -> float | None:
        """Return the sum, None where a price is missing."""
        return None if self.missing else sum(line.total for line in self.lines)


@dataclass(frozen=True)
class PricedJob:
    """The job as planned, on which changes are priced.

    ``days`` is the local day of each hour ``(hours + 1,)``, ``opened`` the hour from which the
    house is open, ``weather`` that of the scenarios that are tried.
    """

    frame: Frame
    weather: Weather
    days: IntArray
    opened: int

    @cached_property
    def saturdays(self) -> BoolArray:
        """Return the hours that begin on a Saturday: ``(hours,)``."""
        zone = ZoneInfo(self.frame.job.site.time_zone)
        first = self.frame.hour_zero.astimezone(zone).weekday()
        saturdays: BoolArray = (first + self.days[:-1]) % 7 == SATURDAY
        return saturdays

    def price(self, change: Change, trial: Trial) -> Priced:
        """Return what a change costs in the mean of the scenarios that close in with it."""
        counted = trial.closed < NEVER
        if not counted.any():
            return Priced((), ("no scenario closes in with it",))
        with_it = _WithIt(self, replace(self.frame, job=change.job), trial, counted)
        kinds = {step.kind for step in change.made_of}
        found = [_of_step(with_it, step, kinds) for step in change.made_of]
        missing = [text for one in found for text in one.missing]
        lines = tuple(line for one in found for line in one.lines)
        return Priced(lines, tuple(dict.fromkeys(missing)))

    def saved(self, before: Trial, after: Trial) -> tuple[CostLine, ...]:
        """Return what is no longer paid by the day; below zero where more is paid."""
        counted = (before.closed < NEVER) & (after.closed < NEVER)
        if not counted.any():
            return ()
        was, is_ = (self._running(one) for one in (before, after))
        lines = []
        for old, new in zip(was, is_, strict=True):
            amount = float((old.amount - new.amount)[0][counted].mean())
            line = CostLine(old.what, old.kind, amount, old.unit, old.price, amount * old.price)
            lines += [line] if abs(line.total) >= LEAST_SAVED else []
        return tuple(lines)

    def _running(self, trial: Trial) -> list[_Amount]:
        closed = trial.closed[None, :].astype(np.int64)
        opened = np.minimum(np.full_like(closed, max(self.opened, 0)), closed)
        parts = running(
            self.frame, self.weather, trial.chain, self.days, opened=opened, closed=closed
        )
        return [_Amount(p.what, p.kind, p.unit, p.price, np.atleast_2d(p.amount)) for p in parts]


@dataclass(frozen=True, slots=True)
class _Amount:
    what: str
    kind: str
    unit: str
    price: float
    amount: FloatArray  # (1, scenarios)


@dataclass(frozen=True, slots=True)
class _WithIt:
    """The job with the change, in the scenarios that count."""

    planned: PricedJob
    frame: Frame
    trial: Trial
    counted: BoolArray  # (scenarios,)

    def rows(self) -> Iterator[tuple[Task, IntArray, IntArray]]:
        """Yield each task with its starts and finishes: ``(counted,)``."""
        chain = self.trial.chain
        for n, name in enumerate(chain.ids):
            start, finish = (hours[n, 0][self.counted] for hours in (chain.start, chain.finish))
            yield self.frame.job.task(name), start.astype(np.int32), finish.astype(np.int32)


def _of_step(job: _WithIt, step: Step, kinds: set[Kind]) -> Priced:
    if step.kind is Kind.CREW:
        return _another_crew(job, step.of)
    if step.kind in {Kind.SATURDAY, Kind.OVERTIME}:
        return _longer(job, step.kind, saturdays_apart=Kind.SATURDAY in kinds)
    if step.kind is Kind.DATE:
        visit = job.planned.frame.job.task(step.of).appointment
        fee = None if visit is None else visit.other_date_fee
        return _once("another date", "date", fee, f"{step.of}: appointment.other_date_fee")
    if step.kind is Kind.SOONER:
        fee = job.frame.job.task(step.of).sooner_fee
        return _once("sooner delivery", "sooner", fee, f"{step.of}: sooner_fee")
    if step.kind is Kind.ENCLOSURE:
        return _enclosure(job)
    return _closing(job)


def _once(what: str, kind: str, fee: float | None, key: str) -> Priced:
    if fee is None:
        return Priced((), (key,))
    return Priced((CostLine(what, kind, 1.0, "once", fee, fee),))


# who comes


def _another_crew(job: _WithIt, crew_id: str) -> Priced:
    """Return what the second crew costs; the job's own goes first wherever one is free."""
    crew = _crew(job.planned.frame, crew_id)
    if crew.another_per_hour is None and crew.another_per_day is None:
        key = f"{crew.name}: another_per_day or another_per_hour"
        return Priced((), (key,))
    hours, days = _second(job, crew)
    by_day = crew.another_per_hour is None
    price = float(crew.another_per_day if by_day else crew.another_per_hour or 0.0)  # type: ignore[arg-type]
    amount = days if by_day else hours
    what = f"one more {crew.name}"
    line = CostLine(what, "crew", amount, "d" if by_day else "h", price, amount * price)
    return Priced((line,))


def _second(job: _WithIt, crew: Crew) -> tuple[float, float]:
    """Return the hours and days that work falls to the second crew, in the mean."""
    size = crew.size + 1
    theirs = [(n, *row) for n, row in enumerate(job.rows()) if crew.id in row[0].crew]
    shifts = {row[0]: shift_of(job.frame, row[1]) for row in theirs}
    worked = {n: np.concatenate([[0], np.cumsum(shift)]) for n, shift in shifts.items()}
    on_days = {n: job.planned.days[:-1][shift] for n, shift in shifts.items()}
    hours = days = 0
    count = int(job.counted.sum())
    for one in range(count):
        free = [0] * size
        came: list[set[int]] = [set() for _ in free]
        rows = sorted((int(s[one]), n, int(f[one]), t) for n, t, s, f in theirs if s[one] < NEVER)
        for start, n, finish, task in rows:
            need = Counter(task.crew)[crew.id]
            units = [unit for unit, at in enumerate(free) if at <= start][:need]
            first, last = int(worked[n][start]), int(worked[n][finish])
            for unit in units:
                free[unit] = finish
                if unit >= crew.size:
                    hours += last - first
                    came[unit].update(on_days[n][first:last].tolist())
        days += sum(map(len, came))
    return hours / count, days / count


def _longer(job: _WithIt, kind: Kind, *, saturdays_apart: bool) -> Priced:
    """Return what hours cost that were not worked before: Saturdays, or past the day's end."""
    saturday = kind is Kind.SATURDAY
    told = "saturday_extra_per_hour" if saturday else "overtime_extra_per_hour"
    where = job.planned.saturdays if saturday else ~job.planned.saturdays
    hours: dict[str, float] = defaultdict(float)
    nobody = []
    for task, start, finish in job.rows():
        added = shift_of(job.frame, task) & ~shift_of(job.planned.frame, task)
        added &= where if saturdays_apart else True
        worked = _between(added, start, finish)
        for name, number in Counter(task.crew).items():
            hours[name] += number * worked
        if not task.crew and worked:
            nobody.append(f"{task.id}: its crew")
    lines, missing = [], nobody
    for crew in job.frame.job.crews:
        amount, price = hours[crew.id], getattr(crew, told)
        if amount and price is None:
            missing.append(f"{crew.name}: {told}")
        elif amount:
            what = f"{crew.name} {'on Saturdays' if saturday else 'after hours'}"
            lines.append(CostLine(what, kind.value, amount, "h", price, amount * price))
    return Priced(tuple(lines), tuple(missing))


def _between(mask: BoolArray, start: IntArray, finish: IntArray) -> float:
    """Return how many hours of a mask lie between starts and finishes, in the mean."""
    inside = (start < NEVER) & (finish < NEVER)
    total = np.concatenate([[0], np.cumsum(mask)])
    begin, end = (np.where(inside, at, 0) for at in (start, finish))
    return float(np.where(inside, total[end] - total[begin], 0).mean())


def _crew(frame: Frame, crew_id: str) -> Crew:
    return next(crew for crew in frame.job.crews if crew.id == crew_id)


# what is hired


def _enclosure(job: _WithIt) -> Priced:
    """Return an enclosure over fresh work and the week after it, and over what needs it."""
    hire = job.frame.job.costs.heated_enclosure
    if hire is None:
        return Priced((), ("costs.heated_enclosure",))
    days = pieces = 0.0
    for task, start, finish in job.rows():
        must, after_h = start < NEVER, float(PLANNED_COVER_H)
        if fresh_work(task) is None:
            kept = job.trial.kept.get(task.id)
            if kept is None:
                continue
            rows = np.flatnonzero(job.counted)
            must = must & kept.needed[rows, np.where(must, start, 0)]
            after_h = kept.after_h
        days += float(np.where(must, np.ceil((finish - start + after_h) / DAY_H), 0.0).mean())
        pieces += float(must.mean())
    return _hired("heated enclosure", "enclosure", hire, days, pieces)


def _closing(job: _WithIt) -> Priced:
    """Return the openings' covers, from when the house is open to close-in."""
    hire = job.frame.job.costs.temporary_closing
    if hire is None:
        return Priced((), ("costs.temporary_closing",))
    days, closed = job.planned.days, job.trial.closed[job.counted]
    opened = np.minimum(max(job.planned.opened, 0), closed)
    begun = float((days[np.maximum(closed - 1, opened)] - days[opened] + 1.0).mean())
    return _hired("panels over the openings", "closing", hire, begun, 1.0)


def _hired(what: str, kind: str, hire: Hire, days: float, times: float) -> Priced:
    rows: Sequence[tuple[str, float, str, float]] = (
        (what, days, "d", hire.per_day),
        (f"fuel of the {what}", days, "d", hire.fuel_per_day),
        (f"{what}, once", times, "once", hire.once),
    )
    lines = [CostLine(text, kind, n, unit, price, n * price) for text, n, unit, price in rows]
    return Priced(tuple(line for line in lines if line.total) or tuple(lines[:1]))
