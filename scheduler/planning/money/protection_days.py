"""How many days of a measure that can be had a start takes, for the plan's aims and for the bill.

A measure is paid where the work could not begin without it by the book, or would end on a later
day, and where the wall model says that it would freeze under what is on hand; for the days of the
work and of the keeping. Nobody rents an enclosure to be done an hour sooner.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Final

import numpy as np

from rules.book import Book
from rules.conditions import fixed_conditions
from rules.facts import Asked
from rules.verdict import FloatArray
from rules.weather import Weather
from scheduler.planning.evidence.facts import asked_of
from scheduler.planning.model.calendars import local_day_numbers
from scheduler.planning.model.deliveries import papers_of
from scheduler.planning.model.frame import Frame, effort_of, shift_of
from scheduler.planning.model.job import MeasureOffer, Task
from scheduler.planning.model.means import with_means
from scheduler.planning.strength.fresh_work import PLANNED_COVER_H
from scheduler.planning.tables.finish import NEVER, BoolArray, IntArray
from scheduler.planning.windows.task_weather import task_weather

DAY_H: Final = 24.0
STEPS: Final = 4  # of a day, in which a plan compares protection
MOST: Final = 4  # measures of a task of which every set is tried


@dataclass(frozen=True, slots=True)
class Protections:
    """What starts are judged by: the book, the weather, and what strength asks for besides."""

    frame: Frame
    book: Book
    weather: Weather  # (scenarios, hours); the one the tasks were judged in
    finish: Mapping[str, IntArray]  # by task: (scenarios, hours), with every measure to be had
    unseen: BoolArray | None = None  # (hours,) where what nobody knows holds nothing up
    bought: Mapping[str, BoolArray] = field(default_factory=dict)  # (hours + 1,) by finish
    warmest: str = ""  # the measure that is bought for those finishes

    def offers(self) -> Iterator[MeasureOffer]:
        """Yield what is paid by the day and not on hand."""
        for offer in self.frame.job.can_be_had:
            if offer.cost_per_day and offer.measure not in self.frame.job.on_hand:
                yield offer

    def days(self, task: Task) -> dict[str, FloatArray]:
        """Return by measure the days that each start takes: ``(scenarios, hours)``.

        Of measures that can stand for each other the set that is cheapest by the day. Where a
        scenario does not allow a start, as many days as in the mean of those that do.
        """
        ends = np.atleast_2d(self.finish[task.id])
        length = (ends - np.arange(self.frame.hours)).astype(np.float64)
        asked = asked_of(self.frame, task)
        kept = {o.measure: kept_after_h(self.book, asked, o.measure) for o in self.offers()}
        found: dict[str, FloatArray] = {}
        left = ends < NEVER
        for measures, alone in self._sets(task, [m for m, h in kept.items() if h is not None]):
            if not left.any():
                break
            enough = left if alone is None else left & self._same_day(alone, ends)
            for name in measures:
                days = np.where(enough, np.ceil((length + (kept[name] or 0.0)) / DAY_H), 0.0)
                found[name] = found.get(name, 0.0) + days
            left = left & ~enough
        frozen = self.bought.get(task.id)
        if frozen is not None and frozen.any() and self.warmest in kept:
            must = (ends < NEVER) & frozen[np.minimum(ends, frozen.size - 1)]
            days = np.where(must, np.ceil((length + PLANNED_COVER_H) / DAY_H), 0.0)
            found[self.warmest] = np.maximum(found.get(self.warmest, 0.0), days)
        return {name: _everywhere(days, ends < NEVER) for name, days in found.items()}

    def costs(self) -> dict[str, IntArray]:
        """Return by task what its protection costs by start, in whole money: ``(hours,)``.

        The mean over the scenarios, in steps of a quarter of a day: past the forecast no finer
        difference between two days means anything.
        """
        prices = {offer.measure: offer.cost_per_day or 0.0 for offer in self.offers()}
        found: dict[str, IntArray] = {}
        for task in self.frame.open_tasks if prices else ():
            for name, days in self.days(task).items():
                mean = np.rint(STEPS * days.mean(axis=0)) / STEPS
                cost = np.rint(mean * prices[name]).astype(np.int32)
                found[task.id] = found.get(task.id, np.zeros_like(cost)) + cost
        return found

    def _same_day(self, one: IntArray, other: IntArray) -> BoolArray:
        """Tell where two finishes of a start fall on one day at the site."""
        frame = self.frame
        days = local_day_numbers(
            frame.job.site.time_zone, hour_zero=frame.hour_zero, hours=frame.hours
        )
        last = days.size - 1
        here, there = (days[np.clip(ends - 1, 0, last)] for ends in (one, other))
        same: BoolArray = (one < NEVER) & (here == there)
        return same

    def _sets(
        self, task: Task, measures: Sequence[str]
    ) -> Iterator[tuple[tuple[str, ...], IntArray | None]]:
        """Yield sets of measures, the cheapest first, with the finishes they allow.

        The last is all of them, None: what the task was judged with. More than ``MOST`` are not
        tried in sets: the cheapest of them are taken as needed together.
        """
        prices = {offer.measure: offer.cost_per_day or 0.0 for offer in self.offers()}
        dear = sorted(measures, key=lambda name: (-prices[name], name))[:MOST]
        always = tuple(name for name in measures if name not in dear)
        sets = [one for n in range(len(dear)) for one in combinations(sorted(dear), n)]
        for one in sorted(sets, key=lambda names: (sum(prices[n] for n in names), names)):
            yield (*always, *one), self._finish_without(task, set(dear) - set(one))
        yield tuple(measures), None

    def _finish_without(self, task: Task, measures: Collection[str]) -> IntArray:
        """Return the finish of every start where some measures are not to be had."""
        asked = asked_of(self.frame, task)
        asked = with_means(asked, self.frame.job, self.frame.moment, self.frame.hour_zero)
        had = (asked.measures or frozenset()) - frozenset(measures)
        coming = {name: at for name, at in asked.coming.items() if name not in measures}
        everywhere = np.ones(self.frame.hours, dtype=np.bool_)
        found = task_weather(
            self.book,
            replace(asked, measures=had, coming=coming),
            self.weather,
            shift=shift_of(self.frame, task),
            effort=effort_of(self.frame, task),
            papers=papers_of(self.frame.job, task),
            unseen=everywhere if self.unseen is None else self.unseen,
        )
        return np.atleast_2d(found.finish)


def _everywhere(days: FloatArray, begun: BoolArray) -> FloatArray:
    mean = np.where(begun, days, 0.0).sum(axis=0) / np.maximum(begun.sum(axis=0), 1)
    return np.where(begun, days, mean)


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
