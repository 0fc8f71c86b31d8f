"""Man-hours of common practice, read from ``rates.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources


@cache
def rates() -> Mapping[str, float]:
    """Return man-hours for one of each thing, by its name."""
    text = resources.files("rules").joinpath("amounts/rates.toml").read_text(encoding="utf-8")
    return {name: float(row["man_h"]) for name, row in tomllib.loads(text).items()}


def man_h(name: str, amount: float = 1.0) -> float:
    """Return the man-hours that so much of a thing takes; KeyError for an unknown one."""
    return rates()[name] * amount
