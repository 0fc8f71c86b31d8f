"""The house weather columns, read from ``rules/book/columns.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources


@dataclass(frozen=True, slots=True)
class Column:
    """One weather column: its CF name and unit, what can be true, and what it means."""

    name: str
    cf: str
    cf_unit: str
    kind: str  # state or amount
    low: float
    high: float
    slack: float
    meaning: str
    jump: float | None = None  # a leap from both neighbouring hours that cannot be true


@cache
def columns() -> dict[str, Column]:
    """Return every house column by name."""
    text = resources.files("rules").joinpath("book/columns.toml").read_text(encoding="utf-8")
    return {name: Column(name=name, **row) for name, row in tomllib.loads(text).items()}
