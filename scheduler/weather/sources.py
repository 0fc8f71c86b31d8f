"""The weather sources of a job: which edge each name stands for, and asking them in order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from rules.errors import CloseinError, WeatherUnavailable
from scheduler.interfaces.protocols import WeatherSource
from scheduler.planning.forecast.ensemble_line import planned_line
from scheduler.planning.model.job import ObservedChoice, Site, SourceChoice
from scheduler.planning.tables.hours import Forecast
from scheduler.weather.files import bytes_of, parse_weather
from scheduler.weather.place import at_site

if TYPE_CHECKING:
    from scheduler.weather.nws_service import Service

NWS: Final = "nws"
SLOWER: Final = 5.0  # a gridded model is some hundred small answers where a service gives five


@dataclass(frozen=True, slots=True)
class Network:
    """How public services are asked."""

    nws_url: str
    contact: str
    budget_s: float  # for one source
    cache: Path | None
    now: Callable[[], datetime]


@dataclass(frozen=True, slots=True)
class Fetched:
    """What the sources answered, in order, and why some did not."""

    answers: tuple[tuple[SourceChoice, bytes], ...]
    absent: tuple[str, ...] = ()


def source_of(choice: SourceChoice, network: Network) -> WeatherSource:
    """Return the edge that a name stands for.

    Raises
    ------
    BadInput
        If there is no source of that name.
    """
    if choice.name == NWS:
        from scheduler.weather.nws import NwsGridpoints

        return NwsGridpoints(_service(network), now=network.now)
    from scheduler.weather.grids.cells import Method
    from scheduler.weather.grids.public_models import PublicModel, model_named

    return PublicModel(
        model_named(choice.name),
        contact=network.contact,
        budget_s=network.budget_s * SLOWER,
        method=Method(choice.cells),
        lapse_rate_c_per_km=choice.lapse_rate_c_per_km,
        now=network.now,
    )


def fetch_stations(choice: ObservedChoice, site: Site, network: Network) -> bytes:
    """Return the last days of the stations nearest to the site, as they are kept.

    Raises
    ------
    WeatherUnavailable
        If none could be asked.
    """
    from scheduler.weather.nws_stations import NwsStations

    stations = NwsStations(
        _service(network), count=choice.stations, within_km=choice.within_km, now=network.now
    )
    return stations.fetch(site)


def fetch_all(
    choices: Sequence[SourceChoice],
    site: Site,
    network: Network,
    *,
    now: datetime,
    folder: Path = Path(),
) -> Fetched:
    """Ask each source; a fallback only where none before it gave a fresh forecast.

    Parameters
    ----------
    choices
        In the order they are trusted.
    site
        Where the job stands.
    network
        How services are asked.
    now
        The moment asked about, by which a forecast is fresh or not.
    folder
        Where the files of sources lie.

    Raises
    ------
    WeatherUnavailable
        If no source answers; says why for each.
    BadInput
        If the only source is a file and that cannot be used.
    """
    answers: list[tuple[SourceChoice, bytes]] = []
    problems: list[CloseinError] = []
    fresh = False
    for choice in choices:
        if choice.fallback and fresh:
            continue
        try:
            raw = _raw(choice, site, network, folder)
            forecast = forecast_from(choice, raw, site)
        except CloseinError as error:
            problems.append(error)
            continue
        answers.append((choice, raw))
        fresh = fresh or _fresh(forecast, now)
    if not answers and len(problems) == 1:
        raise problems[0]
    told = tuple(line for problem in problems for line in problem.lines())
    if not answers:
        raise WeatherUnavailable("; ".join(told))
    return Fetched(tuple(answers), told)


def forecast_from(choice: SourceChoice, raw: bytes, site: Site) -> Forecast:
    """Return the forecast of an answer or file as it came, with its place against the site.

    Raises
    ------
    CloseinError
        If the bytes hold no forecast of the site.
    """
    if choice.name == NWS:
        from scheduler.weather.nws import NwsGridpoints

        forecast = NwsGridpoints().parse(raw)
    else:
        forecast = parse_weather(raw, choice.name, site, choice)
    if choice.age_limit_h is not None:
        of = replace(forecast.provenance, age_limit_h=choice.age_limit_h)
        forecast = replace(forecast, provenance=of)
    return at_site(planned_line(forecast), site)


def _service(network: Network) -> Service:
    from scheduler.weather.nws_service import Service

    return Service(
        url=network.nws_url,
        contact=network.contact,
        budget_s=network.budget_s,
        cache=network.cache,
    )


def _raw(choice: SourceChoice, site: Site, network: Network, folder: Path) -> bytes:
    if choice.file:
        return bytes_of(folder / choice.file)
    return source_of(choice, network).fetch(site)


def _fresh(forecast: Forecast, now: datetime) -> bool:
    age = forecast.provenance.age_h(now)
    return age is not None and age <= forecast.provenance.age_limit_h
