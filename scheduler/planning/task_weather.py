"""From the rule book and the weather to the masks and tables that a plan is made of.

The same code serves the forecast ``(hours,)`` and the scenarios ``(scenarios, hours)``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rules.book import Book
from rules.judge import Asked, hour_verdicts, start_verdicts
from rules.verdict import Verdict, VerdictArray
from rules.weather import Weather
from scheduler.planning.tables import NEVER, BoolArray, Effort, IntArray, finish_table

MAY = np.int8(Verdict.GO_WITH_PROTECTION)
NOT_KNOWN = np.int8(Verdict.NOT_KNOWN)


@dataclass(frozen=True, slots=True)
class TaskWeather:
    """What the book says of one task over the hours, for one trace or many."""

    by_hour: VerdictArray  # (..., hours) may the work be under way
    by_start: VerdictArray  # (..., hours) may it begin: nights after it, days before it
    finish: IntArray  # (..., hours)

    @property
    def workable(self) -> BoolArray:
        """Return the hours in which work may be under way."""
        mask: BoolArray = self.by_hour <= MAY
        return mask

    @property
    def may_start(self) -> BoolArray:
        """Return the hours at which work may begin."""
        mask: BoolArray = self.by_start <= MAY
        return mask

    def with_starts(self, by_start: VerdictArray) -> TaskWeather:
        """Return the same work with graver verdicts on its starts."""
        finish = np.where(by_start <= MAY, self.finish, NEVER).astype(np.int32)
        return replace(self, by_start=by_start, finish=finish)


def task_weather(
    book: Book, asked: Asked, weather: Weather, *, shift: BoolArray, effort: Effort
) -> TaskWeather:
    """Judge a task at every hour and every start.

    Parameters
    ----------
    book : Book
        The job's rows.
    asked : Asked
        The work, what is known of it, and the measures to be had.
    weather : Weather
        House columns ``(..., hours)``.
    shift : (hours,)
        Hours the crew works.
    effort : Effort
        Length of the work and how it may be cut.
    """
    by_hour = hour_verdicts(book, asked, weather)
    finish = finish_table(by_hour <= MAY, shift, effort)
    by_start = start_verdicts(book, asked, weather, finish.astype(np.int64))
    allowed = np.where(by_start <= MAY, finish, NEVER).astype(np.int32)
    return TaskWeather(by_hour=by_hour, by_start=by_start, finish=allowed)
