"""Finished work: what it has been through, how strong it is, and when its gates open.

Its hours since the finish are modelled on the weather it had and corrected by what was measured in
it; the hours to come on the scenarios. What the past does not tell is not credited.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

import numpy as np

from rules.curing import Cured, FreshWork, Protection, Shared, full, rated, shared_trace
from rules.films import surroundings
from rules.freeze import Fate, Freezing, freezing, middles
from rules.gates import freeze_rule
from rules.heat import settled
from rules.strength import FAST, StrengthModel, cumulative_age_h
from rules.verdict import FloatArray
from scheduler.planning.model.job import Site
from scheduler.planning.strength.fresh_work import face_weather, hour_of, place_of
from scheduler.planning.strength.gates import Opening, at_confidence
from scheduler.planning.strength.measured import CARRIED_H, MEASURED, with_measured
from scheduler.planning.tables.finish import NEVER, IntArray, whole_hours
from scheduler.planning.tables.hours import HourlyTable

FOLLOWED_H: Final = 336  # hours since the finish that are followed with the cement's heat
UNREAD_C: Final = 20.0  # warmest that unread hours are thought; common practice, no source
# Where frost was read they are thought as cold as cold weather begins (ACI 306R-16: 40 °F).
COLD_C: Final = 40.0 / 9.0


@dataclass(frozen=True, slots=True)
class DoneWork:
    """Finished work as it stands, and its gates on the hours of the table to come."""

    share: float  # of the specified strength at the table's first hour, at the confidence
    share_fast: float  # by the fast model
    fate: Fate  # FREEZES where it froze in hours that have passed, before it resisted
    froze_h: int | None  # hours from the finish to its first frost, where it froze
    threatened: bool  # it has not frozen, and would in some scenario under what was asked for
    coldest_c: float  # since the finish, up to the table's first hour; NaN: nothing is known
    safe: IntArray  # () hour from which it resists one freeze
    ready: Mapping[str, IntArray]  # by opening: () hour, not before 0, NEVER
    optimistic: Mapping[str, IntArray]
    each: Mapping[str, IntArray]  # by opening: (scenarios,) hour in each one's own weather
    measured_h: int  # hours since the finish whose temperature was measured
    modelled_h: int
    unknown_h: int  # hours since the finish whose weather nobody knows: nothing is credited


@dataclass(frozen=True, slots=True)
class ElementWeather:
    """Weather to come, weather that was, and what was measured in the element."""

    table: HourlyTable  # (scenarios, hours) to come
    past: HourlyTable | None = None  # (hours,) ending where ``table`` begins
    measured: FloatArray | None = None  # (past hours + hours,) °C, NaN where nobody read it
    read_before: FloatArray | None = None  # (n,) °C, the hours just before those
    ground_c: float | None = None


def done_work(
    work: FreshWork,
    *,
    site: Site,
    finished: datetime,
    weather: ElementWeather,
    protection: Protection,
    openings: Mapping[str, Opening],
    confidence: float,
) -> DoneWork:
    """Return how finished work stands and when its gates open.

    Parameters
    ----------
    work : FreshWork
        What was placed.
    site : Site
        Where it stands.
    finished : datetime
        UTC.
    weather : ElementWeather
        What it had, has and will have.
    protection : Protection
        What has been over it since, and how long.
    openings : Opening, by name
        What waits for it.
    confidence
        Share of scenarios that must be ready.
    """
    whole, now = joined(weather.past, weather.table)
    measured = weather.measured
    at = hour_of(whole, finished)
    begin = min(max(at, 0), whole.hours - 1)
    steps = min(max(FOLLOWED_H, now - begin), whole.hours - begin)
    place = place_of(site, ground_c=weather.ground_c)
    around = surroundings(face_weather(whole), place, protection.covers, work.section)
    hours = np.array([begin])
    before = settled(section=work.section, around=around[-1], hours=hours)
    late = at < 0  # its first hours, and its warmth of placing, are not known
    dark = weather.read_before if late and weather.read_before is not None else np.zeros(0)
    dark = dark[max(dark.size + at, 0) :]  # since the finish
    if late:
        before = _as_read(before, dark)
    cured = full(
        work,
        around=around,
        schedule=protection.schedule(steps),
        finishes=hours,
        before_c=before,
        fresh=not late,
    )
    read = np.full(steps, np.nan) if measured is None else measured[begin : begin + steps]
    shared = shared_trace(work, around)
    judged = _judged(work, cured, read)
    slow, fast = (_aged(cured, read, model, dark) for model in (work.model, FAST))

    def by(model: StrengthModel) -> tuple[Cured, Shared]:
        """Return what was and what is to come, as a model ages it."""
        aged = _aged(cured, read, model, dark)
        return aged, rated(replace(work, model=model), shared)

    slowly = _opened(work.model, openings, by, at)
    quickly = _opened(FAST, openings, by, at)
    _, source = with_measured(np.zeros(steps), [read])
    since = max(min(now - begin, steps), 0)
    froze, coming = _frozen_by(judged, since), judged
    if late:
        lost = np.full(-at - dark.size, np.nan)
        warmth, _ = with_measured(middles(cured.element.coldest_c[:, 0]).max(axis=0), [read])
        froze = _frozen_in_the_dark(
            work,
            read_c=np.concatenate([lost, dark, read[:since]]),
            known_c=np.concatenate([lost, dark, warmth[:since]]),
        )
        gained_h = _most_gained(work, np.concatenate([lost, dark]))
        coming = _judged(work, cured, read, before_h=gained_h)
    threatened = froze is None and bool((coming.fate == Fate.FREEZES).any())
    fate = Fate.NOT_KNOWN if late or threatened else Fate(int(judged.fate.max()))
    fate = fate if froze is None else Fate.FREEZES
    return DoneWork(
        share=_share(work.model, slow, since, confidence),
        share_fast=_share(FAST, fast, since, confidence),
        fate=fate,
        froze_h=froze,
        threatened=threatened,
        coldest_c=_coldest(cured.edge.coldest_c[:, 0, : since + 1], read[:since], dark),
        safe=_hour(np.minimum(judged.safe_step, NEVER - begin) + begin, now, confidence),
        ready={name: _hour(hours, now, confidence) for name, hours in slowly.items()},
        optimistic={name: _hour(hours, now, confidence) for name, hours in quickly.items()},
        each={name: _from_now(hours, now) for name, hours in slowly.items()},
        measured_h=int((source[:since] == MEASURED).sum()) + int(np.isfinite(dark).sum()),
        modelled_h=int((source[:since] != MEASURED).sum()),
        unknown_h=max(-at, 0) - int(np.isfinite(dark).sum()),
    )


def joined(past: HourlyTable | None, table: HourlyTable) -> tuple[HourlyTable, int]:
    """Return both tables as one, ``(scenarios, hours)``, and the hours of the first.

    A column that one of them lacks is a gap there. Hours between the two are gaps.
    """
    air = np.atleast_2d(table.column("air_temperature_c"))
    before = 0 if past is None else int((table.start[0] - past.start[0]).astype(np.int64))
    if past is None or before <= 0:
        return HourlyTable(table.start, {**table.columns, "air_temperature_c": air}), 0
    start = past.start[0] + np.arange(before + table.hours) * np.timedelta64(1, "h")
    columns = {}
    for name in {*past.columns, *table.columns}:
        here = np.atleast_2d(table.column(name))
        values = np.full((here.shape[0], start.size), np.nan)
        known = min(past.hours, before)
        values[:, :known] = past.column(name)[..., :known]
        values[:, before:] = here
        columns[name] = values
    columns["air_temperature_c"] = np.broadcast_to(
        columns["air_temperature_c"], (air.shape[0], start.size)
    )
    return HourlyTable(start, columns), before


def _aged(cured: Cured, read: FloatArray, model: StrengthModel, dark: FloatArray) -> Cured:
    """Return the work as a model ages it, measured hours before modelled ones.

    Of hours whose weather nobody knows those count that were read.
    """
    values, _ = with_measured(middles(cured.element.coldest_c[:, 0]), [read])
    age_h = cumulative_age_h(rate=model.rate(temperature_c=values))
    before_h = float(np.nansum(model.rate(temperature_c=dark)))
    return replace(cured, age_h=age_h[:, None, :] + before_h)


def _as_read(before_c: FloatArray, dark: FloatArray) -> FloatArray:
    """Return how warm old work begins: as last read, if that was within a day; else as its air."""
    read = np.flatnonzero(np.isfinite(dark))
    if not read.size or dark.size - read[-1] > CARRIED_H:
        return before_c
    return np.full_like(before_c, dark[read[-1]])


def _frozen_in_the_dark(work: FreshWork, *, read_c: FloatArray, known_c: FloatArray) -> int | None:
    """Return at which hour readings tell of a frost, where nobody knows the first hours.

    That is where one is below the freezing point at an age at which the work cannot be trusted to
    have resisted: hours that nobody knows count as ``COLD_C``. They never prove that it came
    through: what nobody read may have been colder.
    """
    rule = freeze_rule()
    told = np.where(np.isnan(known_c), COLD_C, known_c)
    oldest_h = cumulative_age_h(rate=work.model.rate(temperature_c=told))[:-1]
    frozen = np.flatnonzero(
        (read_c < rule.freezing_point_c) & (oldest_h < work.resists_age_h(rule))
    )
    return int(frozen[0]) if frozen.size else None


def _most_gained(work: FreshWork, dark: FloatArray) -> float:
    """Return the most age that hours without weather can have given.

    They count as warm as a reading leaves them, else ``UNREAD_C``. What would freeze even so is to
    be covered; older work is not asked after for want of a record.
    """
    warmest, _ = with_measured(np.full(dark.size, UNREAD_C), [dark])
    return float(work.model.rate(temperature_c=warmest).sum())


def _frozen_by(judged: Freezing, since: int) -> int | None:
    """Return the first step by now at which it froze in any scenario before it resisted."""
    froze = (judged.fate == Fate.FREEZES) & (judged.frozen_step <= since)
    return int(judged.frozen_step[froze].min()) if froze.any() else None


def _judged(work: FreshWork, cured: Cured, read: FloatArray, *, before_h: float = 0.0) -> Freezing:
    """Judge early freezing by the edge, or by what was read where that was colder.

    ``before_h`` is the age that the work has at the beginning.
    """
    edge, _ = with_measured(middles(cured.edge.coldest_c[:, 0]), [])
    values = np.fmin(edge, read)
    values = np.where(np.isnan(edge) & np.isnan(read), np.nan, values)
    age_h = cumulative_age_h(rate=work.model.rate(temperature_c=values))
    rule = freeze_rule()
    return freezing(
        coldest_c=values,
        age_h=age_h[:, :-1] + before_h,
        resists_age_h=work.resists_age_h(rule),
        freezing_point_c=rule.freezing_point_c,
    )


def _share(model: StrengthModel, aged: Cured, since: int, confidence: float) -> float:
    """Return the share reached by now in enough scenarios; zero where the past is not known."""
    age = np.sort(np.nan_to_num(aged.age_h[:, 0, since], nan=0.0))
    row = age.size - int(np.ceil(confidence * age.size - 1e-9))
    return float(model.curve.share(age[row : row + 1])[0])


def _coldest(edge_c: FloatArray, *read: FloatArray) -> float:
    known = np.concatenate([edge_c.ravel(), *read])
    known = known[np.isfinite(known)]
    return float(known.min()) if known.size else float("nan")


def _opened(
    model: StrengthModel,
    openings: Mapping[str, Opening],
    by: Callable[[StrengthModel], tuple[Cured, Shared]],
    finish: int,
) -> dict[str, IntArray]:
    """Return the hour at which each opens in every scenario: (scenarios,)."""
    out = {}
    for name, one in openings.items():
        found = [np.asarray([finish + whole_hours(one.wait_h)], dtype=np.int32)]
        for asked, need in one.asks(model):
            aged, shared = by(asked)
            strong = shared.carried_on(aged, need)[:, 0]
            found.append(np.where(strong > shared.hours, np.int32(NEVER), strong))
        out[name] = np.maximum.reduce(np.broadcast_arrays(*found)).astype(np.int32)
    return out


def _hour(hours: IntArray, now: int, confidence: float) -> IntArray:
    """Return the hour on the table to come by which enough scenarios are there, as ()."""
    return _from_now(at_confidence(np.asarray(hours, dtype=np.int32), confidence), now)


def _from_now(hours: IntArray, now: int) -> IntArray:
    """Return hours as the table to come counts them, NEVER kept."""
    return np.where(hours >= NEVER, NEVER, np.maximum(hours - now, 0)).astype(np.int32)
