"""Answers as JSON: versioned, moments with the site's offset, keys as documented.

Spans become ``{"from", "until"}``; ``start``/``end`` of a measure become ``from``/``until``.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from enum import Enum
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.model.answer import ANSWER_VERSION, MeasureLine, Span, TaskAnswer
from scheduler.planning.model.job import Job
from scheduler.planning.reports.close_in_line import CloseInLine
from scheduler.planning.tables.hours import Forecast


def plain(value: object, zone: ZoneInfo) -> object:
    """Return a value as JSON can hold it; NaN becomes null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return _fields(value, zone)
    if isinstance(value, Mapping):
        return {str(key): plain(item, zone) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item, zone) for item in value]
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist(), zone)
    return _scalar(value, zone)


def _scalar(value: object, zone: ZoneInfo) -> object:
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, datetime):
        return value.astimezone(zone).isoformat(timespec="minutes")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _fields(value: object, zone: ZoneInfo) -> dict[str, object]:
    names = {"start": "from", "end": "until"} if isinstance(value, Span | MeasureLine) else {}
    return {
        names.get(field.name, field.name): plain(getattr(value, field.name), zone)
        for field in dataclasses.fields(value)  # type: ignore[arg-type]
    }


def dump(document: Mapping[str, object], time_zone: str) -> str:
    """Return the document as indented JSON text."""
    return json.dumps(plain(document, ZoneInfo(time_zone)), indent=2, ensure_ascii=False)


def answer_document(
    job: Job,
    answers: Sequence[TaskAnswer],
    forecast: Forecast,
    *,
    at: datetime,
    close_in: CloseInLine | None = None,
) -> dict[str, object]:
    """Return the answers of a moment as one document.

    ``weather`` says where the hours came from and how old they are; ``tasks`` holds one answer
    a task, in the job's order; ``close_in`` is the date as last planned.
    """
    return {
        "version": ANSWER_VERSION,
        "job": job.name,
        "at": at,
        "units": job.units,
        "weather": weather_told(forecast, at),
        "close_in": close_in,
        "tasks": answers,
    }


def weather_told(forecast: Forecast, at: datetime) -> dict[str, object]:
    """Return where the hours came from, how old they are, what was noticed, what is warned of."""
    where = forecast.provenance
    return {
        "source": where.source,
        "issued_at": where.issued_at,
        "age_h": where.age_h(at),
        "age_limit_h": where.age_limit_h,
        "findings": where.findings,
        "alerts": forecast.alerts,
    }
