"""The US National Weather Service as a weather source: api.weather.gov.

A site's coordinates lead by ``/points`` to a cell of a 2.5 km grid; the cell's raw layers are
the forecast. What is fetched is kept as it came, in one JSON text: ``closein-nws/1`` with each
answer's address, headers and body, so that it can be stored and read again at any time.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, TypeVar
from urllib.parse import urlsplit, urlunsplit

from rules.errors import Faults, WeatherFileFault, WeatherUnavailable
from scheduler.planning.hours import Finding, Forecast
from scheduler.planning.job import Site
from scheduler.weather.http import Answer, Fetcher, Refused, retry_after_s
from scheduler.weather.intervals import instant
from scheduler.weather.json_text import JsonDocument
from scheduler.weather.nws_alerts import read_alerts
from scheduler.weather.nws_answers import EXPIRED, PERMANENT, problem_kind, problem_of, reason
from scheduler.weather.nws_grid import SOURCE, looks_like_gridpoint, read_gridpoint
from scheduler.weather.nws_periods import Period, chances, disagreement, read_periods

Read = TypeVar("Read")
FORMAT: Final = "closein-nws/1"
PUBLIC: Final = "https://api.weather.gov"
ASIDE: Final = {  # answers that help but are not needed: the link that points names for them
    "hourly": "forecastHourly",
    "half-day": "forecast",
    "alerts": "",
}
HEAL: Final = frozenset({429, 500, 502, 503, 504})


class NwsGridpoints:
    """Fetches and reads the gridpoint forecast of a site."""

    name = SOURCE

    def __init__(
        self,
        *,
        url: str = PUBLIC,
        contact: str = "",
        budget_s: float = 45.0,
        cache: Path | None = None,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        fetcher: Fetcher | None = None,
    ) -> None:
        """Take where to ask, whom to name as contact, and how long all of it may take."""
        self._url = url.rstrip("/")
        self._now = now
        self._fetcher = fetcher or Fetcher(
            agent=f"closein ({contact or 'no contact set'})",
            budget_s=budget_s,
            explain=explained,
            cache=cache,
        )

    def fetch(self, site: Site) -> bytes:
        """Return the answers as they came, as one text of format ``closein-nws/1``.

        Raises
        ------
        WeatherUnavailable
            If the site's cell or its layers could not be had; says from where and why.
        """
        self._fetcher.start()
        answers = {"points": self._fetcher.get(f"{self._url}/points/{coordinates(site)}")}
        cell = self._link(answers["points"], "forecastGridData")
        answers["gridpoint"] = self._fetcher.get(cell)
        missing = []
        for name, link in ASIDE.items():
            try:
                aside = self._aside(answers["points"], link, site)
                answers[name] = self._fetcher.get(aside, once=True)
            except WeatherUnavailable as error:
                missing.append(f"without the {name} answer: {error}")
        return self._bundle(answers, missing)

    def parse(self, raw: bytes) -> Forecast:
        """Return the forecast that ``fetch`` or a recorded gridpoint answer holds.

        A layer that cannot be read becomes gaps and a finding: the rest still serves.

        Raises
        ------
        Faults
            If the bytes hold no gridpoint answer.
        """
        document = JsonDocument(raw, SOURCE)
        data = document.data
        if not isinstance(data, dict) or data.get("format") != FORMAT:
            return _tolerant(document)
        bodies = _bodies(data.get("answers"))
        if "gridpoint" not in bodies:
            raise Faults([WeatherFileFault(SOURCE, "gridpoint", None, "want the answer's body")])
        forecast = _tolerant(JsonDocument(bodies["gridpoint"].encode(), f"{SOURCE} gridpoint"))
        return _told(_with_asides(forecast, bodies), data, raw)

    def _link(self, points: Answer, name: str) -> str:
        """Return an address that the points answer names, on the server that was asked."""
        try:
            parts = urlsplit(str(json.loads(points.body)["properties"][name]))
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
            told = f"{points.url}: the answer names no {name}, so the site's cell is not known"
            raise WeatherUnavailable(told) from error
        here = urlsplit(self._url)
        path = here.path + parts.path
        return urlunsplit((here.scheme, here.netloc, path, parts.query, ""))

    def _aside(self, points: Answer, link: str, site: Site) -> str:
        if link:
            return self._link(points, link)
        return f"{self._url}/alerts/active?point={coordinates(site)}"

    def _bundle(self, answers: Mapping[str, Answer], missing: Sequence[str]) -> bytes:
        notes = [
            f"the service did not answer; this is its {name} answer of {kept:%Y-%m-%d %H:%M}Z"
            for name, answer in answers.items()
            if (kept := answer.kept_from) is not None
        ]
        bundle = {
            "format": FORMAT,
            "fetched_at": self._now().isoformat(timespec="seconds"),
            "notes": [*notes, *missing, *self._fetcher.notes],
            "answers": {name: _as_json(answer) for name, answer in answers.items()},
        }
        return json.dumps(bundle, ensure_ascii=False, indent=1).encode()


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


def _as_json(answer: Answer) -> dict[str, object]:
    return {
        "url": answer.url,
        "status": answer.status,
        "headers": dict(answer.headers),
        "kept_from": answer.kept_from.isoformat() if answer.kept_from else None,
        "body": answer.body.decode("utf-8", "replace"),
    }


def _tolerant(document: JsonDocument) -> Forecast:
    """Read a gridpoint answer, its faults told as findings beside the gaps they make."""
    if not looks_like_gridpoint(document.data):
        raise Faults([WeatherFileFault(document.file, "answer", "no layers", "want a forecast")])
    forecast = read_gridpoint(document)
    faults = tuple(Finding("", str(fault)) for fault in document.faults())
    of = forecast.provenance
    return replace(forecast, provenance=replace(of, findings=(*faults, *of.findings)))


def _bodies(answers: object) -> dict[str, str]:
    """Return the text of each answer of a bundle."""
    if not isinstance(answers, dict):
        return {}
    return {
        name: answer["body"]
        for name, answer in answers.items()
        if isinstance(answer, dict) and isinstance(answer.get("body"), str)
    }


def _with_asides(forecast: Forecast, bodies: Mapping[str, str]) -> Forecast:
    """Add what the other answers tell: warnings, chances of half days, and contradictions.

    One that cannot be read is told and left out; nothing is planned on it.
    """
    findings: list[Finding] = []
    periods: dict[str, tuple[Period, ...]] = {}
    for name in ("hourly", "half-day"):
        periods[name] = _aside_read(name, bodies, findings, read_periods) or ()
    return replace(
        forecast,
        periods=chances(periods["half-day"]),
        alerts=_aside_read("alerts", bodies, findings, read_alerts),
        provenance=replace(
            forecast.provenance,
            findings=(
                *forecast.provenance.findings,
                *disagreement(forecast.table, periods["hourly"]),
                *findings,
            ),
        ),
    )


def _aside_read(
    name: str,
    bodies: Mapping[str, str],
    findings: list[Finding],
    read: Callable[[JsonDocument], Read | None],
) -> Read | None:
    if name not in bodies:
        return None
    try:
        document = JsonDocument(bodies[name].encode(), f"{SOURCE} {name}")
        told = read(document)
    except Faults as error:
        findings += [Finding("", line) for line in error.lines()]
        return None
    findings += [Finding("", str(fault)) for fault in document.faults()]
    return told


def _told(forecast: Forecast, data: Mapping[str, object], raw: bytes) -> Forecast:
    """Add what the fetch tells: when it was, and where an older answer stood in."""
    notes = data.get("notes")
    noted = tuple(Finding("", str(note)) for note in notes) if isinstance(notes, list) else ()
    try:
        fetched_at = instant(str(data.get("fetched_at")))
    except ValueError:
        fetched_at = None
    of = replace(
        forecast.provenance,
        fetched_at=fetched_at,
        identity=hashlib.sha256(raw).hexdigest(),
        findings=(*noted, *forecast.provenance.findings),
    )
    return replace(forecast, provenance=of)
