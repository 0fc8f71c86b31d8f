"""Fresh work by the hour: how it ages and whether it freezes, on the full and on the coarse path.

Freezing is judged at an end, corner or top of the element, where it is open on one more side;
strength at the coldest node of the element itself.

The full path follows the asked finishes with the cement's heat and then hands over to the coarse
one. The coarse path answers for every finish hour of every scenario from two bounds and takes the
better one:

* the *floor*: the same work under surroundings that stand at the coldest level of its first hours,
  marched once for each level. Work whose surroundings are never colder than that is never behind
  it. After those hours the shared trace carries on;
* the *shared trace* itself, without heat of cement or placing: work that stays under one cover and
  was placed no colder than the trace is never colder than it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.elements import Section, fresh_start
from rules.films import Cover, Place, Surroundings, standing
from rules.freeze import Fate, FateArray, Freezing, ages_h, fate_on_one_trace, freezing, middles
from rules.gates import FreezeRule, freeze_rule
from rules.heat import Traces, coarse, march
from rules.hydration import TYPE_I_II, Hydration
from rules.strength import ROUNDING_H, SLOW, IntArray, StrengthModel, hours_to_age
from rules.verdict import FloatArray

LEVELS_C: Final = np.arange(-40.0, 31.0)  # of the floor; between two of them the colder counts
MARCHED_H: Final = 72  # hours after placing that are followed with the cement's heat


@dataclass(frozen=True, slots=True)
class FreshWork:
    """What is placed: the section, the mix, and how it gains strength."""

    section: Section
    placed_c: float
    specified_mpa: float
    hydration: Hydration = TYPE_I_II
    model: StrengthModel = SLOW

    def resists_age_h(self, rule: FreezeRule) -> float:
        """Return the equivalent age at which the work resists one freeze."""
        return self.model.curve.age_h(min(1.0, rule.one_freeze_mpa / self.specified_mpa))


@dataclass(frozen=True, slots=True)
class Protection:
    """Covers in the order in which they are on, and for how many hours; the last one stays."""

    name: str
    covers: tuple[Cover, ...]
    hours: tuple[int, ...] = ()  # of each cover but the last

    def schedule(self, steps: int) -> NDArray[np.intp]:
        """Return which cover is on in each hour after placing."""
        ends = np.cumsum(self.hours)
        return np.searchsorted(ends, np.arange(steps), side="right").astype(np.intp)


@dataclass(frozen=True, slots=True)
class Cured:
    """Asked finishes, each by hours since placing."""

    finishes: NDArray[np.intp]  # (finishes,)
    element: Traces  # (..., finishes, steps + 1)
    edge: Traces
    age_h: FloatArray  # (..., finishes, steps + 1) of the element, by its coldest node
    edge_age_h: FloatArray
    freezing: Freezing  # (..., finishes) at the edge, within the steps


def full(
    work: FreshWork,
    *,
    around: Sequence[Surroundings],
    schedule: NDArray[np.intp],
    finishes: NDArray[np.intp],
    before_c: FloatArray,
    keep_nodes: bool = False,
    fresh: bool = True,
) -> Cured:
    """Follow the work from each asked finish.

    Parameters
    ----------
    work : FreshWork
        What is placed.
    around : Surroundings, one for each cover
        Each (..., hours).
    schedule : (steps,)
        Which cover is on in each hour after placing.
    finishes : (finishes,)
        Hours at whose beginning the work is in place.
    before_c : (..., finishes, nodes) or what broadcasts to it
        What was there before: units, soil. [°C]
    keep_nodes
        Keep every node's temperature.
    fresh
        False: it was placed long before, and begins as warm as what was there.

    Returns
    -------
    Cured
        Temperatures, ages and fates of the element and its edge.
    """
    rule = freeze_rule()
    element, edge = (
        march(
            section=section,
            around=around,
            schedule=schedule,
            starts=finishes,
            begin_c=fresh_start(section, placed_c=work.placed_c, around_c=before_c)
            if fresh
            else before_c,
            hydration=work.hydration,
            keep_nodes=keep_nodes,
        )
        for section in (work.section, work.section.at_edge())
    )
    edge_age_h = ages_h(coldest_c=edge.coldest_c, rate=work.model.rate)
    judged = freezing(
        coldest_c=edge.coldest_c,
        age_h=edge_age_h,
        resists_age_h=work.resists_age_h(rule),
        freezing_point_c=rule.freezing_point_c,
    )
    age_h = ages_h(coldest_c=element.coldest_c, rate=work.model.rate)
    return Cured(finishes, element, edge, age_h, edge_age_h, judged)


@dataclass(frozen=True, slots=True)
class Shared:
    """One trace for all finishes of a scenario, without heat of cement or placing."""

    work: FreshWork
    element_c: FloatArray  # (..., hours + 1)
    edge_c: FloatArray
    before_c: FloatArray  # coldest that units and soil are, bare, at each moment
    rate: FloatArray  # (..., hours) equivalent hours gained by the element
    edge_rate: FloatArray

    @property
    def hours(self) -> int:
        """Return the number of hours."""
        return int(self.rate.shape[-1])

    def first(self, count: int) -> Shared:
        """Return the first so many scenarios."""
        parts = (self.element_c, self.edge_c, self.before_c, self.rate, self.edge_rate)
        return Shared(self.work, *(part[:count] for part in parts))

    def fate(
        self, need_h: float | FloatArray, begin: IntArray | None = None
    ) -> tuple[FateArray, IntArray]:
        """Return fates and safe moments of work that has an age still to gain at its edge."""
        return fate_on_one_trace(
            trace_c=self.edge_c,
            rate=self.edge_rate,
            need_h=need_h,
            freezing_point_c=freeze_rule().freezing_point_c,
            begin=begin,
        )

    def carried_on(self, cured: Cured, need_h: float) -> IntArray:
        """Return the hour at which asked finishes have an age: (..., finishes), hours + 1: never.

        Within the steps that were marched by their own ages, then by this trace.
        """
        steps = cured.age_h.shape[-1] - 1
        known = np.where(np.isnan(cured.age_h), -np.inf, cured.age_h)
        within = (known < need_h - ROUNDING_H).sum(axis=-1)
        left = np.maximum(need_h - cured.age_h[..., -1], 0.0)
        begin = np.minimum(cured.finishes + steps, self.hours).astype(np.int32)
        after = hours_to_age(
            rate=self.rate, need_h=np.where(np.isnan(left), np.inf, left), begin=begin
        )
        found = np.where(within <= steps, cured.finishes + within, after)
        return np.minimum(found, self.hours + 1).astype(np.int32)

    def fate_of(self, cured: Cured) -> tuple[FateArray, IntArray]:
        """Return fates and freeze-safe hours of asked finishes, this trace carrying on."""
        steps, own = cured.edge_age_h.shape[-1] - 1, cured.freezing
        left = self.work.resists_age_h(freeze_rule()) - cured.edge_age_h[..., -1]
        begin = np.minimum(cured.finishes + steps, self.hours).astype(np.int32)
        later, safe = self.fate(np.where(np.isnan(left), np.inf, np.maximum(left, 0.0)), begin)
        # A march that ends with the trace is not carried on: its last hour was judged already.
        open_ = (own.fate == Fate.NOT_KNOWN) & (cured.finishes + steps < self.hours)
        hour = np.where(own.fate == Fate.SURVIVES, cured.finishes + own.safe_step, self.hours + 1)
        fate = np.where(open_, later, own.fate).astype(np.int8)
        hour = np.where(open_ & (later == Fate.SURVIVES), safe, hour)
        return fate, np.minimum(hour, self.hours + 1).astype(np.int32)


def shared_trace(work: FreshWork, around: Sequence[Surroundings]) -> Shared:
    """Return the trace that all finishes of a scenario share.

    Parameters
    ----------
    work : FreshWork
        What is placed.
    around : Surroundings, one for each cover of the protection
        Each (..., hours), without sun. The colder of them counts in each hour: under a cover the
        element is the last to warm as it is the last to cool.
    """
    element, edge = (
        [coarse(section=section, around=felt) for felt in around]
        for section in (work.section, work.section.at_edge())
    )
    return _rated(
        work,
        np.minimum.reduce([trace.fresh_c for trace in element]),
        np.minimum.reduce([trace.fresh_c for trace in edge]),
        before_c=element[-1].coldest_c,
    )


def aged_by(model: StrengthModel, cured: Cured, shared: Shared) -> tuple[Cured, Shared]:
    """Return the same temperatures as another model ages them; fates stay as they were judged."""
    other = replace(
        cured,
        age_h=ages_h(coldest_c=cured.element.coldest_c, rate=model.rate),
        edge_age_h=ages_h(coldest_c=cured.edge.coldest_c, rate=model.rate),
    )
    return other, rated(replace(shared.work, model=model), shared)


def judged_by(model: StrengthModel, cured: Cured, shared: Shared) -> tuple[Cured, Shared]:
    """Return the same temperatures aged, and early freezing judged, by another model."""
    aged, trace = aged_by(model, cured, shared)
    rule = freeze_rule()
    again = freezing(
        coldest_c=cured.edge.coldest_c,
        age_h=aged.edge_age_h,
        resists_age_h=trace.work.resists_age_h(rule),
        freezing_point_c=rule.freezing_point_c,
    )
    return replace(aged, freezing=again), trace


def rated(work: FreshWork, shared: Shared) -> Shared:
    """Return the same shared trace as another work's model ages it."""
    return _rated(work, shared.element_c, shared.edge_c, before_c=shared.before_c)


def _rated(
    work: FreshWork, element_c: FloatArray, edge_c: FloatArray, *, before_c: FloatArray
) -> Shared:
    element, edge = (
        work.model.rate(temperature_c=middles(trace)) for trace in (element_c, edge_c)
    )
    return Shared(work, element_c, edge_c, before_c, element, edge)


@dataclass(frozen=True, slots=True)
class Coarse:
    """Every finish hour of every scenario, by bounds that are never too early."""

    shared: Shared
    one_cover: bool  # the shared trace holds from placing on
    level: NDArray[np.intp]  # (..., hours + 1) row of the floor; its last row stands for none
    floor_age_h: FloatArray  # (levels + 1, steps + 1)
    fate: FateArray  # (..., hours + 1)

    def hours_to_age(self, need_h: float) -> IntArray:
        """Return the first hour at which work finished at each moment has an equivalent age.

        As ``rules.strength.hours_to_age``: (..., hours + 1), ``hours + 1`` where not shown.
        """
        hours, steps = self.shared.hours, self.floor_age_h.shape[-1] - 1
        moments = np.arange(hours + 1, dtype=np.int32)
        within = (self.floor_age_h < need_h - ROUNDING_H).sum(axis=-1).astype(np.int32)
        left = np.where(within > steps, need_h - self.floor_age_h[:, -1], 0.0)
        begin = np.minimum(moments + np.int32(steps), np.int32(hours))
        carried = hours_to_age(rate=self.shared.rate, need_h=left[self.level], begin=begin)
        reached = within[self.level]
        early = np.where(reached <= steps, moments + reached, carried)
        if self.one_cover:
            early = np.minimum(early, hours_to_age(rate=self.shared.rate, need_h=need_h))
        return np.minimum(early, np.int32(hours + 1)).astype(np.int32, copy=False)


def bounded(
    work: FreshWork,
    *,
    around: Sequence[Surroundings],
    protection: Protection,
    place: Place,
    steps: int = MARCHED_H,
) -> Coarse:
    """Return bounds for work finished at any moment of many traces.

    Parameters
    ----------
    work : FreshWork
        What is placed.
    around : Surroundings, one for each cover of the protection
        Each (..., hours), without sun.
    protection : Protection
        Covers and their hours.
    place : Place
        Site and ground.
    steps
        Hours after placing that the floor covers. [h]

    Returns
    -------
    Coarse
        Fates and, on asking, the hours at which an age is reached. A finish whose protected hours
        lie partly beyond the traces has only the shared trace.
    """
    shared = shared_trace(work, around)
    floor = _floor(work, tuple(felt.strongest for felt in around), protection, place, steps)
    pairs = zip(protection.covers, around, strict=True)
    outside = [felt for cover, felt in pairs if cover.air_c is None]
    level = _levels((outside or around)[0], shared.before_c, work, steps)
    own = np.append(floor.freezing.fate[:, 0], Fate.FREEZES)[level]
    open_ = own == Fate.NOT_KNOWN
    if open_.any():
        need = work.resists_age_h(freeze_rule()) - np.append(floor.edge_age_h[:, 0, -1], 0.0)
        begin = np.minimum(np.arange(shared.hours + 1) + steps, shared.hours).astype(np.int32)
        later, _ = shared.fate(np.maximum(need, 0.0)[level], begin)
        own = np.where(open_, later, own)
    if len(around) == 1:
        own = np.minimum(own, shared.fate(work.resists_age_h(freeze_rule()))[0])
    return Coarse(
        shared=shared,
        one_cover=len(around) == 1,
        level=level,
        floor_age_h=np.concatenate([floor.age_h[:, 0], np.zeros((1, steps + 1))]),
        fate=own.astype(np.int8),
    )


@lru_cache(maxsize=32)
def _floor(
    work: FreshWork, kinds: tuple[int, ...], protection: Protection, place: Place, steps: int
) -> Cured:
    """March the work through surroundings that stand at each level.

    No hour of weather is in it, so that one march serves every plan and morning of a process;
    its arrays are read, never written.
    """
    still = [
        standing(
            level_c=LEVELS_C,
            cover=cover,
            place=place,
            section=work.section,
            kind=kind,
            hours=steps,
        )
        for cover, kind in zip(protection.covers, kinds, strict=True)
    ]
    return full(
        work,
        around=still,
        schedule=protection.schedule(steps),
        finishes=np.array([0]),
        before_c=LEVELS_C[:, None, None],
    )


def _levels(
    outside: Surroundings, before_c: FloatArray, work: FreshWork, steps: int
) -> NDArray[np.intp]:
    """Return the floor's row: the coldest that the faces feel in the steps after each moment.

    Or that units and soil are at that moment, from the days before.
    """
    on_ground = work.section.far_resistance_m2k_w is not None
    first, second = outside.face_c[..., 0], outside.face_c[..., 1]
    felt = first if on_ground else np.minimum(first, second)
    felt = np.concatenate([felt, felt[..., -1:]], axis=-1)
    coldest = np.minimum(_least_ahead(felt, steps), np.minimum(before_c, work.placed_c))
    none = LEVELS_C.size
    row = np.where(coldest >= LEVELS_C[0], coldest - LEVELS_C[0], none)  # NaN: none
    return np.minimum(row, none).astype(np.intp)


def _least_ahead(values: FloatArray, steps: int) -> FloatArray:
    """Return the least of each moment and the ``steps`` after it, NaN where they are not there."""
    least, width = values, 1
    while 2 * width <= steps + 1:
        least = np.minimum(least[..., :-width], least[..., width:])
        width *= 2
    rest = steps + 1 - width
    if rest:
        least = np.minimum(least[..., :-rest], least[..., rest:])
    out = np.full(values.shape, np.nan)
    out[..., : least.shape[-1]] = least
    return out
