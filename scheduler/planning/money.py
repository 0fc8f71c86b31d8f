"""What the work costs on average over past years or scenarios, by the job's own prices.

Rent runs from the first start to the last finish of the tasks it is for, every day begun; a
measure that must be had is paid for the days of the work that cannot do without it and of the
keeping after it; heat is what holds the open house at its limit. Nothing is priced that the job
does not price: what is missing is named.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from rules.book import Book
from rules.conditions import fixed_conditions
from rules.facts import Asked
from rules.verdict import FloatArray
from rules.weather import Weather
from scheduler.planning.job import Job, MeasureOffer, RentedEquipment, State, Task
from scheduler.planning.known_facts import asked_of
from scheduler.planning.problem import Frame, effort_of, shift_of
from scheduler.planning.season_chain import Chain, Hours
from scheduler.planning.tables import NEVER, BoolArray, IntArray
from scheduler.planning.task_weather import papers_of, task_weather

DAY_H: Final = 24.0


@dataclass(frozen=True, slots=True)
class CostLine:
    """One thing that is paid: how much of it, at which price, in the mean of past years."""

    what: str
    kind: str  # rent, protection, heat, crew, daily
    amount: float  # days, kWh or hours
    unit: str
    price: float
    total: float


@dataclass(frozen=True, slots=True)
class Bill:
    """What is paid, and what no price was given for."""

    currency: str
    lines: tuple[CostLine, ...]
    not_counted: tuple[str, ...]
    years: int = 0  # past years behind the means

    @property
    def total(self) -> float:
        """Return the sum of all lines."""
        return sum(line.total for line in self.lines)


def bills(
    frame: Frame,
    book: Book,
    weather: Weather,
    chain: Chain,
    finish: Mapping[str, IntArray],
    days: IntArray,
    *,
    opened: Hours,
    closed: Hours,
) -> tuple[Bill, ...]:
    """Return the mean bill of each start date over the years in which the house is closed.

    Parameters
    ----------
    frame, book : Frame, Book
    weather : Weather
        Past years or scenarios, ``(years, hours)``; the one the tasks were judged in, as it
        remembers what it worked out.
    chain : Chain
        Replayed on it.
    finish : (years, hours), by task
        With every measure to be had.
    days : (hours + 1,)
        Local day of each hour.
    opened, closed : (starts, years)
        Hours between which the house is open; ``NEVER`` where it is not closed.
    """
    counted = closed < NEVER
    parts = [
        *_rents(frame, chain, days, opened),
        *_protection(frame, book, weather, chain, finish),
        *_heat(frame.job, weather, opened, closed),
        *_crews(frame),
        *_daily(frame.job, opened, closed, days),
    ]
    missing = not_counted(frame.job, frame.open_tasks)
    return tuple(
        Bill(
            frame.job.costs.currency,
            tuple(_line(part, counted[n], n) for part in parts) if counted[n].any() else (),
            missing,
            int(counted[n].sum()),
        )
        for n in range(opened.shape[0])
    )


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that is paid, in every start and year."""

    what: str
    kind: str
    unit: str
    price: float
    amount: FloatArray  # (starts, years), or () where it is the same in all


def running(
    frame: Frame, weather: Weather, chain: Chain, days: IntArray, *, opened: Hours, closed: Hours
) -> tuple[Part, ...]:
    """Return what is paid for as long as it lasts: rents, heat, daily costs. As in ``bills``."""
    return (
        *_rents(frame, chain, days, opened),
        *_heat(frame.job, weather, opened, closed),
        *_daily(frame.job, opened, closed, days),
    )


def _line(part: Part, counted: BoolArray, start: int) -> CostLine:
    each = part.amount if part.amount.ndim == 0 else part.amount[start][counted].mean()
    amount = float(each)
    return CostLine(part.what, part.kind, amount, part.unit, part.price, amount * part.price)


def _begun(days: IntArray, first: Hours, last: Hours) -> FloatArray:
    """Return the local days begun from one hour to before another; 0 where that never comes."""
    inside = last < NEVER
    begin, end = (np.where(inside, at, 1) for at in (first, last))
    return np.where(inside, days[end - 1] - days[begin] + 1.0, 0.0)


def on_site(rented: RentedEquipment, frame: Frame) -> bool:
    """Tell whether equipment is there and paid now; what has not come yet moves with its tasks."""
    states = [frame.standing[one].state for one in rented.tasks]
    if all(state is State.DONE for state in states):
        return False
    came = rented.since is not None and frame.hour(rented.since) <= frame.now
    return came or any(state is not State.TO_DO for state in states)


def _rents(frame: Frame, chain: Chain, days: IntArray, opened: Hours) -> Iterator[Part]:
    for rented in frame.job.rented:
        ids = [one for one in rented.tasks if one in chain.ids]
        if not ids:
            continue
        first, last = chain.of(ids)
        first = np.minimum(first, opened) if on_site(rented, frame) else first
        yield Part(rented.id, "rent", "d", rented.cost_per_day, _begun(days, first, last))


def _daily(job: Job, opened: Hours, closed: Hours, days: IntArray) -> Iterator[Part]:
    begun = _begun(days, opened, closed)
    for cost in job.costs.daily:
        yield Part(cost.what, "daily", "d", cost.cost_per_day, begun)


def _crews(frame: Frame) -> Iterator[Part]:
    for crew in frame.job.crews:
        if crew.cost_per_hour is None:
            continue
        hours = sum(frame.standing[t.id].hours_left for t in frame.open_tasks if crew.id in t.crew)
        if hours:
            yield Part(
                crew.name, "crew", "h", crew.cost_per_hour, np.asarray(hours, dtype=np.float64)
            )


def _heat(job: Job, weather: Weather, opened: Hours, closed: Hours) -> Iterator[Part]:
    """Yield the heat that holds the open house at its limit, from first open to close-in."""
    limits, price = job.exposure, job.costs.heat_per_kwh
    if price is None or not limits.heat_w_per_k:
        return
    short_k = np.maximum(limits.indoor_freezing_c - weather.columns["air_temperature_c"], 0.0)
    kwh = np.cumsum(np.nan_to_num(np.atleast_2d(short_k)) * limits.heat_w_per_k / 1000.0, axis=-1)
    kwh = np.concatenate([np.zeros((kwh.shape[0], 1)), kwh], axis=-1)
    last = kwh.shape[-1] - 1
    year = np.arange(kwh.shape[0])
    used = kwh[year, np.minimum(closed, last)] - kwh[year, np.minimum(opened, last)]
    yield Part("heat in the open house", "heat", "kWh", price, np.where(closed < NEVER, used, 0.0))


# protection that must be had


def _protection(
    frame: Frame, book: Book, weather: Weather, chain: Chain, finish: Mapping[str, IntArray]
) -> Iterator[Part]:
    for offer in frame.job.can_be_had:
        if not offer.cost_per_day or offer.measure in frame.job.on_hand:
            continue
        days = np.zeros(chain.start.shape[1:])
        for task in frame.open_tasks:
            keep = kept_after_h(book, asked_of(frame.job, task, frame.progress), offer.measure)
            if keep is None:
                continue
            needed = _needed(frame, book, task, offer, weather, np.atleast_2d(finish[task.id]))
            at = chain.start[chain.ids.index(task.id)]
            done = chain.finish[chain.ids.index(task.id)]
            inside = at < NEVER
            must = inside & needed[np.arange(at.shape[1]), np.where(inside, at, 0)]
            days += np.where(must, np.ceil((done - at + keep) / DAY_H), 0.0)
        words = offer.measure.replace("_", " ")
        yield Part(words, "protection", "d", offer.cost_per_day, days)


def kept_after_h(book: Book, asked: Asked, measure: str) -> float | None:
    """Return how many hours after the work a measure may have to stay; None: nothing asks for it.

    Rows whose conditions on what is known do not hold are left out.
    """
    rows = [r for r in book.rows_for(asked.work_type) if fixed_conditions(r, asked) is not False]
    needs = [n for row in rows for part in (row, *row.bands) for n in part.measures]
    ends = [
        need.until.offset_h if need.until.anchor == "end" else 0.0
        for need in needs
        if measure in need.measure
    ]
    return max(ends, default=None)


def _needed(
    frame: Frame,
    book: Book,
    task: Task,
    offer: MeasureOffer,
    weather: Weather,
    finish: IntArray,
) -> BoolArray:
    """Return the starts that the measure makes possible: ``(years, hours)``."""
    asked = asked_of(frame.job, task, frame.progress)
    had = asked.measures or frozenset()
    bare = task_weather(
        book,
        Asked(asked.work_type, asked.facts, had - {offer.measure}, asked.now),
        weather,
        shift=shift_of(frame, task),
        effort=effort_of(frame, task),
        papers=papers_of(frame.job, task),
        unseen=np.ones(frame.hours, dtype=np.bool_),
    )
    needed: BoolArray = (finish < NEVER) & (np.atleast_2d(bare.finish) != finish)
    return needed


def not_counted(job: Job, tasks: Sequence[Task]) -> tuple[str, ...]:
    """Return what is not in a bill for want of a price, and where to give it."""
    missing = []
    if not job.rented:
        missing.append("rent of cribbing, steel and jacks: costs.rented")
    missing += [] if not any(c.cost_per_hour for c in job.crews) else ["crews while they wait"]
    if job.costs.heat_per_kwh is None or not job.exposure.heat_w_per_k:
        missing.append("heat: costs.heat_per_kwh and exposure.heat_w_per_k")
    free = [o.measure for o in job.can_be_had if o.cost_per_day is None]
    missing += [f"{name.replace('_', ' ')}: its cost_per_day" for name in free]
    working = {crew for task in tasks for crew in task.crew}
    missing += [
        f"{crew.name}: its cost_per_hour"
        for crew in job.crews
        if crew.cost_per_hour is None and crew.id in working
    ]
    if not job.costs.daily:
        missing.append("what a day of delay costs besides: costs.daily")
    return tuple(missing)
