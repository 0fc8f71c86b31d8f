"""The one place that chooses edges: which store, which weather, which clock."""

from __future__ import annotations

import importlib.metadata
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache, partial
from hashlib import sha256
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import scheduler.jobfile
from rules.errors import BadInput
from scheduler.interfaces import WeatherSource
from scheduler.planning.climate_years import ClimateYears
from scheduler.planning.hours import Forecast
from scheduler.planning.job import Job, Site
from scheduler.planning.log import Entry
from scheduler.runs.desk import Desk, RawWeather, gather
from scheduler.settings import Settings, settings

NWS = "nws"
KEPT = "kept"
DEMO_AT = "2026-11-09T06:00"
COUNTED = ("numpy", "ortools", "pydantic")  # libraries an answer depends on


@dataclass(frozen=True, slots=True)
class Options:
    """What every command takes."""

    job: Path | None
    weather: str = NWS  # nws, kept, or a file
    observed: Path | None = None
    climate: Path | None = None
    at: str | None = None
    store: str | None = None


def open_desk(options: Options) -> Desk:
    """Read the job and open what its run needs.

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
    now = moment(options.at, job) if options.at else datetime.now(UTC)
    return Desk(
        job=job,
        job_text=job_text,
        now=now,
        replay=options.at is not None,
        store=open_store(options.store or setting.store or str(_beside(options.job))),
        weather=partial(_weather, options, setting, job.site, now),
        observed=partial(_file, options.observed, now),
        climate=partial(_file, options.climate, now),
        parse=partial(_parse, job.site, setting),
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
    if (options.job is None) == (place is None):
        raise BadInput("give a job file or --site LAT,LON, one of the two")
    if place is None:
        desk = open_desk(options)
        found = gather(desk, command="weather")
        return ReadWeather(found.forecast, desk.job.site, desk.job.units, desk.now)
    site, setting, now = site_of(place), settings(), datetime.now(UTC)
    raw = _weather(options, setting, site, now)
    if raw is None:
        raise BadInput("a past moment is kept for jobs only; give the job file")
    return ReadWeather(_parse(site, setting, raw.source, raw.raw), site, "si", now)


def site_of(place: str) -> Site:
    """Return a bare site from ``LAT,LON``, its clock in UTC.

    Raises
    ------
    BadInput
        If it is no latitude and longitude.
    """
    try:
        latitude, longitude = (float(part) for part in place.split(","))
    except ValueError as error:
        raise BadInput(f"--site is {place!r}; want LAT,LON such as 44.31,-75.12") from error
    if not (-90.0 <= latitude <= 90.0 and -180.0 <= longitude <= 180.0):
        raise BadInput(f"--site is {place!r}; latitude is -90 to 90, longitude -180 to 180")
    return Site(place, latitude, longitude, 0.0, "UTC")


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
    """Return the bytes of a file of entries.

    Raises
    ------
    JobFileFault
        If it is not there, not a file, or larger than any list of entries; it is then not read.
    """
    return scheduler.jobfile.load(path)


def local_today() -> date:
    """Return the day of the clock on this machine's wall."""
    return datetime.now().astimezone().date()


def write_text(path: Path, text: str) -> None:
    """Write a file.

    Raises
    ------
    BadInput
        If it cannot be written.
    """
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{path}: {error.strerror or error}") from error


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


def _weather(options: Options, setting: Settings, site: Site, now: datetime) -> RawWeather | None:
    if options.weather == KEPT or (options.weather == NWS and options.at is not None):
        return None  # a past moment is answered from what was kept then
    if options.weather == NWS:
        return RawWeather(_nws(setting).fetch(site), NWS, now)
    return _file(Path(options.weather), now)


def _file(path: Path | None, now: datetime) -> RawWeather | None:
    if path is None:
        return None
    from scheduler.weather.files import bytes_of

    return RawWeather(bytes_of(path), path.name, now)


def _parse(site: Site, setting: Settings, source: str, raw: bytes) -> Forecast:
    from scheduler.weather.files import parse_weather
    from scheduler.weather.place import at_site

    if source == NWS:
        return at_site(_nws(setting).parse(raw), site)
    return at_site(parse_weather(raw, source, site), site)


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


def _nws(setting: Settings) -> WeatherSource:
    from scheduler.weather.nws import NwsGridpoints
    from scheduler.weather.nws_service import Service

    return NwsGridpoints(
        Service(
            url=setting.nws_url,
            contact=setting.contact,
            budget_s=setting.fetch_budget_s,
            cache=_cache(setting),
        )
    )


def _cache(setting: Settings) -> Path:
    if setting.cache:
        return Path(setting.cache)
    import os

    base = os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    return Path(base).expanduser() / "closein"
