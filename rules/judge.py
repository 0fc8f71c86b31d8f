"""Verdicts of the rule book over hours, for one forecast, 600 scenarios or a grid at once.

Public signatures
-----------------
``Asked(work_type, facts={}, measures=None, now=0)``
    What is asked about. ``facts`` holds what is known of the task and the site: keys of the task
    (``"task.grouted": True``), facts (``"grout.cement": "type_i_ii"``, ``"wall.height": (9.3,
    "ft")``) and readings (``"unit_core_temperature": (28.0, "degF")``). ``measures`` are those on
    hand or to be had; ``None`` takes all as to be had. ``now`` is the hour of the table at which
    readings were taken.
``Weather(columns, hours)`` from ``rules.weather``: house columns, each ``(..., hours)``. Give the
    same one to every call: it remembers what it worked out. For rows that look back, begin the
    table with the observed hours.
``hour_verdicts(book, asked, weather) -> int8 (..., hours)``
    Placing limits: may the work be under way in this hour.
``start_verdicts(book, asked, weather, finish) -> int8 (..., hours)``
    Rows over hours before, during and after: may the work begin at this hour. ``finish`` is
    ``(hours,)`` or ``(..., hours)``: the hour at whose beginning work begun at ``start`` is over,
    ``NEVER`` where it cannot be; a whole number means so many elapsed hours.
``start_and_work_verdicts(...)``
    Both together for work without a pause: the start row, and every hour up to its finish.
``rules.explain.explain(book, asked, weather, start, end)``
    Every row of one window with the value that decides, its hour, measures and source.

Values are ``rules.verdict.Verdict``: ``GO < GO_WITH_PROTECTION < NOT_KNOWN < NO_GO``; rows combine
by the largest. What nobody knows is NOT_KNOWN: a gap, a column that no source has, a reading that
nobody took, unless the row says that it is seen on site or names the ordinary size. A band that
asks for a measure is NO_GO until the hour from which that is there (``Asked.coming``);
``explain`` still names the measure. Ages that no fact gives are left to the links of the plan.
"""

from __future__ import annotations

from functools import reduce

import numpy as np

from rules.book import Book
from rules.facts import Asked
from rules.grading import (
    GO,
    NEVER,
    NO_GO,
    NOT_KNOWN,
    dry_hours,
    is_by_hour,
    is_by_start,
    is_on_site,
    row_by_hour,
    row_by_start,
    row_on_site,
)
from rules.verdict import VerdictArray
from rules.weather import Weather
from rules.windows import HourIndex, least_between

__all__ = [
    "NEVER", "Asked", "finish_hours", "gravest_between", "hour_verdicts", "is_by_hour",
    "is_by_start", "is_on_site", "start_and_work_verdicts", "start_verdicts",
]  # fmt: skip


def hour_verdicts(book: Book, asked: Asked, weather: Weather) -> VerdictArray:
    """Judge each hour of work on its own.

    Returns
    -------
    (..., hours)
        The gravest verdict of the work type's placing limits and known site facts.
    """
    rows = book.rows_for(asked.work_type)
    parts = [row_by_hour(row, asked, weather) for row in rows if is_by_hour(row)]
    parts += [row_on_site(row, asked, weather) for row in rows if is_on_site(row)]
    return _gravest(parts, weather.hours)


def start_verdicts(
    book: Book, asked: Asked, weather: Weather, finish: HourIndex | int
) -> VerdictArray:
    """Judge each start by the hours before, during and after the work.

    Parameters
    ----------
    finish : (hours,) or (..., hours), or a number of elapsed hours
        Hour at whose beginning the work begun at each hour is over; ``NEVER`` where it cannot be.

    Returns
    -------
    (..., hours)
        The gravest verdict; NO_GO where the work is never over.
    """
    ends = finish_hours(finish, weather.hours)
    rows = book.rows_for(asked.work_type)
    looked = [row for row in rows if is_by_start(row)]
    looked += [after for row in rows if (after := dry_hours(row, asked)) is not None]
    out = _gravest([row_by_start(row, asked, weather, ends) for row in looked], weather.hours)
    never = ends >= NEVER
    return np.where(never, NO_GO, out) if never.any() else out


def start_and_work_verdicts(
    book: Book, asked: Asked, weather: Weather, finish: HourIndex | int
) -> VerdictArray:
    """Judge each start of work without a pause by its hours and by the hours around it.

    Returns
    -------
    (..., hours)
        The gravest verdict. Work that runs past the table's end is NOT_KNOWN at best.
    """
    ends = finish_hours(finish, weather.hours)
    by_hour = hour_verdicts(book, asked, weather)
    begun = np.arange(weather.hours)
    bounded = np.where(ends >= NEVER, begun + 1, ends)
    worst = gravest_between(by_hour, begun, bounded)
    worst = np.where(bounded > weather.hours, np.maximum(worst, NOT_KNOWN), worst)
    return np.maximum(worst, start_verdicts(book, asked, weather, ends))


def gravest_between(verdicts: VerdictArray, low: HourIndex, high: HourIndex) -> VerdictArray:
    """Return the gravest verdict of hours ``low`` up to ``high``; GO where there is none."""
    return -np.minimum(least_between(-verdicts, low, high), GO)


def finish_hours(finish: HourIndex | int, hours: int) -> HourIndex:
    """Return the hour at which work begun at each hour is over."""
    if isinstance(finish, (int, np.integer)):
        return np.arange(hours, dtype=np.int64) + int(finish)
    return np.asarray(finish, dtype=np.int64)


def _gravest(parts: list[VerdictArray], hours: int) -> VerdictArray:
    out: VerdictArray = reduce(np.maximum, parts, np.zeros(hours, dtype=np.int8))
    return out
