"""Was a go a go? Past mornings replayed on recorded weather, for each task of a job.

For every morning and lead day the task's own verdict is asked three times: of what really came, of
a forecast that misses it by the published error, and of the other years of the record. The noisy
forecast is one draw of ``scenarios`` from the truth, and the odds beside it are draws from that
forecast, as the product makes them every day.

What this proves is bounded by how the forecasts are made: they err as published, and are not
forecasts that somebody issued. Rows that look at columns the record does not have are left out,
for truth and forecast alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from rules.book import Book
from rules.verdict import FloatArray
from rules.weather import Weather
from scheduler.planning.evidence.facts import asked_without_log
from scheduler.planning.evidence.known import EPOCH
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.scenarios import scenarios
from scheduler.planning.model.deliveries import papers_of
from scheduler.planning.model.job import Job, Task
from scheduler.planning.tables.finish import NEVER, BoolArray, Effort
from scheduler.planning.tables.hours import HourlyTable
from scheduler.planning.windows.task_weather import task_weather

LEAD_DAYS: Final = 7
AHEAD_H: Final = 24 * (LEAD_DAYS + 3)  # the nights after the last lead day are in it
MORNING_H, WORK_BEGINS_H = 6, 8  # local clock
LONGEST_PIECE_H: Final = 9  # of one day's work
WRONG_GO: Final = 10.0  # a go that turned out wrong counts so many times a no-go that did
GO_FROM: Final = WRONG_GO / (WRONG_GO + 1.0)  # least chance at which a go is worth its risk
NEAR_DAYS: Final = 7  # past years speak of the days this near the same day
BINS: Final = 10
DRAWS: Final = 32  # odds are counted over so many, the noisy forecast is one more


@dataclass(frozen=True, slots=True)
class Skill:
    """How calls of one kind came out, for one task and lead day."""

    task: str
    work_type: str
    run: str  # perfect, noisy, odds, climate
    lead_day: int
    mornings: int
    fit: float  # share of mornings whose work was really fit
    hit: float | None  # share of the fit ones that were called go
    false_go: float | None  # share of the goes that turned out wrong
    brier: float  # of the chance stated
    cost: float  # mean, in wrongly refused days; a wrong go counts ten
    cost_always_wait: float
    cost_always_go: float


@dataclass(frozen=True, slots=True)
class Bin:
    """Mornings whose stated chance lies in one tenth."""

    stated: float | None  # mean of the chances stated
    came: float | None  # share that was really fit
    mornings: int


@dataclass(frozen=True, slots=True)
class SkillAnswer:
    """Everything that a record proves."""

    station: str
    years: tuple[int, ...]
    mornings: int
    rows: tuple[Skill, ...]
    reliability: Mapping[str, tuple[Bin, ...]]  # by task, the odds of all lead days
    left_out: tuple[str, ...]  # columns that the record does not have


@dataclass(frozen=True, slots=True)
class _Told:
    """Truth, forecast call and chances of one task: (mornings, lead days)."""

    fit: BoolArray
    noisy: BoolArray
    odds: FloatArray
    climate: FloatArray


def skill(
    job: Job, *, book: Book, record: ClimateYears, seed: int, every_days: int = 3
) -> SkillAnswer:
    """Replay the mornings of a record.

    Parameters
    ----------
    job : Job
        Its tasks that are not done, its measures on hand and its papers are judged.
    book : Book
    record : ClimateYears
        Observed hours of past years; a year with gaps loses the mornings they touch.
    seed
        Of the forecasts that are made.
    every_days
        Every so many days a morning is replayed.
    """
    zone = ZoneInfo(job.site.time_zone)
    begins = list(_mornings(record, zone, every_days))
    columns, rows = _stacked(record, begins, job.site.longitude_deg, seed)
    weather = Weather(columns, AHEAD_H)
    tasks = [task for task in job.tasks if task.duration_h > 0]
    told = {task.id: _told(job, book, task, weather, rows) for task in tasks}
    found = [row for task in tasks for row in _rows(task, told[task.id])]
    wanted = {name for name in _COLUMNS if name not in record.columns}
    return SkillAnswer(
        station=record.station,
        years=record.years,
        mornings=len(rows),
        rows=tuple(found),
        reliability={task.id: _reliability(told[task.id]) for task in tasks},
        left_out=tuple(sorted(wanted)),
    )


_COLUMNS: Final = (
    "air_temperature_c", "wind_speed_ms", "wind_speed_of_gust_ms", "precipitation_amount_mm",
    "relative_humidity_pct",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Morning:
    """One morning of one year: row of the record, hour of the season, day of the season."""

    year: int
    hour: int
    day: int


def _mornings(record: ClimateYears, zone: ZoneInfo, every_days: int) -> Iterator[_Morning]:
    """Yield the mornings whose hours ahead the record covers, by year and day."""
    first = record.start.astimezone(zone)
    to_morning = (MORNING_H - first.hour) % 24
    for year in range(len(record.years)):
        days = range(0, (record.hours - to_morning - AHEAD_H) // 24 + 1, every_days)
        yield from (_Morning(year, to_morning + 24 * day, day) for day in days)


def _stacked(
    record: ClimateYears, begins: Sequence[_Morning], longitude_deg: float, seed: int
) -> tuple[dict[str, FloatArray], list[_Morning]]:
    """Return truth, forecast and draws of every morning, one under the other.

    Returns
    -------
    columns : (mornings * (DRAWS + 2), AHEAD_H) each
        Truth, the noisy forecast, its draws; then the next morning.
    kept : list
        The mornings whose air temperature is known throughout.
    """
    parts: dict[str, list[FloatArray]] = {}
    kept = []
    for number, morning in enumerate(begins):
        cut = slice(morning.hour, morning.hour + AHEAD_H)
        truth = {name: values[morning.year, cut] for name, values in record.columns.items()}
        if not np.isfinite(truth["air_temperature_c"]).all():
            continue
        at = record.start + timedelta(hours=morning.hour)
        noisy = _drawn(truth, at, longitude_deg, seed + 2 * number, 1)
        forecast = {name: values[0] for name, values in noisy.items()}
        draws = _drawn(forecast, at, longitude_deg, seed + 2 * number + 1, DRAWS)
        for name, values in truth.items():
            rows = (values[None], forecast[name][None], draws[name])
            parts.setdefault(name, []).append(np.concatenate(rows))
        kept.append(morning)
    if not kept:
        return {}, []
    return {name: np.concatenate(rows) for name, rows in parts.items()}, kept


def _drawn(
    told: Mapping[str, FloatArray], at: datetime, longitude_deg: float, seed: int, count: int
) -> dict[str, FloatArray]:
    """Return draws of what may come where something is told: (count, AHEAD_H) by column."""
    start = np.datetime64(int(at.timestamp() // 3600), "h")
    hours = start + np.arange(AHEAD_H) * np.timedelta64(1, "h")
    made = scenarios(
        forecast=HourlyTable(hours, dict(told)),
        climate=None,
        now=at,
        until=at + timedelta(hours=AHEAD_H),
        seed=seed,
        count=count,
        longitude_deg=longitude_deg,
    ).table
    return {
        name: np.broadcast_to(np.atleast_2d(made.column(name)), (count, AHEAD_H)) for name in told
    }


def _told(job: Job, book: Book, task: Task, weather: Weather, rows: Sequence[_Morning]) -> _Told:
    hours = min(max(round(task.duration_h), 1), LONGEST_PIECE_H)
    every = np.ones(AHEAD_H, dtype=np.bool_)
    told = task_weather(
        book,
        asked_without_log(job, task, EPOCH),
        weather,
        shift=every,
        effort=Effort(hours),
        papers=papers_of(job, task),
        unseen=every,
    )
    starts = WORK_BEGINS_H - MORNING_H + 24 * np.arange(LEAD_DAYS)
    finish = np.broadcast_to(told.finish, (len(rows) * (DRAWS + 2), AHEAD_H))
    may = (finish[:, starts] < NEVER).reshape(len(rows), DRAWS + 2, LEAD_DAYS)
    fit = may[:, 0]
    return _Told(
        fit=fit,
        noisy=may[:, 1],
        odds=may[:, 2:].mean(axis=1),
        climate=_climate(fit, rows),
    )


def _climate(fit: BoolArray, rows: Sequence[_Morning]) -> FloatArray:
    """Return the share of near days of the other years that were fit.

    Of a record of one year the days of the same season that are more than a week away.
    """
    year = np.array([row.year for row in rows])
    day = np.array([row.day for row in rows])
    apart = np.abs(day[:, None] - day[None, :])
    other = year[:, None] != year[None, :]
    near = (apart <= NEAR_DAYS) & other
    if not near.any():
        near = apart > NEAR_DAYS
    weight = near / np.maximum(near.sum(axis=1, keepdims=True), 1)
    share: FloatArray = weight @ fit.astype(np.float64)
    return share


def _rows(task: Task, told: _Told) -> Iterator[Skill]:
    runs: tuple[tuple[str, BoolArray, FloatArray], ...] = (
        ("perfect", told.fit, told.fit.astype(np.float64)),
        ("noisy", told.noisy, told.noisy.astype(np.float64)),
        ("odds", told.odds >= GO_FROM, told.odds),
        ("climate", told.climate >= GO_FROM, told.climate),
    )
    for name, go, chance in runs:
        for lead in range(LEAD_DAYS):
            yield skill_of(
                task.id, task.work_type, name, lead + 1,
                fit=told.fit[:, lead], go=go[:, lead], chance=chance[:, lead],
            )  # fmt: skip


def skill_of(
    task: str,
    work_type: str,
    run: str,
    lead_day: int,
    *,
    fit: BoolArray,
    go: BoolArray,
    chance: FloatArray,
) -> Skill:
    """Count how calls came out.

    Parameters
    ----------
    task, work_type, run, lead_day
        What was called.
    fit, go : (mornings,)
        Was it really fit; was it called go.
    chance : (mornings,)
        Chance that was stated that it would be fit.

    References
    ----------
    G. W. Brier, Monthly Weather Review 78, 1950. Cost and loss: A. H. Murphy, Journal of Applied
    Meteorology 16, 1977.
    """
    wrong_go, missed = go & ~fit, ~go & fit
    return Skill(
        task=task,
        work_type=work_type,
        run=run,
        lead_day=lead_day,
        mornings=int(fit.size),
        fit=_share(fit),
        hit=_share(go[fit]) if fit.any() else None,
        false_go=_share(wrong_go[go]) if go.any() else None,
        brier=float(((chance - fit) ** 2).mean()),
        cost=float((WRONG_GO * wrong_go + missed).mean()),
        cost_always_wait=_share(fit),
        cost_always_go=WRONG_GO * _share(~fit),
    )


def _share(mask: NDArray[np.bool_]) -> float:
    return float(mask.mean())


def _reliability(told: _Told) -> tuple[Bin, ...]:
    return reliability_of(told.odds.ravel(), told.fit.ravel())


def reliability_of(chance: FloatArray, fit: BoolArray) -> tuple[Bin, ...]:
    """Return what came of each tenth of stated chance; the last one holds 1 too."""
    tenth = np.minimum((chance * BINS).astype(np.intp), BINS - 1)
    made = []
    for number in range(BINS):
        here = tenth == number
        count = int(here.sum())
        stated = float(chance[here].mean()) if count else None
        came = float(fit[here].mean()) if count else None
        made.append(Bin(stated, came, count))
    return tuple(made)
