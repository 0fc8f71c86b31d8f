"""What a run works with: the job as read, the store, the weather and the moment of asking.

A run gathers all it needs from here first, decides with pure functions, and writes last.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from hashlib import sha256
from typing import Final

from rules.errors import WeatherUnavailable
from scheduler.interfaces import Store
from scheduler.planning.climate_years import ClimateYears
from scheduler.planning.hours import Forecast
from scheduler.planning.job import Job
from scheduler.planning.log import Entry, Progress
from scheduler.planning.progress import progress_until
from scheduler.planning.records import Decision, Inputs, KeptForecast

WEATHER: Final = "weather"
OBSERVED: Final = "observed"
CLIMATE: Final = "climate"


@dataclass(frozen=True, slots=True)
class RawWeather:
    """Weather bytes as they came, what reads them again, and when they came."""

    raw: bytes
    source: str
    received_at: datetime


@dataclass(frozen=True, slots=True)
class Desk:
    """The edges of one run, chosen in ``startup``."""

    job: Job
    job_text: bytes
    now: datetime  # UTC; the moment asked about
    replay: bool  # a past moment was asked for
    store: Store
    weather: Callable[[], RawWeather | None]  # None: only what the store keeps
    observed: Callable[[], RawWeather | None]
    climate: Callable[[], RawWeather | None]
    parse: Callable[[str, bytes], Forecast]  # source, bytes
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

    def having(self, progress: Progress) -> Gathered:
        """Return the same with another log."""
        return replace(self, progress=progress)


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
    fresh = _fresh(desk)
    observed = _observed(desk)
    earlier = _earlier(desk, fresh)
    before = [forecast for _, forecast in earlier]
    used = [(WEATHER, row.identity) for row, _ in earlier]  # oldest first, the newest decides
    used += [(role, identity(raw)) for role, raw, _ in fresh + observed]
    return Gathered(
        job=desk.job,
        now=desk.now,
        progress=progress_until(entries, desk.now),
        forecast=fresh[0][2] if fresh else before[-1],
        earlier=tuple(before if fresh else before[:-1]),
        observed=observed[0][2] if observed else None,
        inputs=Inputs(
            job_text=desk.job_text,
            log_position=entries[-1].seq if entries else 0,
            forecasts=tuple(used),
            book=desk.book,
            seed=desk.seed,
            versions=desk.versions,
            options={"command": command, **(options or {})},
        ),
        kept=tuple((role, raw, read.provenance.issued_at) for role, raw, read in fresh + observed),
    )


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


def _fresh(desk: Desk) -> list[tuple[str, RawWeather, Forecast]]:
    weather = desk.weather()
    if weather is None:
        return []
    forecast = desk.parse(weather.source, weather.raw)
    issued = forecast.provenance.issued_at
    if desk.replay and issued is not None and issued > desk.now:
        told = f"{weather.source}: issued {issued:%Y-%m-%d %H:%M}Z, after the moment asked about"
        raise WeatherUnavailable(told)
    return [(WEATHER, weather, forecast)]


def _observed(desk: Desk) -> list[tuple[str, RawWeather, Forecast]]:
    weather = desk.observed()
    if weather is None:
        return []
    return [(OBSERVED, weather, desk.parse(weather.source, weather.raw))]


def _earlier(
    desk: Desk, fresh: list[tuple[str, RawWeather, Forecast]]
) -> list[tuple[KeptForecast, Forecast]]:
    kept = desk.store.forecasts_until(desk.job.id, desk.now)
    if fresh:
        own = identity(fresh[0][1])
        kept = tuple(row for row in kept if row.identity != own and _before(row, fresh[0][2]))
    elif not kept:
        raise WeatherUnavailable(
            f"no forecast of {desk.job.name} is kept that was issued by "
            f"{desk.now:%Y-%m-%d %H:%M}Z; give --weather FILE or nws"
        )
    newest = kept[-2:]
    return [(r, desk.parse(r.source, desk.store.forecast_bytes(r.identity))) for r in newest]


def _before(row: KeptForecast, forecast: Forecast) -> bool:
    issued = forecast.provenance.issued_at
    return issued is None or row.issued_at is None or row.issued_at < issued


def identity(weather: RawWeather) -> str:
    """Return the SHA-256 of weather bytes as they came."""
    return sha256(weather.raw).hexdigest()
