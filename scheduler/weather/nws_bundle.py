"""A fetch of the National Weather Service as it is kept: ``closein-nws/1``, and what it tells."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final, TypeVar

from rules.errors import Faults, WeatherFileFault
from scheduler.planning.tables.hours import Finding, Forecast
from scheduler.weather.intervals import instant
from scheduler.weather.json_text import JsonDocument
from scheduler.weather.nws_alerts import read_alerts
from scheduler.weather.nws_grid import SOURCE, looks_like_gridpoint, read_gridpoint
from scheduler.weather.nws_periods import Period, chances, disagreement, read_periods

Read = TypeVar("Read")
FORMAT: Final = "closein-nws/1"


def is_bundle(data: object) -> bool:
    """Tell whether a JSON value is a kept fetch."""
    return isinstance(data, dict) and data.get("format") == FORMAT


def read_bundle(document: JsonDocument, raw: bytes) -> Forecast:
    """Return the forecast of a kept fetch; what cannot be read of it becomes gaps and findings.

    Raises
    ------
    Faults
        If it holds no gridpoint answer.
    """
    data = document.data if isinstance(document.data, dict) else {}
    bodies = _bodies(data.get("answers"))
    if "gridpoint" not in bodies:
        raise Faults([WeatherFileFault(document.file, "gridpoint", None, "want its body")])
    grid = JsonDocument(bodies["gridpoint"].encode(), f"{document.file} gridpoint")
    return _told(_with_asides(tolerant(grid), bodies), data, raw)


def tolerant(document: JsonDocument) -> Forecast:
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
