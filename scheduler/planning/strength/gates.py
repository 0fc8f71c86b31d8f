"""Strength gates as ready tables: the first hour a successor may begin, for every finish hour.

A gate opens at the later of the computed strength and the waiting time of the book or of the
engineer. Tables follow ``tables/finish.py``: whole hours from hour zero, ``NEVER``
where the trace does not show the gate opening, finishes 0 to ``hours`` on the last axis.

Near finishes are followed by the full wall model, the rest is bounded by the coarse one
(``rules/curing.py``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.curing import (
    MARCHED_H,
    Coarse,
    Cured,
    FreshWork,
    Protection,
    Shared,
    aged_by,
    bounded,
    full,
    judged_by,
    rated,
)
from rules.errors import OutOfRange
from rules.films import FaceWeather, Place, surroundings
from rules.freeze import Fate
from rules.gates import gates
from rules.heat import settled
from rules.strength import (
    FAST,
    SLOW,
    Rate,
    Reached,
    StrengthModel,
    degrees_above,
    hours_to_age,
    hours_to_share,
)
from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.model.job import Criterion, StrengthGate
from scheduler.planning.tables.finish import NEVER, IntArray, earliest, whole_hours
from scheduler.planning.tables.own_gates import in_each

MEMBERS: Final = 31  # traces of the full path; a forecast ensemble has as many
NEAR_H: Final = 240  # every finish this near is followed, after that the last one of each day
BETWEEN_H: Final = 24  # finishes between two followed ones this close fare as the worse of them


@dataclass(frozen=True, slots=True)
class Opening:
    """What one gate asks: share of the specified strength, and a wait from the finish.

    ``own`` is an engineer's criterion as gain and bound. It counts beside the share; where a named
    person allows it in place of the book, the share is 0.
    """

    purpose: str
    share: float
    wait_h: float
    own: StrengthModel | None = None

    def asks(self, model: StrengthModel) -> list[tuple[StrengthModel, float]]:
        """Return what must be gained and by which model, the mix's own first."""
        need = model.curve.age_h(self.share) if self.share > 0.0 else 0.0
        return [
            (model, need),
            *([] if self.own is None else [(self.own, self.own.curve.age_h(1))]),
        ]


@dataclass(frozen=True, slots=True)
class GateTables:
    """What fresh work of one task opens, for every finish hour, at the job's confidence."""

    ready: Mapping[str, IntArray]  # by purpose: (hours + 1,)
    optimistic: Mapping[str, IntArray]  # the same by the fast model, to be shown beside it
    each: Mapping[str, IntArray]  # by purpose: (scenarios, hours + 1) in its own weather
    survives: FloatArray  # (hours + 1,) share of scenarios in which work finished then survives
    freezes: FloatArray  # (hours + 1,) share in which it freezes; the rest is not known
    freezes_fast: FloatArray  # (hours + 1,) the same by the fast model where followed, else NaN
    freeze_safe: IntArray  # (hours + 1,) hour from which it resists one freeze
    followed: NDArray[np.bool_]  # (hours + 1,) by the full path
    coldest_c: FloatArray  # (hours + 1,) until it resists, undercut in no more than allowed
    coldest_step: IntArray  # (hours + 1,) hours after the finish; 0 where not followed
    assumed: tuple[str, ...] = ()  # columns the model had to do without

    def may_finish(self, confidence: float) -> NDArray[np.bool_]:
        """Return the finishes whose work survives in at least that share: (hours + 1,)."""
        return self.survives >= confidence - 1e-9

    def surely_freezes(self, confidence: float) -> NDArray[np.bool_]:
        """Return the followed finishes whose work freezes by the fast model too: (hours + 1,)."""
        return self.would_freeze(confidence) & (self.freezes_fast > 1.0 - confidence + 1e-9)

    def would_freeze(self, confidence: float) -> NDArray[np.bool_]:
        """Return the finishes whose work freezes in more scenarios than allowed: (hours + 1,).

        Where the weather ends before the work resists, what is known decides.
        """
        return self.freezes > 1.0 - confidence + 1e-9


def opening(purpose: str, gate: StrengthGate | None, *, specified_mpa: float) -> Opening:
    """Return what a gate asks: the job's own figures where it names them, else the book's.

    The longer of the book's wait and the job's holds: a wait is never shortened by a job file
    that leaves it out.
    """
    row = gates().get(purpose)
    if gate is None:
        if row is None:
            raise OutOfRange(f"gate {purpose!r} is not in the book; it has {', '.join(gates())}")
        return Opening(purpose, row.needed_share(specified_mpa), row.wait_h)
    book_wait = row.wait_h if row is not None else 0.0
    wait = max(gate.wait_h, book_wait)
    share = gate.share
    if share is None:
        share = 0.0 if row is None else row.needed_share(specified_mpa)
    if gate.criterion is None:
        return Opening(purpose, share, wait)
    own = criterion_model(gate.criterion)
    return Opening(purpose, 0.0 if gate.allowed_by else share, wait, own)


def gate_tables(
    work: FreshWork,
    *,
    weather: FaceWeather,
    place: Place,
    protection: Protection,
    openings: Mapping[str, Opening],
    finishes: NDArray[np.intp],
    confidence: float,
    members: int = MEMBERS,
) -> GateTables:
    """Return the ready tables of everything that waits for one task.

    Parameters
    ----------
    work : FreshWork
        What the task places.
    weather : FaceWeather
        ``(scenarios, hours)``.
    place : Place
        Site and ground.
    protection : Protection
        Covers and how long they stay.
    openings : Opening, by purpose
        What waits for it.
    finishes : (n,)
        Hours at which the work may be finished and somebody asks; they are followed by the full
        path, in the first ``members`` scenarios. Work finished earlier is ready no later.
    confidence
        Share of scenarios that must be ready.
    members
        How many scenarios the full path follows.

    Returns
    -------
    GateTables
        Rising with the finish.
    """
    around = surroundings(weather, place, protection.covers, work.section)
    coarse = bounded(work, around=around, protection=protection, place=place)
    hours = coarse.shared.hours
    near = np.unique(finishes[(finishes >= 0) & (finishes < hours)])
    followed = [felt.first(members) for felt in around]
    cured = full(
        work,
        around=followed,
        schedule=protection.schedule(MARCHED_H),
        finishes=near,
        before_c=settled(section=work.section, around=followed[-1], hours=near),
    )
    shared = coarse.shared.first(members)
    fate, safe = shared.fate_of(cured)
    survives, dies = (
        _between(near, (fate == which).mean(axis=0), (coarse.fate == which).mean(axis=0), better)
        for which, better in ((Fate.SURVIVES, np.maximum), (Fate.FREEZES, np.minimum))
    )
    ready, early, each = {}, {}, {}
    for name, one in openings.items():
        bound = _bound(coarse, one)
        ready[name] = _opened(bound, hours, one, confidence)
        early[name] = ready[name].copy()
        slow, fast = (_strong(by, one, cured, shared) for by in (work.model, FAST))
        ready[name][near] = _at(near, slow, hours, one, confidence)
        early[name][near] = _at(near, fast, hours, one, confidence)
        slowness = _slowness(coarse.shared, one, near)
        strong = in_each(bound, followed=slow, slowness=slowness, finishes=near)
        each[name] = _waited(np.arange(hours + 1), strong, hours, one)
    worst = _undercut(cured.freezing.coldest_c, confidence)
    coldest, step = np.full(hours + 1, np.nan), np.zeros(hours + 1, dtype=np.int32)
    if near.size:
        at = np.arange(near.size)
        coldest[near] = cured.freezing.coldest_c[worst, at]
        step[near] = cured.freezing.coldest_step[worst, at]
    quick = np.full(hours + 1, np.nan)
    again, trace = judged_by(FAST, cured, shared)
    quick[near] = (trace.fate_of(again)[0] == Fate.FREEZES).mean(axis=0)
    reached = np.full(hours + 1, NEVER, dtype=np.int32)
    reached[near] = at_confidence(_never(safe, hours), confidence)
    return GateTables(
        ready={name: earliest(table) for name, table in ready.items()},
        optimistic={name: earliest(table) for name, table in early.items()},
        each={name: earliest(table) for name, table in each.items()},
        survives=survives,
        freezes=dies,
        freezes_fast=quick,
        freeze_safe=reached,
        followed=np.isin(np.arange(hours + 1), near),
        coldest_c=coldest,
        coldest_step=step,
        assumed=tuple(dict.fromkeys(name for felt in around for name in felt.assumed)),
    )


def asked_finishes(finish: IntArray, hours_a_day: int = 24) -> NDArray[np.intp]:
    """Return the finishes worth following, from a finish table: all soon, later one a day.

    Parameters
    ----------
    finish : (hours,)
        Finish of every start, ``NEVER`` where the work may not start.
    hours_a_day
        Length of a day. [h]

    Returns
    -------
    (n,)
        Rising.
    """
    reached = np.unique(finish[finish < NEVER]).astype(np.intp)
    day = reached // hours_a_day
    last = np.append(day[1:] != day[:-1], True) if reached.size else np.zeros(0, dtype=np.bool_)
    return reached[(reached <= NEAR_H) | last]


def _between(
    near: NDArray[np.intp], shares: FloatArray, bound: FloatArray, better: np.ufunc
) -> FloatArray:
    """Return a share at every finish from the followed ones and the bound, the better of both.

    Between two followed finishes stands the worse of them.
    """
    if near.size == 0:
        return bound
    worse = np.minimum if better is np.maximum else np.maximum
    hours = np.arange(bound.size)
    after = np.minimum(np.searchsorted(near, hours), near.size - 1)
    before = np.maximum(np.searchsorted(near, hours, side="right") - 1, 0)
    inside = (near[after] >= hours) & (near[before] <= hours)
    inside &= near[after] - near[before] <= BETWEEN_H
    found = np.where(inside, better(worse(shares[after], shares[before]), bound), bound)
    found[near] = shares
    return found


def _strong(model: StrengthModel, one: Opening, cured: Cured, shared: Shared) -> IntArray:
    """Return the hour at which followed finishes have all that a gate asks."""
    asked = one.asks(model)
    found: IntArray = np.maximum.reduce([_carried(by, h, cured, shared) for by, h in asked])
    return found


def _carried(model: StrengthModel, need_h: float, cured: Cured, shared: Shared) -> IntArray:
    """Return the hour at which followed finishes have gained what a model asks."""
    if model is shared.work.model:
        return shared.carried_on(cured, need_h)
    aged, trace = aged_by(model, cured, shared)
    return trace.carried_on(aged, need_h)


def _undercut(coldest_c: FloatArray, confidence: float) -> NDArray[np.intp]:
    """Return the scenario whose coldest moment is undercut in no more than the share allowed."""
    order = np.argsort(np.where(np.isnan(coldest_c), np.inf, coldest_c), axis=0, kind="stable")
    count = coldest_c.shape[0]
    row: NDArray[np.intp] = order[count - int(np.ceil(confidence * count - 1e-9))]
    return row


def _need_h(model: StrengthModel, one: Opening) -> float:
    return model.curve.age_h(one.share) if one.share > 0.0 else 0.0


def _opened(strong: IntArray, hours: int, one: Opening, confidence: float) -> IntArray:
    """Return the ready hour of every finish from the strong hours of all scenarios."""
    return _at(np.arange(hours + 1), strong, hours, one, confidence)


def _at(
    finishes: NDArray[np.intp], strong: IntArray, hours: int, one: Opening, confidence: float
) -> IntArray:
    return _waited(finishes, at_confidence(_never(strong, hours), confidence), hours, one)


def _waited(finishes: NDArray[np.intp], strong: IntArray, hours: int, one: Opening) -> IntArray:
    waited = (finishes + whole_hours(one.wait_h)).astype(np.int32)
    return np.maximum(_never(strong, hours), waited)


def _bound(coarse: Coarse, one: Opening) -> IntArray:
    """Return the hour by which work is strong at the latest: (scenarios, hours + 1).

    A criterion of an engineer's own is followed only: nothing bounds it.
    """
    if one.own is None:
        return coarse.hours_to_age(_need_h(coarse.shared.work.model, one))
    hours = coarse.shared.hours
    return np.full((coarse.shared.rate.shape[0], hours + 1), hours + 1, dtype=np.int32)


def _slowness(shared: Shared, one: Opening, finishes: NDArray[np.intp]) -> IntArray:
    """Return when work without heat of its own would be strong: (scenarios, finishes)."""
    found = [np.zeros((shared.rate.shape[0], finishes.size), dtype=np.int32)]
    for model, need in one.asks(shared.work.model) if finishes.size else ():
        own = model is shared.work.model
        trace = shared if own else rated(replace(shared.work, model=model), shared)
        begin = finishes.astype(np.int32)
        found.append(hours_to_age(rate=trace.rate, need_h=need, begin=begin))
    slowest: IntArray = np.maximum.reduce(found)
    return slowest


def _never(table: IntArray, hours: int) -> IntArray:
    """Return a table in which hours + 1 stands for never with the planner's code for it."""
    return np.where(table > hours, np.int32(NEVER), table)


def ready_table(
    *, temperature_c: FloatArray, share: float, wait_h: float, model: StrengthModel = SLOW
) -> IntArray:
    """Return the first hour at which the share is there and the wait is over, on one trace.

    Parameters
    ----------
    temperature_c : (..., hours)
        Temperature of the element in each hour; the air's is the first guess. [°C]
    share
        Share of the specified 28-day strength, 0 to 1.
    wait_h
        Least waiting time from the finish, by the book or the engineer. [h]
    model
        How the mix gains strength.

    Returns
    -------
    (..., hours + 1)
        Ready hour, rising with the finish; ``NEVER`` where the trace ends before. Work finished
        before a gap is taken as no stronger than work finished after it: strength only grows,
        and frozen work is not delayed but removed elsewhere.

    Raises
    ------
    OutOfRange
        If the share leaves 0 to 1 or the wait is negative.
    """
    if wait_h < 0.0:
        raise OutOfRange(f"waiting time is {wait_h} h; want 0 or more")
    hours = temperature_c.shape[-1]
    strong = hours_to_share(temperature_c=temperature_c, share=share, model=model)
    waited = np.arange(hours + 1, dtype=np.int32) + np.int32(whole_hours(wait_h))
    return earliest(np.where(strong > hours, np.int32(NEVER), np.maximum(strong, waited)))


def ready_on_trace(one: Opening, *, temperature_c: FloatArray) -> IntArray:
    """Return the first hour at which a gate opens, on one trace of temperature.

    Parameters
    ----------
    one : Opening
        What the gate asks.
    temperature_c : (..., hours)
        Temperature of the element in each hour; the air's is the first guess. [°C]

    Returns
    -------
    (..., hours + 1)
        As ``ready_table``.
    """
    table = ready_table(temperature_c=temperature_c, share=one.share, wait_h=one.wait_h)
    if one.own is None:
        return table
    hours = temperature_c.shape[-1]
    gained = one.own.rate(temperature_c=temperature_c)
    met = hours_to_age(rate=gained, need_h=one.own.curve.age_h(1.0))
    return np.maximum(table, earliest(np.where(met > hours, np.int32(NEVER), met)))


def criterion_model(criterion: Criterion) -> StrengthModel:
    """Return an engineer's criterion as a gain in each hour and the bound on their sum.

    Raises
    ------
    OutOfRange
        If the calendar can never tell that it is met, as a break strength.
    """
    if criterion.quantity == "temperature_time_factor" and criterion.at_least is not None:
        fahrenheit = criterion.unit == "degF_h"
        datum = criterion.datum or 0.0
        gain: Rate = partial(
            degrees_above, datum_c=convert(datum, "degF", "degC") if fahrenheit else datum
        )
        need = convert(criterion.at_least, criterion.unit, "degC_h")
    elif criterion.quantity.endswith("_temperature") and criterion.for_h is not None:
        gain, need = partial(_hours_within, criterion), criterion.for_h
    else:
        raise OutOfRange(
            f"{criterion.quantity} is met by a test, not by temperature and time; a gate takes "
            "temperature_time_factor at_least, or a temperature at_least or above, for_h"
        )
    return StrengthModel("the engineer's criterion", gain, Reached(need), "the engineer of record")


def _hours_within(criterion: Criterion, *, temperature_c: FloatArray) -> FloatArray:
    """Return 1 for hours that count, 0 for those that do not, NaN where not known."""
    counts = np.where(np.isnan(temperature_c), np.nan, 1.0)
    for bound, below, edge in (
        (criterion.at_least, True, False),
        (criterion.above, True, True),
        (criterion.at_most, False, False),
        (criterion.below, False, True),
    ):
        if bound is None:
            continue
        level = convert(bound, criterion.unit, "degC")
        off = temperature_c < level - 1e-9 if below else temperature_c > level + 1e-9
        counts = np.where(off | (edge & (np.abs(temperature_c - level) <= 1e-9)), 0.0, counts)
    return counts


def at_confidence(table: IntArray, confidence: float) -> IntArray:
    """Return the hour by which at least that share of the scenarios is ready.

    Parameters
    ----------
    table : (scenarios, ...)
        Hours, ``NEVER`` where a scenario is never ready.
    confidence
        Share of scenarios that must be ready, above 0 up to 1.

    Returns
    -------
    (...)
        The upper order statistic: an hour of the table, never one between two.

    Raises
    ------
    OutOfRange
        If the confidence leaves 0 to 1, or there are no scenarios.
    """
    scenarios = table.shape[0]
    if not 0.0 < confidence <= 1.0 or scenarios == 0:
        raise OutOfRange(
            f"confidence {confidence} over {scenarios} scenarios; want 0 to 1, and any"
        )
    rank = int(np.ceil(confidence * scenarios - 1e-9)) - 1
    hour: IntArray = np.partition(table, rank, axis=0)[rank]
    return hour
