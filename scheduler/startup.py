"""The one place that chooses edges: which store, which weather, which clock."""

from __future__ import annotations

import importlib.metadata
import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import cache, partial
from hashlib import sha256
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import scheduler.jobfile
from rules.errors import BadInput, WeatherUnavailable
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.model.job import SOURCES, Job, Site, SourceChoice
from scheduler.planning.model.log import Entry
from scheduler.planning.tables.hours import Forecast
from scheduler.runs.desk import STATIONS, Desk, Incoming, RawWeather, gather
from scheduler.settings import Settings, settings

if TYPE_CHECKING:
    from scheduler.interfaces.protocols import Store
    from scheduler.planning.strength.measured import ProbeTrace
    from scheduler.weather.sources import Network

NWS = "nws"
KEPT = "kept"
OF_JOB = "job"
DEMO_AT = "2026-11-09T06:00"
COUNTED = ("numpy", "ortools", "pydantic")  # libraries an answer depends on


@dataclass(frozen=True, slots=True)
class Options:
    """What every command takes."""

    job: Path | None
    weather: str = OF_JOB  # the job's sources, kept, nws, a public model, or a file
    observed: Path | None = None
    climate: Path | None = None
    at: str | None = None
    store: str | None = None


def open_desk(
    options: Options, *, store: Store | None = None, clock: datetime | None = None
) -> Desk:
    """Read the job and open what its run needs.

    Parameters
    ----------
    options : Options
    store : Store, optional
        One that is open already; else the one that option or setting names.
    clock : datetime, optional
        The moment it is, UTC; else this machine's.

    Raises
    ------
    CloseinError
        If the job file, a setting, the moment or the store cannot be used.
    """
    from scheduler.store import open_store

    setting = settings()
    if options.job is None:
        raise BadInput("give the job file")
    job_text = scheduler.jobfile.load(options.job)
    job = scheduler.jobfile.parse(job_text, file=str(options.job))
    now = moment(options.at, job) if options.at else clock or datetime.now(UTC)
    address = options.store or setting.store or str(_beside(options.job))
    return Desk(
        job=job,
        job_text=job_text,
        now=now,
        replay=options.at is not None,
        store=store or open_store(address),
        weather=partial(_weather, options, setting, job, now),
        observed=partial(_observed, options, setting, job, now),
        climate=partial(_file, options.climate, now),
        parse=partial(_parse, job, setting),
        parse_observed=partial(_parse_observed, job.site),
        take=partial(_take, job, now),
        parse_climate=partial(_parse_climate, job.site),
        seed=setting.seed,
        scenarios=setting.scenarios,
        book=book_hash(),
        versions={name: importlib.metadata.version(name) for name in COUNTED},
    )


@dataclass(frozen=True, slots=True)
class ReadWeather:
    """A forecast as read, and whose it is."""

    forecast: Forecast
    site: Site
    units: str
    now: datetime


def read_weather(options: Options, place: str | None) -> ReadWeather:
    """Read the weather of a job's site, or of a place ``LAT,LON``.

    Raises
    ------
    BadInput
        If neither or both are given, or the place is no place.
    WeatherUnavailable
        If no forecast can be had.
    """
    from scheduler.weather.sources import fetch_all, forecast_from

    if (options.job is None) == (place is None):
        raise BadInput("give a job file or --site LAT,LON, one of the two")
    if place is None:
        desk = open_desk(options)
        found = gather(desk, command="weather")
        return ReadWeather(found.forecast, desk.job.site, desk.job.units, desk.now)
    site, setting, now = site_of(place), settings(), datetime.now(UTC)
    if options.at is not None or options.weather == KEPT:
        raise BadInput("a past moment is kept for jobs only; give the job file")
    (choice,) = _choices(options.weather, (), setting)
    fetched = fetch_all([choice], site, _network(setting), now=now)
    return ReadWeather(forecast_from(choice, fetched.answers[0][1], site), site, "si", now)


def site_of(place: str) -> Site:
    """Return a bare site from ``LAT,LON`` or ``LAT,LON,METRES``, its clock in UTC.

    Without a height above the sea it is NaN: then nothing is told of it or corrected by it.

    Raises
    ------
    BadInput
        If it is no latitude and longitude.
    """
    try:
        latitude, longitude, *more = (float(part) for part in place.split(","))
        (height,) = more or [math.nan]
    except ValueError as error:
        want = "want LAT,LON or LAT,LON,METRES such as 44.31,-75.12,120"
        raise BadInput(f"--site is {place!r}; {want}") from error
    if not (-90.0 <= latitude <= 90.0 and -180.0 <= longitude <= 180.0):
        raise BadInput(f"--site is {place!r}; latitude is -90 to 90, longitude -180 to 180")
    if more and not -450.0 <= height <= 8850.0:
        raise BadInput(f"--site is {place!r}; its height is -450 to 8850 m")
    return Site(place, latitude, longitude, height, "UTC")


def weather_csv(forecast: Forecast) -> str:
    """Return the hours as CSV, time in UTC, house columns."""
    from scheduler.weather.hourly_csv import to_csv

    return to_csv(forecast)


def moment(text: str, job: Job) -> datetime:
    """Read a moment; without an offset it is the site's local time.

    Raises
    ------
    BadInput
        If the text is no ISO 8601 moment.
    """
    try:
        read = datetime.fromisoformat(text)
    except ValueError as error:
        raise BadInput(
            f"--at is {text!r}; want a moment such as 2026-11-09T06:00 or 2026-11-09T11:00Z"
        ) from error
    if read.tzinfo is None:
        read = read.replace(tzinfo=ZoneInfo(job.site.time_zone))
    return read.astimezone(UTC)


def text_of(path: Path) -> bytes:
    """Return the bytes of a file that a person wrote: job, entries, list of tasks.

    Raises
    ------
    JobFileFault
        If it is not there, not a file, or larger than any such file; it is then not read.
    """
    return scheduler.jobfile.load(path)


def local_today() -> date:
    """Return the day of the clock on this machine's wall."""
    return datetime.now().astimezone().date()


def logger_trace(path: Path, job: Job, clock: str) -> ProbeTrace:
    """Read a logger's export.

    Raises
    ------
    BadInput
        If no logger's clock runs so.
    Faults
        If the file cannot be read.
    """
    from scheduler.weather.logger_clock import Clock
    from scheduler.weather.logger_file import read_logger

    if clock not in set(Clock):
        raise BadInput(f"--logger-clock is {clock!r}; want one of {', '.join(Clock)}")
    raw = scheduler.jobfile.load(path)
    return read_logger(raw, str(path), time_zone=job.site.time_zone, clock=Clock(clock))


@contextmanager
def demo_desk() -> Iterator[Desk]:
    """Open the made scenario on a store that is thrown away."""
    files = demo_files()
    with TemporaryDirectory() as folder:
        yield open_desk(
            Options(
                job=files / "job.yaml",
                weather=str(files / "forecast.json"),
                climate=files / "climate.csv",
                at=DEMO_AT,
                store=str(Path(folder) / "demo.db"),
            )
        )


def demo_files() -> Path:
    """Return the folder of the made scenario, in the installed package or in the checkout.

    Raises
    ------
    BadInput
        If it is in neither.
    """
    package = Path(__file__).parent
    for folder in (package / "demo_files", package.parent / "fixtures" / "demo"):
        if (folder / "job.yaml").is_file():
            return folder
    raise BadInput("the demo's files are not installed; run it from a checkout")


@cache
def book_hash() -> str:
    """Return the SHA-256 over every file of the rule book, in name order."""
    digest = sha256()
    folder = Path(str(resources.files("rules").joinpath("book")))
    for path in sorted(folder.rglob("*.toml")):
        digest.update(path.relative_to(folder).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _beside(job: Path) -> Path:
    return job.resolve().parent / "closein.db"


def _weather(options: Options, setting: Settings, job: Job, now: datetime) -> Incoming | None:
    from scheduler.weather.sources import fetch_all

    choices = _choices(options.weather, job.sources, setting)
    if not choices or (options.at is not None and not all(choice.file for choice in choices)):
        return None  # a past moment is answered from what was kept then
    folder = Path() if options.weather != OF_JOB or options.job is None else options.job.parent
    fetched = fetch_all(choices, job.site, _network(setting), now=now, folder=folder)
    answers = tuple(RawWeather(raw, choice.name, now) for choice, raw in fetched.answers)
    return Incoming(answers, fetched.absent)


def _observed(options: Options, setting: Settings, job: Job, now: datetime) -> Incoming:
    """Return what the site's own instruments and the nearest stations measured.

    Stations are asked where the national service is asked for a forecast; without them the
    answer stands, and says so.
    """
    from scheduler.weather.sources import fetch_stations

    beside = Path() if options.job is None else options.job.parent
    own = options.observed or (beside / job.observed.file if job.observed.file else None)
    answers = [found] if (found := _file(own, now)) else []
    choices = _choices(options.weather, job.sources, setting)
    asked = options.at is None and any(choice.name == NWS for choice in choices)
    if not asked or not job.observed.stations:
        return Incoming(tuple(answers))
    try:
        raw = fetch_stations(job.observed, job.site, _network(setting))
    except WeatherUnavailable as error:
        return Incoming(tuple(answers), (f"without stations near by: {error}",))
    return Incoming((*answers, RawWeather(raw, STATIONS, now)))


def _choices(
    weather: str, sources: Sequence[SourceChoice], setting: Settings
) -> tuple[SourceChoice, ...]:
    """Return the sources that ``--weather`` names, as the job sets them; none for ``kept``."""
    if weather == KEPT:
        return ()
    if weather == OF_JOB:
        return tuple(sources) or (SourceChoice(NWS),)
    if weather in SOURCES:
        return (_choice(weather, sources, setting),)
    return (replace(_choice(Path(weather).name, (), setting), file=weather),)


def _choice(name: str, sources: Sequence[SourceChoice], setting: Settings) -> SourceChoice:
    """Return how the job, or else the settings, want a source of this name read."""
    named = [choice for choice in sources if choice.name == name]
    bare = SourceChoice(
        name, cells=setting.grid_cells, lapse_rate_c_per_km=setting.grid_lapse_rate
    )
    return named[0] if named else bare


def _file(path: Path | None, now: datetime) -> RawWeather | None:
    if path is None:
        return None
    from scheduler.weather.files import bytes_of

    return RawWeather(bytes_of(path), path.name, now)


def _parse(job: Job, setting: Settings, source: str, raw: bytes) -> Forecast:
    from scheduler.weather.sources import forecast_from

    return forecast_from(_choice(source, job.sources, setting), raw, job.site)


def _parse_observed(site: Site, source: str, raw: bytes) -> Forecast:
    from scheduler.weather.observed import parse_observed
    from scheduler.weather.place import at_site

    return at_site(parse_observed(raw, source, site), site)


def _take(
    job: Job,
    now: datetime,
    given: bytes | Sequence[Mapping[str, object]],
    log: Sequence[Entry],
) -> tuple[Entry, ...]:
    from scheduler.jobfile.entries import entries_of

    return entries_of(given, job=job, log=log, now=now)


def _parse_climate(
    site: Site, source: str, raw: bytes, start: datetime, hours: int
) -> ClimateYears:
    from scheduler.weather.climate import parse_climate

    return parse_climate(raw, source, site=site, start=start, hours=hours)


def _network(setting: Settings) -> Network:
    from scheduler.weather.sources import Network

    return Network(
        nws_url=setting.nws_url,
        contact=setting.contact,
        budget_s=setting.fetch_budget_s,
        cache=_cache(setting),
        now=lambda: datetime.now(UTC),
    )


def _cache(setting: Settings) -> Path:
    if setting.cache:
        return Path(setting.cache)
    import os

    base = os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    return Path(base).expanduser() / "closein"
