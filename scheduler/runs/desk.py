"""What a run works with: the job as read, the store, the weather and the moment of asking.

A run gathers all it needs from here first, decides with pure functions, and writes last.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from hashlib import sha256
from typing import Final

from rules.errors import WeatherUnavailable
from scheduler.interfaces.protocols import Store
from scheduler.interfaces.records import Decision, Inputs, KeptForecast
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.past_hours import filled, until
from scheduler.planning.forecast.several_sources import combined
from scheduler.planning.forecast.site_correction import QUANTITY, TO_LOWER, at_site
from scheduler.planning.model.job import Job
from scheduler.planning.model.log import Entry, Progress
from scheduler.planning.model.progress import progress_until
from scheduler.planning.plan.plan_before import starts_told
from scheduler.planning.tables.hours import Finding, Forecast
from scheduler.runs.told_work import asked_in, frozen_in

WEATHER: Final = "weather"
OBSERVED: Final = "observed"
CLIMATE: Final = "climate"
STATIONS: Final = "nws-stations"  # their hours stand behind the site's own
LEARNED_FROM: Final = 60  # kept forecasts that the site's readings are held against
AGAIN: Final = "again"  # kind of what the service told between two messages
CALLS: Final = ("today", "tonight", "brief", AGAIN)  # kinds of kept answers that ask for covers
CALLS_LOOKED_AT: Final = 40  # of a kind: two weeks of them, twice a day and more
PLANS: Final = ("plan", "brief", "log", AGAIN)  # kinds of kept answers that hold a plan
EARLIER: Final = 2  # forecasts before the newest that an answer compares with


@dataclass(frozen=True, slots=True)
class RawWeather:
    """Weather bytes as they came, what reads them again, and when they came."""

    raw: bytes
    source: str
    received_at: datetime


@dataclass(frozen=True, slots=True)
class Incoming:
    """What the job's sources answered, the most trusted first, and why some did not."""

    answers: tuple[RawWeather, ...]
    absent: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Desk:
    """The edges of one run, chosen in ``startup``."""

    job: Job
    job_text: bytes
    now: datetime  # UTC; the moment asked about
    replay: bool  # a past moment was asked for
    store: Store
    weather: Callable[[], Incoming | None]  # None: only what the store keeps
    observed: Callable[[], Incoming]  # of what is measured, the most trusted first
    climate: Callable[[], RawWeather | None]
    parse: Callable[[str, bytes], Forecast]  # source, bytes
    parse_observed: Callable[[str, bytes], Forecast]  # source, bytes
    take: Callable[[bytes | Sequence[Mapping[str, object]], Sequence[Entry]], tuple[Entry, ...]]
    parse_climate: Callable[[str, bytes, datetime, int], ClimateYears]  # from, hours
    seed: int
    scenarios: int
    book: str  # SHA-256 of the rule book
    versions: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Gathered:
    """Everything read before anything is decided."""

    job: Job
    now: datetime
    progress: Progress
    forecast: Forecast
    earlier: tuple[Forecast, ...]  # forecasts issued before it, oldest first
    observed: Forecast | None
    inputs: Inputs
    kept: tuple[tuple[str, RawWeather, datetime | None], ...] = ()  # role, bytes, issued: to keep
    before: Mapping[str, datetime] = field(default_factory=dict)  # starts told last, by task

    def having(self, progress: Progress) -> Gathered:
        """Return the same with another log."""
        return replace(self, progress=progress)

    def after(self, told: Mapping[str, datetime]) -> Gathered:
        """Return the same with other starts, by task, as those that were told last."""
        return replace(self, before=told)


def gather(desk: Desk, *, command: str, options: Mapping[str, str] | None = None) -> Gathered:
    """Read the log and the weather as of the desk's moment.

    Raises
    ------
    WeatherUnavailable
        If there is no forecast issued by that moment.
    Faults
        If a file cannot be read.
    """
    entries = desk.store.entries(desk.job.id, until=desk.now if desk.replay else None)
    incoming = _incoming(desk)
    fresh = _read(desk, incoming.answers)
    measured = desk.observed()
    observed = _observed(desk, measured.answers)
    earlier = _earlier(desk, fresh)
    sets = [*earlier, fresh] if fresh else earlier
    used = [(WEATHER, one.identity) for told in sets for one in told]  # the newest set decides
    used += [(OBSERVED, one.identity) for one in observed]
    before = [_one(told, now=max(t.raw.received_at for t in told)) for told in sets[:-1]]
    progress = as_told(desk, progress_until(entries, desk.now))
    last = plan_told(desk)
    told_last = {} if last is None else {"after_answer": str(last.seq)}
    forecast = _noted(_one(sets[-1], now=desk.now), (*incoming.absent, *measured.absent))
    return Gathered(
        job=desk.job,
        now=desk.now,
        progress=progress,
        forecast=_as_read(desk, forecast, progress),
        earlier=tuple(before),
        observed=_past(desk, observed),
        inputs=Inputs(
            job_text=desk.job_text,
            log_position=entries[-1].seq if entries else 0,
            forecasts=tuple(used),
            book=desk.book,
            seed=desk.seed,
            versions=desk.versions,
            options={"command": command, **told_last, **(options or {})},
        ),
        before={} if last is None else starts_told(last.answer),
        kept=tuple(
            (role, one.raw, one.forecast.provenance.issued_at)
            for role, told in ((WEATHER, fresh), (OBSERVED, observed))
            for one in told
        ),
    )


def as_told(desk: Desk, progress: Progress) -> Progress:
    """Return a log with what the kept answers asked for and said, as of the desk's moment."""
    told = [
        decision
        for kind in CALLS
        for decision in desk.store.decisions(
            desk.job.id, kind=kind, until=desk.now, last=CALLS_LOOKED_AT
        )
    ]
    read = [(json.loads(one.answer), one.at) for one in sorted(told, key=lambda one: one.seq)]
    return replace(
        progress,
        asked=tuple(cover for document, at in read for cover in asked_in(document, at=at)),
        frozen=tuple(froze for document, at in read for froze in frozen_in(document, at=at)),
    )


def plan_told(desk: Desk, *, before: int | None = None) -> Decision | None:
    """Return the newest answer that holds a plan, as of the desk's moment; None without any.

    With ``before`` the newest that was made from a log that had not yet that entry.
    """
    last = 1 if before is None else None
    kept = [
        decision
        for kind in PLANS
        for decision in desk.store.decisions(desk.job.id, kind=kind, until=desk.now, last=last)
        if before is None or decision.inputs.log_position < before
    ]
    return max(kept, key=lambda one: one.seq, default=None)


def keep(desk: Desk, gathered: Gathered) -> None:
    """Keep the weather that was read as it came, past years too."""
    for role, weather, issued_at in gathered.kept:
        desk.store.keep_forecast(
            desk.job.id,
            weather.raw,
            role=role,
            source=weather.source,
            issued_at=issued_at,
            received_at=weather.received_at,
        )


def keep_answer(desk: Desk, gathered: Gathered, kind: str, text: str) -> Decision:
    """Keep an answer as it was given, with what it was made from."""
    return desk.store.keep_decision(
        desk.job.id, kind, text.encode(), gathered.inputs, at=desk.now, entered_at=desk.now
    )


@dataclass(frozen=True, slots=True)
class _Told:
    """One source's bytes and what they say."""

    raw: RawWeather
    forecast: Forecast

    @property
    def identity(self) -> str:
        return identity(self.raw)


def _incoming(desk: Desk) -> Incoming:
    return desk.weather() or Incoming(())


def _read(desk: Desk, answers: Sequence[RawWeather]) -> list[_Told]:
    """Read what came; of a replayed moment, what was issued after it does not exist."""
    told = [_Told(raw, desk.parse(raw.source, raw.raw)) for raw in answers]
    if not desk.replay:
        return told
    known = [t for t in told if (t.forecast.provenance.issued_at or desk.now) <= desk.now]
    if told and not known:
        issued = told[0].forecast.provenance.issued_at
        said = f"issued {issued:%Y-%m-%d %H:%M}Z, after the moment asked about"
        raise WeatherUnavailable(f"{told[0].raw.source}: {said}")
    return known


def _observed(desk: Desk, answers: Sequence[RawWeather]) -> list[_Told]:
    """Return what was measured: what came now, then what other sources had told before."""
    told = [_Told(raw, desk.parse_observed(raw.source, raw.raw)) for raw in answers]
    given = {one.raw.source for one in told}
    last = {
        row.source: row for row in desk.store.forecasts_until(desk.job.id, desk.now, role=OBSERVED)
    }
    for source, row in last.items():
        if source not in given:
            raw = desk.store.forecast_bytes(row.identity)
            kept = RawWeather(raw, source, row.received_at)
            told.append(_Told(kept, desk.parse_observed(source, raw)))
    return sorted(told, key=lambda one: one.raw.source == STATIONS)


def _as_read(desk: Desk, forecast: Forecast, progress: Progress) -> Forecast:
    """Return the forecast as the site's own thermometer has it, where it was read often enough."""
    own = [one for one in progress.readings if one.quantity == QUANTITY]
    if len(own) < TO_LOWER:
        return forecast
    kept = desk.store.forecasts_until(desk.job.id, desk.now)[-LEARNED_FROM:]
    earlier = [_told_again(desk, row).forecast for row in kept]
    return at_site(forecast, own, earlier, longitude_deg=desk.job.site.longitude_deg)


def _past(desk: Desk, observed: Sequence[_Told]) -> Forecast | None:
    return filled([until(o.forecast, desk.now) for o in observed]) if observed else None


def past_hours(desk: Desk) -> Forecast | None:
    """Return what was measured at the site and near by until now; None where nothing was.

    Raises
    ------
    Faults
        If a file cannot be read.
    """
    return _past(desk, _observed(desk, desk.observed().answers))


def told_before(desk: Desk, moment: datetime) -> Forecast | None:
    """Return what the job's sources said last by a moment, side by side; None where nothing."""
    kept = desk.store.forecasts_until(desk.job.id, moment)
    sets = kept_sets(kept, [choice.name for choice in desk.job.sources])
    return _one([_told_again(desk, row) for row in sets[0]], now=moment) if sets else None


def _earlier(desk: Desk, fresh: Sequence[_Told]) -> list[list[_Told]]:
    """Return what the job's sources had told before, oldest first."""
    kept = desk.store.forecasts_until(desk.job.id, desk.now)
    if len(fresh) == 1:
        own, issued = fresh[0].identity, fresh[0].forecast.provenance.issued_at
        kept = tuple(r for r in kept if r.identity != own and _before(r, issued))
    elif not fresh and not kept:
        raise WeatherUnavailable(
            f"no forecast of {desk.job.name} is kept that was issued by "
            f"{desk.now:%Y-%m-%d %H:%M}Z; give --weather FILE or nws"
        )
    sets = kept_sets(kept, [choice.name for choice in desk.job.sources])
    now = {told.identity for told in fresh}
    sets = [one for one in sets if {row.identity for row in one} != now]
    newest = sets[: EARLIER if fresh else EARLIER + 1]
    return [[_told_again(desk, row) for row in one] for one in reversed(newest)]


def kept_sets(
    kept: Sequence[KeptForecast], names: Sequence[str]
) -> list[tuple[KeptForecast, ...]]:
    """Return what stood side by side at one time, newest first: one forecast of each source.

    Parameters
    ----------
    kept
        Forecasts by time of issue, oldest first.
    names
        The job's sources, the most trusted first. A forecast of another source, such as a file
        that was given by hand, stands alone.
    """
    left: list[KeptForecast] = list(kept)
    sets: list[tuple[KeptForecast, ...]] = []
    while left and len(sets) <= EARLIER + 1:
        newest = left[-1]
        if newest.source not in names:
            sets.append((newest,))
            left.pop()
            continue
        last = {row.source: row for row in left}
        sets.append(tuple(last[name] for name in names if name in last))
        came = max(row.received_at for row in sets[-1])
        left = [row for row in left if row.received_at < came]
    return sets


def _told_again(desk: Desk, row: KeptForecast) -> _Told:
    raw = desk.store.forecast_bytes(row.identity)
    return _Told(RawWeather(raw, row.source, row.received_at), desk.parse(row.source, raw))


def _one(told: Sequence[_Told], *, now: datetime) -> Forecast:
    """Return one forecast of what stood side by side, each source judged by its age."""
    return combined([one.forecast for one in told], now=now)


def _noted(forecast: Forecast, absent: Sequence[str]) -> Forecast:
    findings = (*(Finding("", why) for why in absent), *forecast.provenance.findings)
    return replace(forecast, provenance=replace(forecast.provenance, findings=findings))


def _before(row: KeptForecast, issued: datetime | None) -> bool:
    return issued is None or row.issued_at is None or row.issued_at < issued


def identity(weather: RawWeather) -> str:
    """Return the SHA-256 of weather bytes as they came."""
    return sha256(weather.raw).hexdigest()
