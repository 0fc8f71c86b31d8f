"""Log entries, forecasts and inputs as JSON in a record's body, and back, without loss."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import UTC, date, datetime, time
from functools import cache
from typing import Final

from pydantic import TypeAdapter

from scheduler.planning.model.log import Entry

TAGS: Final[
    dict[str, tuple[type, Callable[[str], object]]]
] = {  # a moment stays a moment; a datetime is a date too, so it is asked first
    "$moment": (datetime, datetime.fromisoformat),
    "$day": (date, date.fromisoformat),
    "$clock": (time, time.fromisoformat),
}


def stamp(moment: datetime) -> str:
    """Write a moment in UTC so that texts sort as moments do."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def moment_of(text: str) -> datetime:
    """Read a stamp."""
    return datetime.fromisoformat(text)


def dump(value: object) -> str:
    """Write JSON the same way each time."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def entry_body(entry: Entry) -> str:
    """Return an entry as a record's body."""
    return dump(_tagged(asdict(entry)))


def entry_of(body: str) -> Entry:
    """Return the entry of a record's body."""
    return _entries().validate_python(_untagged(json.loads(body)))


@cache
def _entries() -> TypeAdapter[Entry]:
    return TypeAdapter(Entry)


def _tagged(value: object) -> object:
    if isinstance(value, Mapping):
        return {str(key): _tagged(inside) for key, inside in value.items()}
    if isinstance(value, list | tuple):
        return [_tagged(inside) for inside in value]
    if isinstance(value, datetime | date | time):
        tag = next(tag for tag, (kind, _) in TAGS.items() if isinstance(value, kind))
        return {tag: value.isoformat()}
    return value


def _untagged(value: object) -> object:
    if isinstance(value, Mapping):
        for tag, (_, read) in TAGS.items():
            if set(value) == {tag}:
                return read(str(value[tag]))
        return {key: _untagged(inside) for key, inside in value.items()}
    return [_untagged(inside) for inside in value] if isinstance(value, list) else value
