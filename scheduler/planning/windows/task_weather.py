"""From the rule book and the weather to the masks and tables that a plan is made of.

The same code serves the forecast ``(hours,)`` and the scenarios ``(scenarios, hours)``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rules.book import Book
from rules.judge import Asked, hour_verdicts, start_verdicts
from rules.verdict import Verdict, VerdictArray
from rules.weather import Weather
from scheduler.planning.model.job import Document
from scheduler.planning.tables.finish import NEVER, BoolArray, Effort, IntArray, finish_table
from scheduler.planning.tables.work_hours import WorkHours
from scheduler.planning.windows.paper_windows import paper_verdicts

MAY = np.int8(Verdict.GO_WITH_PROTECTION)
NOT_KNOWN = np.int8(Verdict.NOT_KNOWN)


@dataclass(frozen=True, slots=True)
class TaskWeather:
    """What the book and the papers say of one task over the hours, for one trace or many."""

    by_hour: VerdictArray  # (..., hours) may the work be under way
    by_start: VerdictArray  # (..., hours) may it begin: its hours, nights after, days before
    finish: IntArray  # (..., hours) NEVER where it may not begin
    shift: BoolArray  # (hours,) its crew works
    effort: Effort
    guessed: BoolArray  # (hours,) not known in a trace, under way or begun then, and taken as fit

    def hours(self) -> WorkHours:
        """Return when it may be under way and begin, for a replay."""
        return WorkHours(self.by_hour <= MAY, self.shift, self.effort, self.by_start <= MAY)


def task_weather(
    book: Book,
    asked: Asked,
    weather: Weather,
    *,
    shift: BoolArray,
    effort: Effort,
    papers: Sequence[Document] = (),
    unseen: BoolArray | None = None,
    straddles: bool = False,
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
    papers : sequence of Document
        Labels, specifications and notes that bind the task.
    unseen : (hours,), optional
        Hours past the forecast in which what nobody knows does not hold a plan up. Everywhere
        else not known is planned as no-go.
    straddles : bool
        Whether an hour of the shift begins inside an hour of the weather, as where shifts begin
        at the half hour: then each is judged by both hours that it touches.
    """
    allowed = np.zeros(weather.hours, dtype=np.bool_) if unseen is None else unseen
    told = hour_verdicts(book, asked, weather)
    if straddles:
        told = np.maximum(told, _next(told))
    by_hour = _allowing(told, allowed)
    finish = finish_table(by_hour <= MAY, shift, effort)
    begun = _by_start(book, asked, weather, finish, papers)
    if straddles:  # the same work, counted from the next hour of the weather on
        late = np.concatenate((finish[..., :1] * 0 + NEVER, _later(finish[..., :-1])), axis=-1)
        begun = np.maximum(begun, _next(_by_start(book, asked, weather, late, papers)))
    by_start = _allowing(begun, allowed)
    unknown = (told == NOT_KNOWN) | ((begun == NOT_KNOWN) & (finish < NEVER))
    guessed = allowed & np.atleast_2d(unknown).any(axis=0)
    kept = np.where(by_start <= MAY, finish, NEVER).astype(np.int32)
    return TaskWeather(by_hour, by_start, kept, shift, effort, guessed)


def _next(verdicts: VerdictArray) -> VerdictArray:
    """Return the verdict of each hour's next; the last has only its own."""
    return np.concatenate((verdicts[..., 1:], verdicts[..., -1:]), axis=-1)


def _later(finish: IntArray) -> IntArray:
    return np.where(finish < NEVER, finish + 1, NEVER).astype(np.int32)


def going_on(
    told: TaskWeather,
    many: TaskWeather,
    book: Book,
    asked: Asked,
    weather: Weather,
    *,
    papers: Sequence[Document] = (),
    until: int,
    share: float,
) -> TaskWeather:
    """Return a pausing task's weather with starts that the forecast's end alone leaves not known.

    Work that goes on past the forecast is looked at piece by piece, as its calls are: it begins
    where its first piece may, nothing told forbids the whole, and enough scenarios allow it.

    Parameters
    ----------
    told, many : TaskWeather
        By the forecast, ``(hours,)``, and by the scenarios, ``(scenarios, hours)``.
    book, asked, weather, papers
        As ``told`` was judged.
    until
        Hour at which the forecast ends.
    share
        Of the scenarios.
    """
    usable = (told.by_hour <= MAY) & told.shift
    whole = finish_table(told.by_hour <= MAY, told.shift, told.effort)
    open_ = (told.by_start == NOT_KNOWN) & (whole > until) & (whole < NEVER)
    if not told.effort.pauses or not open_.any():
        return told
    breaks = np.append(np.flatnonzero(~usable), usable.size)
    hours = np.arange(usable.size)
    piece = np.minimum(whole, breaks[np.searchsorted(breaks, hours)]).astype(np.int32)
    first = _by_start(book, asked, weather, np.where(usable, piece, NEVER), papers)
    begun = (np.atleast_2d(many.finish) < NEVER).mean(axis=0) >= share
    may = open_ & (first <= MAY) & begun
    return replace(
        told,
        by_start=np.where(may, MAY, told.by_start).astype(np.int8),
        finish=np.where(may, whole, told.finish).astype(np.int32),
    )


def _by_start(
    book: Book,
    asked: Asked,
    weather: Weather,
    finish: IntArray,
    papers: Sequence[Document],
) -> VerdictArray:
    """Return the verdict of each start by the book and the papers: ``(..., hours)``."""
    ends = finish.astype(np.int64)
    found = start_verdicts(book, asked, weather, ends)
    if not papers:
        return found
    said = paper_verdicts(papers, weather, ends, asked)
    return np.maximum(found, said)


def _allowing(verdicts: VerdictArray, allowed: BoolArray) -> VerdictArray:
    return np.where(allowed & (verdicts == NOT_KNOWN), MAY, verdicts).astype(np.int8)
