"""Talk with api.weather.gov: whom to ask for what, and why an answer is none."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit, urlunsplit

from rules.errors import WeatherUnavailable
from scheduler.planning.model.job import Site
from scheduler.weather.http import HEAL, Answer, Fetcher, Refused, retry_after_s
from scheduler.weather.nws_answers import (
    EXPIRED,
    PERMANENT,
    inner_of,
    problem_kind,
    problem_of,
    reason,
    unfit,
)

PUBLIC: Final = "https://api.weather.gov"
LINKS: Final = ("forecastGridData", "observationStations")  # that a points answer names
POLITE_S: Final = 0.2  # between two requests; the service states no rate, common practice


def _is_answer(data: Mapping[str, object]) -> bool:
    return isinstance(data.get("properties"), dict) or isinstance(data.get("features"), list)


def _names_links(data: Mapping[str, object]) -> bool:
    return any(isinstance(inner_of(data).get(name), str) for name in LINKS)


@dataclass
class Service:
    """The service at one address, asked within one budget of time for each fetch."""

    url: str = PUBLIC
    contact: str = ""  # a mail address or page; the service wants one
    budget_s: float = 45.0
    cache: Path | None = None  # folder for kept answers
    fetcher: Fetcher = field(default=None)  # type: ignore[assignment]

    def __post_init__(self) -> None:
        self.url = self.url.rstrip("/")
        self.fetcher = self.fetcher or Fetcher(
            agent=f"closein ({self.contact or 'no contact set'})",
            budget_s=self.budget_s,
            explain=explained,
            cache=self.cache,
            gap_s=POLITE_S,
        )

    def points(self, site: Site) -> Answer:
        """Start the budget and return which cell the site lies in.

        Raises
        ------
        WeatherUnavailable
            If the service does not cover the site or does not answer.
        """
        self.fetcher.start()
        want = "the answer names no cell, so the site's cell is not known"
        return self.get(f"/points/{coordinates(site)}", holds=_names_links, want=want)

    def get(
        self,
        path: str,
        *,
        once: bool = False,
        holds: Callable[[Mapping[str, object]], bool] = _is_answer,
        want: str = "the answer holds nothing that was asked for",
    ) -> Answer:
        """Return the answer of a path of the service, or raise WeatherUnavailable.

        Parameters
        ----------
        holds : callable
            Whether the JSON of an answer is what was asked for; what is not is no answer.
        want : str
            What is told where it is not.
        """
        url = f"{self.url}{path}"
        return self.fetcher.get(url, once=once, unfit=lambda body: unfit(body, holds, want))

    def linked(self, answer: Answer, name: str) -> str:
        """Return the path that an answer names, to be asked of the same server.

        Raises
        ------
        WeatherUnavailable
            If it names none.
        """
        try:
            parts = urlsplit(str(json.loads(answer.body)["properties"][name]))
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            told = f"{answer.url}: the answer names no {name}, so the site's cell is not known"
            raise WeatherUnavailable(told) from error
        return urlunsplit(("", "", parts.path, parts.query, ""))


def coordinates(site: Site) -> str:
    """Return latitude and longitude as the service wants them: four places, no trailing zeros."""
    return f"{_degrees(site.latitude_deg)},{_degrees(site.longitude_deg)}"


def _degrees(value: float) -> str:
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def explained(answer: Answer) -> Refused:
    """Return why an answer other than 200 is no forecast, and whether another try may help."""
    problem = problem_of(answer.body.decode("utf-8", "replace"))
    kind = problem_kind(problem)
    heals = answer.status in HEAL and kind not in PERMANENT and kind != EXPIRED
    why = reason(answer.status, problem, html=answer.html)
    return Refused(why, heals=heals, after_s=retry_after_s(answer))


def as_json(answer: Answer) -> Mapping[str, object]:
    """Return an answer as it is kept in a fetch."""
    return {
        "url": answer.url,
        "status": answer.status,
        "headers": dict(answer.headers),
        "kept_from": answer.kept_from.isoformat() if answer.kept_from else None,
        "body": answer.body.decode("utf-8", "replace"),
    }
