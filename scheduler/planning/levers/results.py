"""What the levers came to: the chance and days each buys, what it costs, and their two orders."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from rules.exposure import HourNumbers
from scheduler.planning.levers.levers import Change
from scheduler.planning.levers.prices import PricedJob, Trial
from scheduler.planning.money.protection_days import DAY_H
from scheduler.planning.open_house.closein_date import joint_chance
from scheduler.planning.plan.plan_answer import Lever
from scheduler.planning.tables.finish import NEVER

LEAST_GAIN: Final = 0.005  # less is the draw of scenarios, not the change
LEAST_DAYS: Final = 0.5  # of one that buys no chance; less is not told. Common practice, no source


def levers_of(
    chance: float, job: PricedJob, before: Trial, tried: Iterable[tuple[Change, Trial]]
) -> tuple[Lever, ...]:
    """Return the changes that buy chance or days, those that buy most chance first.

    Parameters
    ----------
    chance : number
        Of the plan, over all scenarios.
    job : PricedJob
        As planned.
    before : Trial
        The plan itself in the scenarios that were tried.
    tried : (change, trial)
        The same with each change.
    """
    found = [_lever(chance, job, before, change, trial) for change, trial in tried]
    return tuple(sorted((one for one in found if _buys(one)), key=_by_chance))


def by_money(levers: Sequence[Lever]) -> tuple[Lever, ...]:
    """Return levers in the order of days gained per money; those without a price after them.

    What gains no day stands behind what does, in the order of the chance it buys.
    """
    return tuple(sorted(levers, key=_by_money))


def _lever(chance: float, job: PricedJob, before: Trial, change: Change, trial: Trial) -> Lever:
    gain = joint_chance(trial.passed, trial.closed) - joint_chance(before.passed, before.closed)
    days = _sooner(before.closed, trial.closed)
    priced, saved = job.price(change, trial), job.saved(before, trial)
    cost = priced.total
    gains = days is not None and days > 0.0
    return Lever(
        change.what,
        min(chance + gain, 1.0),
        gain,
        margin_days=None,
        cost=cost,
        days_gained=days,
        steps=tuple(step.kind.value for step in change.made_of),
        price=priced.lines,
        not_priced=priced.missing,
        cost_per_day_gained=cost / days if cost is not None and days and gains else None,
        saved=saved,
        saves=sum(line.total for line in saved),
    )


def _sooner(was: HourNumbers, is_: HourNumbers) -> float | None:
    """Return by how many days half of the scenarios are closed in sooner; None: by none at all."""
    before, after = _middle(was), _middle(is_)
    return None if max(before, after) >= NEVER else (before - after) / DAY_H


def _middle(closed: HourNumbers) -> float:
    """Return the hour by which half of the scenarios are closed in."""
    return float(np.partition(closed, closed.size // 2)[closed.size // 2])


def _buys(lever: Lever) -> bool:
    gain, days = lever.chance_gain or 0.0, lever.days_gained or 0.0
    return gain >= LEAST_GAIN or (days >= LEAST_DAYS and gain > -LEAST_GAIN)


def _by_chance(lever: Lever) -> tuple[float, float, str]:
    return (-(lever.chance_gain or 0.0), -(lever.days_gained or 0.0), lever.what)


def _by_money(lever: Lever) -> tuple[bool, bool, float, tuple[float, float, str]]:
    per_day = lever.cost_per_day_gained
    gains = lever.cost is not None and per_day is not None
    return (
        lever.cost is None,
        lever.cost is not None and not gains,
        0.0 if per_day is None else per_day,
        _by_chance(lever),
    )
