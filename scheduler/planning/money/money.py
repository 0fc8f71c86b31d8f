"""What the work costs on average over past years or scenarios, by the job's own prices.

Rent runs from the first start to the last finish of the tasks it is for, every day begun; a
measure that must be had is paid for the days of the work that cannot do without it and of the
keeping after it; heat is what holds the open house at its limit. Nothing is priced that the job
does not price: what is missing is named.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from rules.verdict import FloatArray
from rules.weather import Weather
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import Job, RentedEquipment, State, Task
from scheduler.planning.money.protection_days import Protections
from scheduler.planning.replay.season_chain import Chain, Hours
from scheduler.planning.tables.finish import NEVER, BoolArray, IntArray


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
    protections: Protections, chain: Chain, days: IntArray, *, opened: Hours, closed: Hours
) -> tuple[Bill, ...]:
    """Return the mean bill of each start date over the years in which the house is closed.

    Parameters
    ----------
    protections : Protections
        The job, and past years or scenarios, ``(years, hours)``.
    chain : Chain
        Replayed on it.
    days : (hours + 1,)
        Local day of each hour.
    opened, closed : (starts, years)
        Hours between which the house is open; ``NEVER`` where it is not closed.
    """
    counted, frame = closed < NEVER, protections.frame
    parts = [
        *_rents(frame, chain, days, opened),
        *_protection(protections, chain),
        *_heat(frame.job, protections.weather, opened, closed),
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


def _protection(protections: Protections, chain: Chain) -> Iterator[Part]:
    prices = {offer.measure: offer.cost_per_day or 0.0 for offer in protections.offers()}
    days = {name: np.zeros(chain.start.shape[1:]) for name in prices}
    for task in protections.frame.open_tasks if prices else ():
        at = chain.start[chain.ids.index(task.id)]
        inside = at < NEVER
        for name, each in protections.days(task).items():
            taken = each[np.arange(at.shape[1]), np.where(inside, at, 0)]
            days[name] += np.where(inside, taken, 0.0)
    for name, price in prices.items():
        yield Part(name.replace("_", " "), "protection", "d", price, days[name])


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
