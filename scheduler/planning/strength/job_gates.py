"""Gates and freezing of a whole job, for the planner: from finish tables and weather to tables.

A link with a gate behind work that the wall model does not judge, mortar alone, is gated on air
temperature. Work that is to come is protected with what is on hand, and with what can be bought
only where it would freeze without. Work that is done is in ``strength/done_work.py``, under what
was logged over it or asked for (``kept_covers.py``).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from rules.curing import FreshWork, Protection
from rules.verdict import FloatArray
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import Link, State, Task
from scheduler.planning.model.log import release_of
from scheduler.planning.strength.done_work import DoneWork, ElementWeather, done_work
from scheduler.planning.strength.fresh_work import (
    face_weather,
    fresh_work,
    place_of,
    warmest_protection,
)
from scheduler.planning.strength.gates import (
    GateTables,
    Opening,
    asked_finishes,
    at_confidence,
    gate_tables,
    opening,
    ready_on_trace,
)
from scheduler.planning.strength.kept_covers import kept_cover
from scheduler.planning.tables.finish import NEVER, BoolArray, IntArray, earliest, whole_hours
from scheduler.planning.tables.hours import HourlyTable
from scheduler.planning.tables.own_gates import LinkKey


@dataclass(frozen=True, slots=True)
class JobGates:
    """What strength and freezing say of a job's open tasks."""

    ready: Mapping[LinkKey, IntArray]  # by gate: (hours + 1,), or () where the work is done
    optimistic: Mapping[LinkKey, IntArray]  # by the fast model, to be shown beside it
    each: Mapping[LinkKey, IntArray]  # (scenarios, hours + 1), or (scenarios,) if it is done
    may_start: Mapping[str, BoolArray]  # (hours,) False: would freeze before it resists
    bought: Mapping[str, BoolArray]  # (hours + 1,) finishes that need a measure to be bought
    tables: Mapping[str, GateTables]  # by the task that places fresh work
    done: Mapping[str, DoneWork]  # by the task that placed it
    held: Mapping[str, str]  # open task, the finished work it stands on that froze

    def ungated(self) -> JobGates:
        """Return the same with every gate open: a replay takes each scenario's own."""
        return replace(self, ready={key: np.zeros_like(one) for key, one in self.ready.items()})


@dataclass(frozen=True, slots=True)
class GateWeather:
    """Weather on the frame's hours, what came before, and what was measured in the work."""

    table: HourlyTable  # (scenarios, hours)
    past: HourlyTable | None = None  # (hours,) up to the frame's first hour
    measured: Mapping[str, FloatArray] = field(default_factory=dict)  # by task, past + hours
    read_before: Mapping[str, FloatArray] = field(default_factory=dict)  # hours before ``past``
    ground_c: float | None = None
    told: HourlyTable | None = None  # (1, hours) the forecast alone, which calls go by


def job_gates(
    frame: Frame,
    *,
    weather: GateWeather,
    finish: Mapping[str, IntArray],
    works: Mapping[str, FreshWork] | None = None,
) -> JobGates:
    """Return the gate tables and freeze masks of every task.

    Parameters
    ----------
    frame : Frame
        The job, its hours and how far it is.
    weather : GateWeather
        What is expected, known and measured.
    finish : (hours,) or (scenarios, hours), by task
        Finish of every start, so that only finishes that can be are followed.
    works : FreshWork, by task, optional
        With a calibrated strength model; else as the job says.

    Returns
    -------
    JobGates
        A task without a finish table is not followed and has no gate tables.
    """
    found = _Parts()
    follow = _Following(frame, weather, _openings_by_work(frame, works or {}))
    for source in frame.job.tasks:
        links = list(_gated(frame, source))
        work = _work_of(frame, source, works or {})
        if frame.standing[source.id].state is State.DONE:
            _add_done(found, frame, source, work, links, weather)
        elif work is None:
            _add_on_air(found, frame, links, weather)
        elif source.id in finish:
            _add_to_do(found, follow, source, work, links, finish[source.id])
    held = held_by_frozen(frame, found.done)
    for task, link in _links_to(frame, set(held.values())):
        if task.id not in held:
            continue
        found.may_start[task.id] = np.zeros(frame.hours, dtype=np.bool_)
        if link.gate is not None:
            never = np.asarray(NEVER, dtype=np.int32)
            found.put((task.id, link.task), never, never, never[None])
    return JobGates(
        found.ready, found.optimistic, found.each, found.may_start, found.bought, found.tables,
        found.done, held,
    )  # fmt: skip


def held_by_frozen(frame: Frame, done: Mapping[str, DoneWork]) -> dict[str, str]:
    """Return the open tasks that stand on finished work that froze, each with that work.

    Frozen before it resists is failure, never delay: nothing goes on it until the engineer has
    released the task by name, after it froze. Where its hours are no longer known, what an
    answer told of it stands.
    """
    frozen: dict[str, datetime] = {}
    told_then = {one.task: one.told_at for one in reversed(frame.progress.frozen)}
    for name, told in done.items():
        finished = frame.standing[name].finished
        if told.froze_h is not None and finished is not None:
            frozen[name] = finished + timedelta(hours=told.froze_h)
        elif told.unknown_h > 0 and name in told_then:
            frozen[name] = told_then[name]
    return {
        task.id: link.task
        for task, link in _links_to(frame, frozen)
        if not _released(frame, task.id, frozen[link.task])
    }


def _released(frame: Frame, task: str, since: datetime) -> bool:
    found = release_of(frame.progress.entries, task, ("engineer",))
    return found is not None and found.at >= since


def _links_to(frame: Frame, sources: Collection[str]) -> Iterator[tuple[Task, Link]]:
    for task in frame.open_tasks:
        for link in task.after:
            if link.task in sources:
                yield task, link


def _work_of(frame: Frame, source: Task, works: Mapping[str, FreshWork]) -> FreshWork | None:
    return works.get(source.id) or fresh_work(source, on_hand=frame.job.on_hand)


def _openings_by_work(
    frame: Frame, works: Mapping[str, FreshWork]
) -> Mapping[FreshWork, Mapping[str, Opening]]:
    """Return everything that waits for work of one kind, whichever task places it."""
    found: dict[FreshWork, dict[str, Opening]] = {}
    for source in frame.job.tasks:
        work = _work_of(frame, source, works)
        if work is not None:
            found.setdefault(work, {}).update(_named_openings(frame, source, work))
    return found


def _named_openings(frame: Frame, source: Task, work: FreshWork) -> dict[str, Opening]:
    return {
        f"{task.id} {link.task}": _opening(task, link, work.specified_mpa)
        for task, link in _gated(frame, source)
    }


@dataclass(frozen=True, slots=True)
class _Following:
    """The wall model, asked once for the same work, protection and finishes.

    It is the dearest part of a plan, and a job often places the same wall in several tasks.
    """

    frame: Frame
    weather: GateWeather
    openings: Mapping[FreshWork, Mapping[str, Opening]]
    known: dict[tuple[FreshWork, str, bytes], GateTables] = field(default_factory=dict)

    def tables(
        self, work: FreshWork, chosen: Protection, finishes: NDArray[np.intp]
    ) -> GateTables:
        """Return the gate tables of everything that waits for such work."""
        key = (work, chosen.name, finishes.tobytes())
        if key not in self.known:
            self.known[key] = gate_tables(
                work,
                weather=face_weather(self.weather.table),
                place=place_of(self.frame.job.site, ground_c=self.weather.ground_c),
                protection=chosen,
                openings=self.openings[work],
                finishes=finishes,
                confidence=self.frame.job.confidence,
            )
        return self.known[key]


@dataclass(frozen=True, slots=True)
class _Parts:
    """The answer while it is put together, task by task."""

    ready: dict[LinkKey, IntArray] = field(default_factory=dict)
    optimistic: dict[LinkKey, IntArray] = field(default_factory=dict)
    each: dict[LinkKey, IntArray] = field(default_factory=dict)
    may_start: dict[str, BoolArray] = field(default_factory=dict)
    bought: dict[str, BoolArray] = field(default_factory=dict)
    tables: dict[str, GateTables] = field(default_factory=dict)
    done: dict[str, DoneWork] = field(default_factory=dict)

    def put(self, key: LinkKey, ready: IntArray, optimistic: IntArray, each: IntArray) -> None:
        """Keep the tables of one gate."""
        self.ready[key], self.optimistic[key], self.each[key] = ready, optimistic, each


def _gated(frame: Frame, source: Task) -> Iterator[tuple[Task, Link]]:
    for task in frame.open_tasks:
        for link in task.after:
            if link.task == source.id and link.gate is not None:
                yield task, link


def _opening(task: Task, link: Link, specified_mpa: float) -> Opening:
    purpose = (link.gate.purpose if link.gate is not None else "") or task.id
    return opening(purpose, link.gate, specified_mpa=specified_mpa)


def _add_on_air(
    found: _Parts, frame: Frame, links: list[tuple[Task, Link]], weather: GateWeather
) -> None:
    """Gate on the air's temperature: the first guess where no model is."""
    air = np.atleast_2d(weather.table.column("air_temperature_c"))
    for task, link in links:
        one = _opening(task, link, 1.0)
        each = ready_on_trace(one, temperature_c=air)
        ready = at_confidence(each, frame.job.confidence)
        found.put((task.id, link.task), ready, ready, each)


def _add_to_do(
    found: _Parts,
    follow: _Following,
    source: Task,
    work: FreshWork,
    links: list[tuple[Task, Link]],
    finish: IntArray,
) -> None:
    """Follow the work under what is on hand, then what freezes so under what can be bought."""
    confidence = follow.frame.job.confidence
    on_hand, bought = _protections(follow.frame)
    asked = asked_finishes(finish)
    first = last = follow.tables(work, on_hand, asked)
    short = doomed = first.would_freeze(confidence)  # of what is on hand
    rest = asked[short[asked]]
    if bought is not None and rest.size:
        last = follow.tables(work, bought, rest)
        doomed = short & last.would_freeze(confidence)
    for key in ((task.id, link.task) for task, link in links):
        name = " ".join(key)
        slow, fast, each = (
            earliest(np.where(doomed, np.int32(NEVER), np.where(short, other[name], one[name])))
            for one, other in (
                (first.ready, last.ready),
                (first.optimistic, last.optimistic),
                (first.each, last.each),
            )
        )
        found.put(key, slow, fast, each)
    found.may_start[source.id] = _starts(finish, ~doomed)
    found.bought[source.id] = short & ~doomed
    found.tables[source.id] = last


def _protections(frame: Frame) -> tuple[Protection, Protection | None]:
    """Return the warmest protection on hand, and the warmest to be bought if it is warmer."""
    on_hand = warmest_protection(frame.job.on_hand)
    offered = {offer.measure for offer in frame.job.can_be_had}
    bought = warmest_protection({*frame.job.on_hand, *offered})
    return on_hand, None if bought.name == on_hand.name else bought


def bought_measure(frame: Frame) -> str:
    """Return the measure that is bought for work that freezes under what is on hand; "" none."""
    _, bought = _protections(frame)
    return "" if bought is None else bought.covers[0].measure


def _starts(finish: IntArray, alive: BoolArray) -> BoolArray:
    """Return the starts whose work survives; a start that is never over is left to its table."""
    one = finish if finish.ndim == 1 else finish.min(axis=0)
    return np.where(one < NEVER, alive[np.minimum(one, alive.size - 1)], True)


def _add_done_on_air(
    found: _Parts,
    frame: Frame,
    finished: datetime | None,
    links: list[tuple[Task, Link]],
    weather: GateWeather,
) -> None:
    """Gate on what the air of the hours to come gives, and on the wait since the finish."""
    air = np.atleast_2d(weather.table.column("air_temperature_c"))
    since = 0 if finished is None else frame.hour(finished)
    for task, link in links:
        one = _opening(task, link, 1.0)
        table = ready_on_trace(replace(one, wait_h=0.0), temperature_c=air)[:, :1]
        each = np.maximum(table[:, 0], np.int32(max(since + whole_hours(one.wait_h), 0)))
        ready = at_confidence(each, frame.job.confidence)
        found.put((task.id, link.task), ready, ready, each)


def _add_done(
    found: _Parts,
    frame: Frame,
    source: Task,
    work: FreshWork | None,
    links: list[tuple[Task, Link]],
    weather: GateWeather,
) -> None:
    """Gate on what the finished work has been through; on what it gains from now if unknown."""
    finished = frame.standing[source.id].finished
    if work is None or finished is None:
        _add_done_on_air(found, frame, finished, links, weather)
        return
    keys = {(task.id, link.task): _opening(task, link, work.specified_mpa) for task, link in links}

    def in_(table: HourlyTable) -> DoneWork:
        return done_work(
            work,
            site=frame.job.site,
            finished=finished,
            weather=ElementWeather(
                table,
                weather.past,
                measured=weather.measured.get(source.id),
                read_before=weather.read_before.get(source.id),
                ground_c=weather.ground_c,
            ),
            protection=kept_cover(frame, source, finished),
            openings={" ".join(key): one for key, one in keys.items()},
            confidence=frame.job.confidence,
        )

    found.done[source.id] = likely = in_(weather.table)
    told = likely if weather.told is None or not keys else in_(weather.told)
    for key in keys:
        name = " ".join(key)
        # Where the forecast's own hours open the gate, the plan has the hour that the call has.
        opened = told.ready[name] < NEVER
        ready, fast = (
            (told.ready[name], told.optimistic[name])
            if opened
            else (likely.ready[name], likely.optimistic[name])
        )
        found.put(key, ready, fast, likely.each[name])
