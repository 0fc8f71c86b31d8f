"""Protections compared for one piece of fresh work: freezing, gates, cost and booked slots.

The book's end of protection and the model's hours stand side by side and are never mixed: a
protection that the model finds warm enough still stays on as long as the book asks.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np

from rules.curing import Cured, FreshWork, Protection, Shared, aged_by, full, shared_trace
from rules.elements import depths_m
from rules.errors import OutOfRange
from rules.films import FaceWeather, Place, Surroundings, covers, surroundings
from rules.freeze import NO_STEP, Fate, FateArray, ages_h
from rules.gates import freeze_rule
from rules.heat import settled
from rules.strength import FAST, StrengthModel
from rules.verdict import FloatArray
from scheduler.planning.model.calendars import moment_of
from scheduler.planning.model.job import Job, Link, Task
from scheduler.planning.strength.cure_answer import (
    Booked,
    CureAnswer,
    CureOption,
    CureTrace,
    Slot,
    SlotAnswer,
)
from scheduler.planning.strength.fresh_work import (
    face_weather,
    fresh_work,
    hour_of,
    place_of,
    protection,
)
from scheduler.planning.strength.gates import Opening, at_confidence, opening
from scheduler.planning.tables.finish import NEVER, IntArray, whole_hours
from scheduler.planning.tables.hours import HourlyTable

COMPARED: Final = ("bare", "membrane", "blanket", "enclosure")
WALL_GATES: Final = (
    "uniform_load",
    "blankets_off",
    "concentrated_load",
    "lower_house",
    "tighten_anchors",
    "backfill",
)
FOOTING_GATES: Final = ("take_block", "blankets_off")
SHOWN_H: Final = 336  # hours that are followed with the cement's heat, and drawn


def compare(
    job: Job,
    task: Task,
    *,
    weather: HourlyTable,
    finish: datetime,
    now: datetime,
    protect_until: datetime | None = None,
    ground_c: float | None = None,
    work: FreshWork | None = None,
) -> CureAnswer | None:
    """Compare protections of a task's fresh work.

    Each cover stays on until the book's end of protection, and longer where the work would freeze
    without it.

    Parameters
    ----------
    job, task : Job, Task
        What is placed, what is on hand or can be had, and which booked tasks wait for it.
    weather : HourlyTable
        ``(hours,)`` or ``(scenarios, hours)``, from before the finish on.
    finish : datetime
        When the work is in place, UTC.
    now : datetime
        UTC; decides whether a measure with notice comes in time.
    protect_until : datetime, optional
        The book's end of protection.
    ground_c : number, optional
        Measured temperature of the ground under a footing or slab. [°C]
    work : FreshWork, optional
        With a calibrated model; else as the task says.

    Returns
    -------
    CureAnswer or None
        None where the task places nothing that the model judges.

    Raises
    ------
    OutOfRange
        If the weather does not reach the finish, or a size is not in the book.
    """
    placed = work or fresh_work(task, on_hand=job.on_hand)
    if placed is None:
        return None
    asked = _Asked.of(
        job, task, placed, weather=weather, finish=finish, protect_until=protect_until,
        ground_c=ground_c,
    )  # fmt: skip
    options = _with_slots([_option(asked, name, now) for name in COMPARED])
    return CureAnswer(
        task=task.id,
        section=placed.section.name,
        finish=finish,
        placed_c=placed.placed_c,
        specified_mpa=placed.specified_mpa,
        model=placed.model.name,
        confidence=job.confidence,
        scenarios=asked.scenarios,
        protect_until=protect_until,
        booked=asked.booked,
        shares={purpose: one.share for purpose, one in asked.openings.items()},
        waits_h={purpose: one.wait_h for purpose, one in asked.openings.items()},
        options=options,
        assumed=asked.around("bare")[0][0].assumed,
        known_until=asked.moment(asked.hours),
        verify=freeze_rule().verify or any(cover.verify for cover in covers().values()),
    )


@dataclass(frozen=True, slots=True)
class _Asked:
    """One question: the work, its hour, the weather, and what waits for it."""

    job: Job
    work: FreshWork
    faces: FaceWeather  # (scenarios, hours)
    place: Place
    finish_hour: int
    zero: datetime  # UTC, beginning of the weather's first hour
    covered_h: int | None
    openings: Mapping[str, Opening]
    booked: tuple[Booked, ...]

    @classmethod
    def of(
        cls,
        job: Job,
        task: Task,
        work: FreshWork,
        *,
        weather: HourlyTable,
        finish: datetime,
        protect_until: datetime | None,
        ground_c: float | None,
    ) -> _Asked:
        faces = face_weather(weather)
        faces = replace(faces, air_temperature_c=np.atleast_2d(faces.air_temperature_c))
        hour = hour_of(weather, finish)
        if not 0 <= hour < weather.hours:
            raise OutOfRange(f"the weather does not reach {finish:%Y-%m-%d %H:%M} UTC")
        kept = None if protect_until is None else (protect_until - finish) / timedelta(hours=1)
        waiting = tuple(_waiting(job, task))
        zero = datetime.fromtimestamp(int(weather.start[0].astype(np.int64)) * 3600, UTC)
        return cls(
            job=job,
            work=work,
            faces=faces,
            place=place_of(job.site, ground_c=ground_c),
            finish_hour=hour,
            zero=zero,
            covered_h=None if kept is None else max(math.ceil(kept), 1),
            openings=_openings(work, waiting),
            booked=tuple(_booked(waiting)),
        )

    @property
    def scenarios(self) -> int:
        return int(self.faces.air_temperature_c.shape[0])

    @property
    def hours(self) -> int:
        return int(self.faces.air_temperature_c.shape[1])

    def moment(self, hour: int) -> datetime:
        return moment_of(self.zero, hour)

    def protection(self, name: str) -> Protection:
        kind = "concrete" if self.work.section.level else "grout"
        return protection(name, kind=kind, hours=self.covered_h)

    def around(self, name: str) -> tuple[tuple[Surroundings, ...], Protection]:
        chosen = self.protection(name)
        return surroundings(self.faces, self.place, chosen.covers, self.work.section), chosen


def _option(asked: _Asked, name: str, now: datetime) -> CureOption:
    """Follow the work under one protection, kept on until the book and the model let it off."""
    finish, at = asked.finish_hour, np.array([asked.finish_hour])
    around, chosen = asked.around(name)
    before = settled(section=asked.work.section, around=around[-1], hours=at)
    stays = _follow(asked, around[:1], before, [0])
    keep_on = _moment(asked, stays[1].fate_of(stays[0])[1])
    cover_h = sum(chosen.hours)
    if keep_on is not None and cover_h:
        cover_h = max(cover_h, int((keep_on - asked.moment(finish)) / timedelta(hours=1)))
    cured, shared = _follow(asked, around, before, [0] * cover_h)
    fate, safe = shared.fate_of(cured)
    judged = _fate(fate[:, 0], asked.job.confidence)
    alive = judged is Fate.SURVIVES
    never: dict[str, datetime | None] = dict.fromkeys(asked.openings)  # failure, never delay
    worst = _row_at(cured.freezing.coldest_c[:, 0], asked.job.confidence)
    frozen = int(cured.freezing.frozen_step[worst, 0])
    measure = chosen.covers[0].measure
    available, per_day = _to_be_had(asked, measure, now)
    kept = _ready(asked, *stays) if keep_on is not None else never
    return CureOption(
        name=name,
        measure=measure,
        cover_until=asked.moment(finish + cover_h) if cover_h else None,
        available=available,
        cost=_cost(per_day, cover_h),
        fate=judged,
        coldest_c=float(cured.freezing.coldest_c[worst, 0]),
        coldest_at=asked.moment(finish + int(cured.freezing.coldest_step[worst, 0])),
        frozen_at=None if alive or frozen == NO_STEP else asked.moment(finish + frozen),
        freeze_safe_at=_moment(asked, safe),
        keep_on_until=keep_on,
        ready=_ready(asked, cured, shared) if alive else never,
        ready_fast=_ready(asked, *aged_by(FAST, cured, shared), model=FAST) if alive else never,
        slots={one.task: _slot(asked, one, kept[one.purpose], per_day) for one in asked.booked},
        trace=_trace(asked, cured),
    )


def _follow(
    asked: _Asked, around: Sequence[Surroundings], before_c: FloatArray, covered: Sequence[int]
) -> tuple[Cured, Shared]:
    """Follow the work for as long as is drawn: the hours in ``covered``, then the last cover."""
    steps = min(SHOWN_H, asked.hours - asked.finish_hour)
    schedule = np.full(steps, len(around) - 1, dtype=np.intp)
    schedule[: len(covered)] = covered[:steps]
    cured = full(
        asked.work,
        around=around,
        schedule=schedule,
        finishes=np.array([asked.finish_hour]),
        before_c=before_c,
        keep_nodes=True,
    )
    return cured, shared_trace(asked.work, around)


def _ready(
    asked: _Asked, cured: Cured, shared: Shared, *, model: StrengthModel | None = None
) -> dict[str, datetime | None]:
    own = model or asked.work.model
    out = {}
    for purpose, one in asked.openings.items():
        found = np.full((asked.scenarios, 1), asked.finish_hour + whole_hours(one.wait_h))
        for by, need in one.asks(own):
            aged, trace = (cured, shared) if by is own else aged_by(by, cured, shared)
            found = np.maximum(found, trace.carried_on(aged, need))
        out[purpose] = _moment(asked, found.astype(np.int32))
    return out


def _moment(asked: _Asked, hours: IntArray) -> datetime | None:
    """Return the moment by which enough scenarios are there; (scenarios, 1), late means never."""
    table = np.where(hours > asked.hours, np.int32(NEVER), hours)
    hour = int(at_confidence(table, asked.job.confidence)[0])
    return asked.moment(hour) if hour < NEVER else None


def _fate(fates: FateArray, confidence: float) -> Fate:
    count = fates.size
    if (fates == Fate.SURVIVES).sum() >= confidence * count - 1e-9:
        return Fate.SURVIVES
    return Fate.FREEZES if (fates == Fate.FREEZES).any() else Fate.NOT_KNOWN


def _row_at(coldest_c: FloatArray, confidence: float) -> int:
    """Return the scenario whose coldest moment is undercut in no more than the share allowed."""
    order = np.argsort(np.where(np.isnan(coldest_c), np.inf, coldest_c), kind="stable")
    return int(order[coldest_c.size - math.ceil(confidence * coldest_c.size - 1e-9)])


def _to_be_had(asked: _Asked, measure: str, now: datetime) -> tuple[bool, float | None]:
    """Return whether a measure is there in time, and what a day of it costs."""
    if not measure or measure in asked.job.on_hand:
        return True, 0.0
    for offer in asked.job.can_be_had:
        if offer.measure == measure:
            there = now + timedelta(hours=offer.notice_h)
            return there <= asked.moment(asked.finish_hour), offer.cost_per_day
    return False, None


def _cost(per_day: float | None, hours: float) -> float | None:
    return None if per_day is None else per_day * math.ceil(hours / 24.0)


def _waiting(job: Job, task: Task) -> Iterator[tuple[Task, Link]]:
    for other in job.tasks:
        for link in other.after:
            if link.task == task.id and link.gate is not None:
                yield other, link


def _openings(work: FreshWork, waiting: Sequence[tuple[Task, Link]]) -> dict[str, Opening]:
    """Return the book's gates that fit the element; the job's own figures go before them."""
    fitting = FOOTING_GATES if work.section.level else WALL_GATES
    found = {p: opening(p, None, specified_mpa=work.specified_mpa) for p in fitting}
    for other, link in waiting:
        purpose = _purpose(other, link)
        found[purpose] = opening(purpose, link.gate, specified_mpa=work.specified_mpa)
    return found


def _booked(waiting: Sequence[tuple[Task, Link]]) -> Iterator[Booked]:
    for other, link in waiting:
        if other.appointment is not None:
            visit = other.appointment
            yield Booked(other.id, _purpose(other, link), visit.who, visit.start)


def _purpose(other: Task, link: Link) -> str:
    return (link.gate.purpose if link.gate is not None else "") or other.id


def _slot(
    asked: _Asked, slot: Booked, ready: datetime | None, per_day: float | None
) -> SlotAnswer:
    """Return when a slot's gate opens if the cover stays on until then, and at what cost."""
    until = slot.start if ready is None else min(ready, slot.start)
    hours = max((until - asked.moment(asked.finish_hour)) / timedelta(hours=1), 0.0)
    kept = ready is not None and ready <= slot.start
    return SlotAnswer(Slot.SAVED if kept else Slot.LOST_ANYWAY, ready, _cost(per_day, hours))


def _with_slots(options: Sequence[CureOption]) -> tuple[CureOption, ...]:
    """Mark the slots that what is free and at hand keeps: no heat has to be bought for them."""
    free = [one for one in options if one.available and one.cost == 0.0]
    safe = {t for one in free for t, told in one.slots.items() if told.slot is Slot.SAVED}
    return tuple(
        replace(
            one,
            slots={
                task: replace(told, slot=Slot.KEPT_WITHOUT) if task in safe else told
                for task, told in one.slots.items()
            },
        )
        for one in options
    )


def _trace(asked: _Asked, cured: Cured) -> CureTrace:
    """Return the middle of the scenarios, hour by hour."""
    steps = cured.age_h.shape[-1]
    through = np.minimum(np.arange(asked.finish_hour, asked.finish_hour + steps), asked.hours - 1)
    nodes = cured.element.nodes_c
    if nodes is None:
        raise ValueError("the nodes were not kept")
    age = np.median(cured.age_h[:, 0], axis=0)
    fast = ages_h(coldest_c=cured.element.coldest_c[:, 0], rate=FAST.rate)
    return CureTrace(
        start=asked.moment(asked.finish_hour),
        air_c=np.median(asked.faces.air_temperature_c[:, through], axis=0),
        nodes_c=np.median(nodes[:, 0], axis=0).T,
        depth_m=depths_m(asked.work.section),
        edge_c=np.median(cured.edge.coldest_c[:, 0], axis=0),
        share=asked.work.model.curve.share(age),
        share_fast=FAST.curve.share(np.median(fast, axis=0)),
    )
