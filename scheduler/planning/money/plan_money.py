"""What the rest of the plan costs, and what each day of delay adds, by the job's own prices."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from rules.verdict import FloatArray
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import Job
from scheduler.planning.money.money import Bill, CostLine, bills, on_site
from scheduler.planning.money.protection_days import Protections
from scheduler.planning.replay.season_chain import Chain
from scheduler.planning.schedule.network import Plan, Problem
from scheduler.planning.tables.finish import NEVER


@dataclass(frozen=True, slots=True)
class Money:
    """The bill of the rest of the job, and of one day more."""

    rest: Bill
    day_of_delay: Bill

    @property
    def known(self) -> bool:
        """Tell whether the job gives any price at all."""
        return bool(self.rest.lines or self.day_of_delay.lines)


def plan_money(
    protections: Protections, plan: Plan, problem: Problem, *, opened: int
) -> Money | None:
    """Return what the plan costs in the mean of its scenarios; None where there is no plan.

    Parameters
    ----------
    protections : Protections
        The job, and the scenarios it was planned on.
    plan, problem
        The plan, and what it was made of.
    opened : int
        Hour from which the house is open.
    """
    if not plan.placed or problem.days is None:
        return None
    frame = protections.frame
    air_c = protections.weather.columns["air_temperature_c"]
    count = air_c.shape[0]
    shape = (len(plan.placed), 1, count)

    def everywhere(hours: list[int]) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
        return np.broadcast_to(np.array(hours, dtype=np.int64)[:, None, None], shape)

    chain = Chain(
        tuple(row.id for row in plan.placed),
        everywhere([row.start for row in plan.placed]),
        everywhere([row.finish for row in plan.placed]),
    )
    span = (1, count)
    closed = np.full(span, plan.close_in, dtype=np.int64)
    open_from = np.full(span, min(opened, plan.close_in), dtype=np.int64)
    (rest,) = bills(protections, chain, problem.days, opened=open_from, closed=closed)
    rest = replace(rest, lines=(*rest.lines, *_late_moves(frame, plan)))
    return Money(rest, day_of_delay(frame, air_c, plan, rest))


def _late_moves(frame: Frame, plan: Plan) -> Iterator[CostLine]:
    """Yield what is paid for appointments that are moved after they could be without charge."""
    for task in frame.open_tasks:
        visit = task.appointment
        if visit is None or task.id not in plan.moved or not visit.late_move_fee:
            continue
        if visit.free_until is not None and frame.hour(visit.free_until) <= frame.now:
            fee, who = visit.late_move_fee, visit.who.replace("_", " ")
            yield CostLine(f"{who}, moved late", "date", 1.0, "once", fee, fee)


def day_of_delay(frame: Frame, air_c: FloatArray, plan: Plan, rest: Bill) -> Bill:
    """Return what one day more until close-in adds: what is rented now, daily costs, heat."""
    job = frame.job
    lines = [
        CostLine(rented.id, "rent", 1.0, "d", rented.cost_per_day, rented.cost_per_day)
        for rented in job.rented
        if on_site(rented, frame)
    ]
    lines += [
        CostLine(cost.what, "daily", 1.0, "d", cost.cost_per_day, cost.cost_per_day)
        for cost in job.costs.daily
    ]
    lines += _heat(job, air_c, plan)
    return replace(rest, lines=tuple(lines))


def _heat(job: Job, air_c: FloatArray, plan: Plan) -> list[CostLine]:
    price, loss = job.costs.heat_per_kwh, job.exposure.heat_w_per_k
    after = np.atleast_2d(air_c)[:, plan.close_in : plan.close_in + 24]
    if price is None or not loss or plan.close_in >= NEVER or np.isnan(after).all():
        return []
    short_k = np.maximum(job.exposure.indoor_freezing_c - after, 0.0)
    kwh = 24.0 * float(np.nanmean(short_k)) * loss / 1000.0
    return [CostLine("heat in the open house", "heat", kwh, "kWh", price, kwh * price)]
