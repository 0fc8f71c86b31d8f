"""Public gridded models as weather sources: the newest whole run, field by field, at the site.

What is fetched is reduced to the site at once: a national field has a megabyte, its value at
the site eight bytes. The text that is kept holds each value with the sections that describe it.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from importlib import resources
from typing import Final

from rules.errors import BadInput, CloseinError, WeatherUnavailable
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Forecast
from scheduler.weather.grids.cells import Method
from scheduler.weather.grids.cut import Cutter
from scheduler.weather.grids.decode import Decoder
from scheduler.weather.grids.forecast import Reading, forecast_of
from scheduler.weather.grids.inventory import read_inventory, wanted
from scheduler.weather.grids.kept_cut import cut_from_text, cut_to_text
from scheduler.weather.grids.ranges import NoSuchFile, RangeFetcher

RUNS_TRIED: Final = 4
AT_ONCE: Final = 4  # requests at one time; polite to a public store
NOT_FETCHED: Final = frozenset(  # no rule asks for them where the hours themselves are there
    {"surface_air_pressure_pa", "air_temperature_max_c", "air_temperature_min_c"}
)
HORIZON_H: Final = 168  # past a week the climate speaks


@dataclass(frozen=True, slots=True)
class Model:
    """A row of ``presets.toml``."""

    name: str
    title: str
    url: str
    inventory: str
    runs: tuple[int, ...]
    leads: tuple[tuple[int, int, int], ...]
    delay_h: float
    age_limit_h: float
    long_runs: tuple[int, ...] = ()
    long_leads: tuple[tuple[int, int, int], ...] = ()
    members: tuple[str, ...] = ("",)
    replaces_ending: str = ""

    def address(self, run: datetime, lead: int, member: str) -> str:
        """Return the address of one file."""
        return self.url.format(run=run, lead=lead, member=member)

    def inventory_of(self, address: str) -> str:
        """Return the address of a file's inventory."""
        return address.removesuffix(self.replaces_ending) + self.inventory

    def leads_of(self, run: datetime, horizon_h: float) -> list[int]:
        """Return the leads of a run up to the horizon, rising."""
        parts = self.long_leads if run.hour in self.long_runs else self.leads
        leads = [lead for first, last, step in parts for lead in range(first, last + 1, step)]
        return [lead for lead in leads if lead <= horizon_h]

    def newest_runs(self, now: datetime) -> list[datetime]:
        """Return the runs that should be whole by now, newest first."""
        hour = (now - timedelta(hours=self.delay_h)).replace(minute=0, second=0, microsecond=0)
        hours = (hour - timedelta(hours=back) for back in range(24 * RUNS_TRIED))
        return [run for run in hours if run.hour in self.runs][:RUNS_TRIED]


@cache
def models() -> dict[str, Model]:
    """Return the public models by name."""
    text = resources.files(__package__).joinpath("presets.toml").read_text(encoding="utf-8")
    return {name: _model(name, row) for name, row in tomllib.loads(text).items()}


def _model(name: str, row: dict[str, object]) -> Model:
    shaped = {key: _frozen(value) for key, value in row.items()}
    return Model(name=name, **shaped)  # type: ignore[arg-type]


def _frozen(value: object) -> object:
    return tuple(_frozen(one) for one in value) if isinstance(value, list) else value


def model_named(name: str) -> Model:
    """Return a public model; raises BadInput that lists them where there is none of that name."""
    if name not in models():
        raise BadInput(f"model {name!r} is not known; use one of {', '.join(models())}")
    return models()[name]


class PublicModel:
    """Fetches and reads one public model at a site."""

    def __init__(
        self,
        model: Model,
        *,
        contact: str = "",
        budget_s: float = 300.0,
        horizon_h: float = HORIZON_H,
        method: Method = Method.NEAREST,
        lapse_rate_c_per_km: float | None = None,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        fetcher: RangeFetcher | None = None,
    ) -> None:
        """Take which model, whom to name as contact, and how long all of it may take."""
        self.model = model
        self._horizon_h, self._now = horizon_h, now
        self._reading = Reading(method, lapse_rate_c_per_km, model.name, model.age_limit_h)
        agent = f"closein ({contact or 'no contact set'})"
        self._fetcher = fetcher or RangeFetcher(agent=agent, budget_s=budget_s)

    @property
    def name(self) -> str:
        """Return the model's name."""
        return self.model.name

    def fetch(self, site: Site) -> bytes:
        """Return the site's values of the newest whole run, as text of ``closein-grid/1``.

        Raises
        ------
        WeatherUnavailable
            If no run could be had, or the grid does not cover the site.
        """
        self._fetcher.start()
        run = self._run()
        digest = hashlib.sha256()
        with Decoder() as decoder:
            cutter = Cutter(site, method=self._reading.method, decoder=decoder)
            for content, where in self._files(run):
                if isinstance(content, CloseinError):
                    cutter.failed(content)
                    continue
                digest.update(content)
                try:
                    cutter.add(content, where)
                except CloseinError as error:
                    cutter.failed(error)
            cut = cutter.cut(digest.hexdigest())
        return cut_to_text(cut, cutter.heads, site, model=self.model.name, fetched_at=self._now())

    def parse(self, raw: bytes) -> Forecast:
        """Return the forecast of a kept answer.

        Raises
        ------
        Faults
            If the bytes are no kept answer.
        """
        cut, site, model, fetched_at = cut_from_text(raw)
        forecast = forecast_of(cut, site, replace(self._reading, source=model))
        provenance = replace(forecast.provenance, fetched_at=fetched_at)
        return replace(forecast, provenance=provenance)

    def _run(self) -> datetime:
        """Return the newest run whose first and last files within the horizon are there."""
        tried = []
        for run in self.model.newest_runs(self._now()):
            leads = self.model.leads_of(run, self._horizon_h)
            try:
                for lead in {leads[0], leads[-1]}:
                    address = self.model.address(run, lead, self.model.members[-1])
                    self._fetcher.text(self.model.inventory_of(address))
            except NoSuchFile:
                tried.append(f"{run:%Y-%m-%dT%HZ}")
            else:
                return run
        raise WeatherUnavailable(f"{self.model.name}: no whole run among {', '.join(tried)}")

    def _files(self, run: datetime) -> Iterator[tuple[bytes | CloseinError, str]]:
        """Yield each file's wanted messages, or why they could not be had, and its name."""
        leads = self.model.leads_of(run, self._horizon_h)
        wants = [(lead, member) for lead in leads for member in self.model.members]
        with ThreadPoolExecutor(AT_ONCE) as pool:
            tasks = [
                pool.submit(self._messages, run, lead, member, leads[0]) for lead, member in wants
            ]
            for task, (lead, member) in zip(tasks, wants, strict=True):
                where = f"{self.model.name} {member} +{lead} h".replace("  ", " ")
                try:
                    yield task.result(), where
                except CloseinError as error:
                    yield error, where

    def _messages(self, run: datetime, lead: int, member: str, first_lead: int) -> bytes:
        address = self.model.address(run, lead, member)
        inventory = self.model.inventory_of(address)
        entries = read_inventory(self._fetcher.text(inventory), inventory.rsplit("/", 1)[-1])
        # the ground's height is the same in every file of a run
        without = NOT_FETCHED if lead == first_lead else NOT_FETCHED | {"cell_height"}
        chosen = wanted(entries, without)
        if not chosen:
            raise WeatherUnavailable(f"{inventory}: names no field that serves a weather column")
        return b"".join(self._fetcher.fields(address, chosen))
