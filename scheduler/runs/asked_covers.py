"""The covers that an answer asked for, read from it as it was kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any

from rules.films import covers
from scheduler.planning.model.log import AskedCover


def asked_in(document: Mapping[str, Any], *, at: datetime) -> Iterator[AskedCover]:
    """Yield the covers of an answer of ``today``, ``brief`` or ``tonight``.

    Parameters
    ----------
    document
        What the command prints with ``--json``.
    at : datetime
        The moment it answered for, UTC.
    """
    words = {cover.measure for cover in covers().values() if cover.measure}
    brief = document.get("brief") or {}
    for answer in (*(document.get("tasks") or ()), *(brief.get("answers") or ())):
        for line in answer.get("measures") or ():
            end = _moment(line.get("until"))
            if line.get("measure") in words and end is not None:
                start = _moment(line.get("from"))
                yield AskedCover(at, answer["task"], answer["call"], line["measure"], start, end)
    for leave in (*(document.get("leaves") or ()), *(brief.get("leaves") or ())):
        for line in leave.get("lines") or ():
            end = _moment(line.get("end"))
            if line.get("what") in words and line.get("of") and end is not None:
                start = _moment(line.get("start"))
                yield AskedCover(at, line["of"], "", line["what"], start, end)


def _moment(value: object) -> datetime | None:
    return datetime.fromisoformat(value).astimezone(UTC) if isinstance(value, str) else None
