"""The US National Weather Service as a weather source: api.weather.gov.

A site's coordinates lead by ``/points`` to a cell of a 2.5 km grid; the cell's raw layers are
the forecast. What is fetched is kept as it came, in one JSON text: ``closein-nws/1`` with each
answer's address, headers and body, so that it can be stored and read again at any time.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit, urlunsplit

from rules.errors import Faults, WeatherFileFault, WeatherUnavailable
from scheduler.planning.hours import Finding, Forecast
from scheduler.planning.job import Site
from scheduler.weather.http import Answer, Fetcher, Refused, retry_after_s
from scheduler.weather.intervals import instant
from scheduler.weather.json_text import JsonDocument
from scheduler.weather.nws_answers import EXPIRED, PERMANENT, problem_kind, problem_of, reason
from scheduler.weather.nws_grid import SOURCE, looks_like_gridpoint, read_gridpoint

FORMAT: Final = "closein-nws/1"
PUBLIC: Final = "https://api.weather.gov"
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
        return self._bundle(answers)

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
        answers = data.get("answers")
        grid = answers.get("gridpoint") if isinstance(answers, dict) else None
        if not isinstance(grid, dict) or not isinstance(grid.get("body"), str):
            raise Faults([WeatherFileFault(SOURCE, "gridpoint", None, "want the answer's body")])
        forecast = _tolerant(JsonDocument(grid["body"].encode(), f"{SOURCE} gridpoint"))
        return _told(forecast, data, grid, raw)

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

    def _bundle(self, answers: Mapping[str, Answer]) -> bytes:
        notes = [
            f"the service did not answer; this is its {name} answer of {kept:%Y-%m-%d %H:%M}Z"
            for name, answer in answers.items()
            if (kept := answer.kept_from) is not None
        ]
        bundle = {
            "format": FORMAT,
            "fetched_at": self._now().isoformat(timespec="seconds"),
            "notes": [*notes, *self._fetcher.notes],
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


def _told(
    forecast: Forecast, data: Mapping[str, object], grid: Mapping[str, object], raw: bytes
) -> Forecast:
    """Add what the fetch tells: when it was, and where an older answer stood in."""
    notes = data.get("notes")
    noted = tuple(Finding("", str(note)) for note in notes) if isinstance(notes, list) else ()
    fetched = grid.get("kept_from") or data.get("fetched_at")
    try:
        fetched_at = instant(str(fetched))
    except ValueError:
        fetched_at = None
    of = replace(
        forecast.provenance,
        fetched_at=fetched_at,
        identity=hashlib.sha256(raw).hexdigest(),
        findings=(*noted, *forecast.provenance.findings),
    )
    return replace(forecast, provenance=of)
