"""What the wall model says this morning: of work to be placed today, and of gates on work done.

The forecast's hours and no others: what lies past them is not known here; a plan looks further.
Each piece is worked out when it is first asked for.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import cached_property
from typing import Final

import numpy as np

from rules.curing import FreshWork, Protection
from rules.films import covers
from rules.freeze import Fate
from rules.verdict import FloatArray
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.wall_model import Gated, Placing, Standing
from scheduler.planning.forecast.ensemble_line import members_of
from scheduler.planning.forecast.past_hours import bridged
from scheduler.planning.model.calendars import moment_of, whole_hour_from
from scheduler.planning.model.frame import Frame, frame_of
from scheduler.planning.model.job import Job, Link, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.strength.fresh_work import (
    PLANNED_COVER_H,
    face_weather,
    fresh_work,
    place_of,
    protection,
)
from scheduler.planning.strength.gate_weather import gate_weather
from scheduler.planning.strength.gates import GateTables, Opening, gate_tables, opening
from scheduler.planning.strength.job_gates import GateWeather, JobGates, job_gates
from scheduler.planning.strength.logged_breaks import OwnMixes, own_mixes
from scheduler.planning.tables.finish import NEVER, IntArray
from scheduler.planning.tables.hours import Forecast, HourlyTable

MILDEST_FIRST: Final = ("bare", "membrane", "blanket", "enclosure")


class StrengthNow:
    """The wall model on what is known as of one moment."""

    def __init__(self, frame: Frame, forecast: HourlyTable, observed: HourlyTable | None) -> None:
        self._frame = frame
        self._forecast = forecast
        self._observed = observed
        self._tables: dict[tuple[str, str], GateTables] = {}

    @cached_property
    def _mixes(self) -> OwnMixes:
        return own_mixes(self._frame)

    @cached_property
    def _weather(self) -> GateWeather:
        return gate_weather(self._frame, self._forecast, self._observed)

    @cached_property
    def _done(self) -> JobGates:
        return job_gates(self._frame, weather=self._weather, finish={}, works=self._mixes.works)

    def frozen_under(self, task: Task) -> str:
        """Return the finished work that froze and that a task stands on; "" without any."""
        return self._done.held.get(task.id, "")

    def standing(self, task: Task) -> Standing | None:
        """Return how finished work stands; None where the model does not judge it."""
        told = self._done.done.get(task.id)
        if told is None:
            return None
        safe = self._moment(told.safe)
        until = moment_of(self._frame.hour_zero, self._frame.hours)
        return Standing(told.fate, told.share, told.coldest_c, safe, until, told.threatened)

    def gate(self, task: Task, link: Link) -> Gated | None:
        """Return the gate of a link behind finished work; None where it has none."""
        key = (task.id, link.task)
        if link.gate is None or key not in self._done.ready:
            return None
        return Gated(
            link.gate.purpose or task.id,
            self._moment(self._done.ready[key]),
            self._moment(self._done.optimistic[key]),
        )

    def placing(
        self, task: Task, finish: datetime, *, asked: Collection[str] = ()
    ) -> Placing | None:
        """Return what becomes of a task's fresh work that is in place at a moment.

        Tried under what is on hand, what can be had and ``asked``, the measures that the book
        asks for. None where the model does not judge it, or the forecast does not reach.
        """
        work, hour = self._work(task), self._frame.hour(finish)
        if work is None or not 0 <= hour < self._frame.hours:
            return None
        found = None
        for name in self._protections(asked):
            tables = self._followed(task, work, name)
            found = self._placing(tables, name, hour)
            if found.fate is not Fate.FREEZES:
                break
        return found

    def _work(self, task: Task) -> FreshWork | None:
        own = self._mixes.works.get(task.id)
        return own or fresh_work(task, on_hand=self._frame.job.on_hand)

    def _protections(self, asked: Collection[str]) -> Iterator[str]:
        """Return bare, then what is on hand, then what is to be had; mildest first."""
        job = self._frame.job
        on_hand = set(job.on_hand)
        others = {*(offer.measure for offer in job.can_be_had), *asked} - on_hand
        yield "bare"
        for measures in (on_hand, others):
            for name in MILDEST_FIRST[1:]:
                if covers()[name].measure in measures:
                    yield name

    def _followed(self, task: Task, work: FreshWork, name: str) -> GateTables:
        if (task.id, name) not in self._tables:
            self._tables[task.id, name] = gate_tables(
                work,
                weather=face_weather(self._forecast),
                place=place_of(self._frame.job.site),
                protection=_kept(name),
                openings=dict(self._openings(task, work)),
                finishes=np.arange(self._frame.hours),
                confidence=self._frame.job.confidence,
            )
        return self._tables[task.id, name]

    def _openings(self, task: Task, work: FreshWork) -> Iterator[tuple[str, Opening]]:
        for other in self._frame.open_tasks:
            for link in other.after:
                if link.task == task.id and link.gate is not None:
                    purpose = link.gate.purpose or other.id
                    yield purpose, opening(purpose, link.gate, specified_mpa=work.specified_mpa)

    def _placing(self, tables: GateTables, name: str, hour: int) -> Placing:
        confidence = self._frame.job.confidence
        measure = "" if name == "bare" else covers()[name].measure
        fate = Fate.NOT_KNOWN
        if tables.would_freeze(confidence)[hour]:
            fate = Fate.FREEZES
        elif tables.may_finish(confidence)[hour]:
            fate = Fate.SURVIVES
        coldest = float(tables.coldest_c[hour])
        step = hour + int(tables.coldest_step[hour])
        frozen = fate is Fate.FREEZES  # failure, never delay: no gate opens
        return Placing(
            fate=fate,
            surely=bool(tables.surely_freezes(confidence)[hour]),
            cover=measure,
            on_hand=not measure or measure in self._frame.job.on_hand,
            coldest_c=coldest,
            coldest_at=moment_of(self._frame.hour_zero, step) if np.isfinite(coldest) else None,
            freeze_safe_at=None if frozen else self._moment(tables.freeze_safe[hour]),
            gates=tuple(
                Gated(
                    purpose,
                    None if frozen else self._moment(table[hour]),
                    None if frozen else self._moment(tables.optimistic[purpose][hour]),
                )
                for purpose, table in tables.ready.items()
            ),
            known_until=moment_of(self._frame.hour_zero, self._frame.hours),
        )

    def _moment(self, hour: IntArray) -> datetime | None:
        found = int(hour)
        return moment_of(self._frame.hour_zero, found) if found < NEVER else None


def with_strength(known: Known, progress: Progress) -> Known:
    """Return what is known with the wall model of its moment, by what was told until then."""
    seen = Progress(
        known.entries,
        tuple(one for one in progress.asked if one.told_at <= known.now),
        tuple(one for one in progress.frozen if one.told_at <= known.now),
    )
    zero, earlier = whole_hour_from(known.now), known.told[:-1]
    model = strength_now(
        known.job, seen, known.newest, known.observed, hour_zero=zero, earlier=earlier
    )
    return replace(known, strength=model)


def strength_now(
    job: Job,
    progress: Progress,
    forecast: Forecast | None,
    observed: Forecast | None,
    *,
    hour_zero: datetime,
    earlier: Sequence[Forecast] = (),
) -> StrengthNow | None:
    """Return the wall model of a morning; None where nothing is placed or nothing is forecast.

    Parameters
    ----------
    job, progress : Job, Progress
        What is placed, and what was logged.
    forecast, observed : Forecast
        The newest forecast, and what was observed at the place.
    hour_zero : datetime
        The first whole hour not before now, UTC.
    earlier : Forecast
        Forecasts kept before the newest, oldest first: they fill short holes of the record.
    """
    placed = any(fresh_work(task) is not None for task in job.tasks)
    gated = any(link.gate is not None for task in job.tasks for link in task.after)
    if forecast is None or not (placed or gated):
        return None
    members = members_of(forecast)
    if not members.hours:
        return None
    begins = datetime.fromtimestamp(int(members.start[0].astype(np.int64)) * 3600, UTC)
    seen = None if observed is None else observed.table
    past = bridged(seen, (*earlier, forecast), moment=max(hour_zero, begins))
    table = _from_hour(members, past, hour_zero)
    if table is None:
        return None
    frame = frame_of(job, progress, hour_zero=hour_zero, hours=table.hours, now_hour=0)
    return StrengthNow(frame, table, past)


def _kept(name: str) -> Protection:
    return protection(name, hours=PLANNED_COVER_H)


def _from_hour(table: HourlyTable, past: HourlyTable, zero: datetime) -> HourlyTable | None:
    """Return the hours from a moment to the last one whose air temperature is known.

    A forecast that begins later is led in by what is known of the hours before it.
    """
    first = int(zero.timestamp() // 3600) - int(table.start[0].astype(np.int64))
    air = np.atleast_2d(table.column("air_temperature_c"))
    known = np.flatnonzero(np.isfinite(air).any(axis=0))
    if not known.size or known[-1] < first:
        return None
    cut, lead = slice(max(first, 0), int(known[-1]) + 1), max(-first, 0)
    columns = {name: np.atleast_2d(values)[..., cut] for name, values in table.columns.items()}
    if lead:
        columns = {
            name: np.concatenate([_lead(past, name, lead, values), values], axis=-1)
            for name, values in columns.items()
        }
    hours = cut.stop - cut.start + lead
    start = table.start[cut.start] - np.timedelta64(lead, "h")
    return HourlyTable(start + np.arange(hours) * np.timedelta64(1, "h"), columns)


def _lead(past: HourlyTable, name: str, lead: int, values: FloatArray) -> FloatArray:
    last = past.columns[name][-lead:] if name in past.columns else np.zeros(0)
    out = np.full((values.shape[0], lead), np.nan)
    out[:, lead - last.size :] = last
    return out
