"""Stopping for the winter: what is made safe, by which last day, and which nights it is for.

Each thing left standing is judged by the same rows as an evening's safe-leave list; here the
first hour at which a row's gravest band is reached is found in every scenario, and the last date
is the lower order statistic of those hours at the job's confidence, as the close-in date is.
Weather that is not known gives no date: it is done now.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from importlib import resources
from typing import Any, Final

import numpy as np

from rules.book import Book
from rules.book_rows import Row
from rules.conditions import fixed_conditions
from rules.exposure import NEVER, first_hour
from rules.facts import Asked
from rules.leaving import LeftStanding, left_standing, verb_of
from rules.quantities import weather_columns
from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.evidence.facts import asked_of
from scheduler.planning.forecast.scenarios import Scenarios
from scheduler.planning.model.envelope import is_there
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import State, Task
from scheduler.planning.open_house.closein_date import Ends, Season
from scheduler.planning.open_house.open_house import Breach
from scheduler.planning.tables.hours import HourlyTable

OLD: Final = (10000.0, "h")  # a wall left for the winter is past its first day
ORDER: Final = (
    "drain", "cover", "brace", "fill", "heat", "tie_down", "keep_out", "do_not", "tell", "look",
    "write_down",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class StopLine:
    """One thing that makes the stop safe."""

    do: str
    says: str
    of: str  # what is left standing, "" for the whole site
    by: date | None  # last day on which it is in place; None: see ``now`` and ``season``
    now: bool  # nobody knows the weather that sets the date, or it is asked for at any
    night: datetime | None  # first hour of the forecast that needs it, UTC
    limit: str  # in words: gusts of 30 mph
    row: str  # of the book, "" where none sets a date
    source: str
    measures: tuple[str, ...] = ()
    who: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WinterStop:
    """The plan to stop safely, and why it is printed."""

    applies: bool  # the chance is under what the job set
    chance: float | None
    stop_under: float | None  # None: the job sets nothing
    lines: tuple[StopLine, ...]
    not_begun: tuple[str, ...]  # tasks that would open more of the house or the ground
    season_end: date


def winter_stop(
    frame: Frame, book: Book, weather: Scenarios, *, chance: float | None
) -> WinterStop:
    """Return the plan to stop safely.

    Parameters
    ----------
    frame : Frame
        The job and how far it is.
    book : Book
    weather : Scenarios
        From now to the season's end.
    chance : float or None
        Of closing in before the first breach; None where nobody knows.
    """
    job = frame.job
    season = Season.of(weather, job)
    left = [t for t in left_standing() if is_there(t, job, frame.standing)]
    lines = [line for thing in left for line in _of_thing(thing, frame, book, weather, season)]
    names = {thing.name for thing in left}
    lines += list(_steps(frame, book, weather, season, names))
    under = job.stop_under
    last = season.days[-1]
    ordered = sorted(lines, key=lambda line: _rank(line, last))
    return WinterStop(
        applies=under is not None and chance is not None and chance < under,
        chance=chance,
        stop_under=under,
        lines=tuple(_first_of_each(ordered)),
        not_begun=tuple(
            task.name
            for task in job.tasks
            if frame.standing[task.id].state is State.TO_DO
            and (task.opens or task.work_type in {"open_ground", "raise_house"})
        ),
        season_end=last,
    )


def _first_of_each(lines: Iterable[StopLine]) -> Iterator[StopLine]:
    """Yield each measure of each thing once, at the earliest of its dates."""
    seen: set[tuple[str, frozenset[str]]] = set()
    for line in lines:
        key = (line.of, frozenset(line.measures))
        if not line.measures or key not in seen:
            seen.add(key)
            yield line


def _rank(line: StopLine, last: date) -> tuple[date, int]:
    by = date.min if line.now else line.by or last
    return (by, ORDER.index(line.do))


# what is left standing, by its rows


def _of_thing(
    thing: LeftStanding, frame: Frame, book: Book, weather: Scenarios, season: Season
) -> Iterator[StopLine]:
    facts = asked_of(frame, Task(thing.name, thing.says, thing.judged_as, 0.0)).facts
    told = {**facts, "age_of_masonry": OLD, "task.beside": thing.beside}
    for row in book.rows_for(thing.judged_as):
        dated = row.id.startswith(thing.rows) and _sets_a_date(row) and not _looks_back(row)
        asked = Asked(thing.judged_as, told)
        if not dated or fixed_conditions(row, asked) is not True:
            continue
        band = row.bands[0] if row.low_is_worse else row.bands[-1]
        if not band.measures:
            continue
        dates = _dates(row, weather, season)
        for names in dict.fromkeys(need.measure for need in band.measures):
            yield StopLine(
                do=verb_of(names[0]),
                says=band.says or row.says,
                of=thing.says,
                **dates,
                limit=f"{row.says}: {_edge_words(row)}",
                row=row.id,
                source=f"{row.source} {row.clause}",
                measures=names,
                cautions=tuple(dict.fromkeys((*band.cautions, *row.cautions))),
            )


def _sets_a_date(row: Row) -> bool:
    """Tell whether a row's limit is passed at an hour of the weather."""
    return (
        row.quantity in weather_columns()
        and not row.on_site
        and row.taken_as in {"value", "min", "max", "sum"}
        and len(row.bands) > 1
    )


def _looks_back(row: Row) -> bool:
    return row.hours is not None and row.hours.from_.offset_h < 0


def _edge(row: Row) -> float:
    edges = [band.up_to for band in row.bands if band.up_to is not None]
    return edges[0] if row.low_is_worse else edges[-1]


def _edge_words(row: Row) -> str:
    side = "under" if row.low_is_worse else "over"
    return f"{side} {_edge(row):g} {row.unit}"


def _dates(row: Row, weather: Scenarios, season: Season) -> dict[str, Any]:
    """Return the last day, whether it is now, and the first forecast hour that needs it."""
    tables = (weather.table, weather.forecast, weather.past)
    every, stated, past = (None if t is None else _passed(row, t) for t in tables)
    if every is None:
        raise ValueError("scenarios without a table")
    found = season.limit(every, stated, past)
    by = max(found.latest_safe, season.days[0]) if found.latest_safe is not None else None
    hour = NEVER if stated is None else int(stated.passed.min())
    return {
        "by": by,
        "now": found.ends in {Ends.NOT_KNOWN, Ends.TOO_FEW_YEARS},
        "night": season.at(hour) if hour < NEVER else None,
    }


def _passed(row: Row, table: HourlyTable) -> Breach:
    """Return the first hour at which a row's gravest band is reached."""
    name, unit = weather_columns()[row.quantity]
    values = _values(row, table, name)
    if row.taken_as == "sum":
        values = np.cumsum(values, axis=-1)
    edge = convert(_edge(row), row.unit, unit)
    with np.errstate(invalid="ignore"):
        over = values < edge if row.low_is_worse else values >= edge
    return Breach(row.id, row.says, row.source, first_hour(over), first_hour(np.isnan(values)))


def _values(row: Row, table: HourlyTable, name: str) -> FloatArray:
    """Return the row's column; where it has gaps, its substitutes times their factors."""
    values = table.column(name)
    lead = table.column("air_temperature_c").shape
    for other in row.substitutes:
        column = weather_columns().get(other.quantity)
        if other.while_below is None and column is not None:
            values = np.where(np.isnan(values), other.factor * table.column(column[0]), values)
    return np.broadcast_to(values, lead)


# steps of the stop itself


@dataclass(frozen=True, slots=True)
class Step:
    """One step of ``book/winter_stop.toml``."""

    do: str
    says: str
    source: str
    clause: str
    who: tuple[str, ...]
    cautions: tuple[str, ...]
    with_: str = ""
    without: str = ""
    done: tuple[str, ...] = ()
    open_: tuple[str, ...] = ()
    row: str = ""


@cache
def steps() -> tuple[Step, ...]:
    """Return every step, in the file's order."""
    text = resources.files("rules").joinpath("book/winter_stop.toml").read_text(encoding="utf-8")
    return tuple(Step(**_fields(row)) for row in tomllib.loads(text)["step"])


def _fields(row: Mapping[str, Any]) -> dict[str, Any]:
    renamed = {"with": "with_", "open": "open_"}
    return {
        renamed.get(key, key): tuple(value) if isinstance(value, list) else value
        for key, value in row.items()
    }


def _steps(
    frame: Frame, book: Book, weather: Scenarios, season: Season, left: set[str]
) -> Iterator[StopLine]:
    for step in steps():
        if not _holds(step, frame, left):
            continue
        row = _row(book, step.row)
        dates: dict[str, Any] = {"by": None, "now": True, "night": None}
        limit = ""
        if row is not None and _sets_a_date(row):
            dates = _dates(row, weather, season)
            limit = f"{row.says}: {_edge_words(row)}"
        yield StopLine(
            do=step.do,
            says=step.says,
            of="",
            **dates,
            limit=limit,
            row=step.row,
            source=f"{step.source} {step.clause}",
            who=step.who,
            cautions=step.cautions,
        )


def _holds(step: Step, frame: Frame, left: set[str]) -> bool:
    states = {task.work_type: frame.standing[task.id].state for task in frame.job.tasks}
    finished = {kind for kind, state in states.items() if state is State.DONE}
    to_do = {kind for kind, state in states.items() if state is not State.DONE}
    return (
        (not step.with_ or step.with_ in left)
        and (not step.without or step.without not in left)
        and (not step.done or bool(finished & set(step.done)))
        and (not step.open_ or bool(to_do & set(step.open_)))
    )


def _row(book: Book, row_id: str) -> Row | None:
    return next((row for row in book.rows if row.id == row_id), None)
