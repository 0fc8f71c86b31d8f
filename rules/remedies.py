"""What is done about a quantity that falls short of a document: ``rules/book/remedies.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources


@dataclass(frozen=True, slots=True)
class Remedy:
    """Measures of which any helps, what to look at, what to beware of."""

    measures: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@cache
def remedies() -> Mapping[str, Remedy]:
    """Return the remedy of each quantity that has one."""
    text = resources.files("rules").joinpath("book/remedies.toml").read_text(encoding="utf-8")
    return {
        name: Remedy(
            measures=tuple(row.get("measures", ())),
            checks=tuple(row.get("checks", ())),
            cautions=tuple(row.get("cautions", ())),
        )
        for name, row in tomllib.loads(text).items()
    }
