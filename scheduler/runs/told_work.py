"""What an answer asked for and said of finished work, read from it as it was kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any

from rules.films import covers
from scheduler.planning.calls.strength import FREEZES
from scheduler.planning.model.log import AskedCover, ToldFrozen


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


def frozen_in(document: Mapping[str, Any], *, at: datetime) -> Iterator[ToldFrozen]:
    """Yield the finished work that an answer of ``today`` or ``brief`` held because it froze."""
    brief = document.get("brief") or {}
    for answer in (*(document.get("tasks") or ()), *(brief.get("answers") or ())):
        for limit in answer.get("limits") or ():
            refused = limit.get("outcome") == "no_go" and answer.get("call") == "hold"
            if limit.get("rule") == FREEZES and refused and limit.get("place"):
                yield ToldFrozen(at, limit["place"])


def _moment(value: object) -> datetime | None:
    return datetime.fromisoformat(value).astimezone(UTC) if isinstance(value, str) else None
