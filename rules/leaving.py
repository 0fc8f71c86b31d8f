"""What is left standing overnight and which rows judge it, read from ``book/leaving.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Final

from rules.book_rows import Row

LOOK: Final = "look"  # the verb of a measure that no list of verbs names


@dataclass(frozen=True, slots=True)
class LeftStanding:
    """One thing that a crew leaves behind, when it is there, and what judges it."""

    name: str
    says: str
    judged_as: str  # work type
    rows: tuple[str, ...]  # beginnings of row ids
    after: tuple[str, ...] = ()  # work types
    until: tuple[str, ...] = ()
    parts: bool = False
    always: bool = False
    beside: str = ""
    at_leaving: bool = False


@cache
def left_standing() -> tuple[LeftStanding, ...]:
    """Return everything that can be left, in the order it is read out."""
    return tuple(LeftStanding(name, **_fields(row)) for name, row in _file()["left"].items())


def _fields(row: Mapping[str, Any]) -> dict[str, Any]:
    return {key: tuple(v) if isinstance(v, list) else v for key, v in row.items()}


def protects(row: Row) -> bool:
    """Tell whether a row keeps work after it is done: its hours run on past the end."""
    late = row.hours is not None and (
        row.hours.until.anchor == "end" and row.hours.until.offset_h > 0
    )
    parts = (row, *row.bands)
    kept = any(n.until.anchor == "end" and n.until.offset_h > 0 for p in parts for n in p.measures)
    return late or kept


@cache
def verbs() -> Mapping[str, str]:
    """Return the verb of each measure: cover, brace, drain, heat, tie_down, keep_out."""
    return {measure: verb for verb, names in _file()["verbs"].items() for measure in names}


def verb_of(measure: str) -> str:
    """Return under which verb a measure stands on a list of things to do before leaving."""
    return verbs().get(measure, LOOK)


@cache
def _file() -> dict[str, dict[str, Any]]:
    text = resources.files("rules").joinpath("book/leaving.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
