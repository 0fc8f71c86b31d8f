"""How near a graver band is near: ``rules/book/margins.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources

from rules.units import UNITS, convert


@cache
def _margins() -> Mapping[str, tuple[float, str]]:
    text = resources.files("rules").joinpath("book/margins.toml").read_text(encoding="utf-8")
    return {kind: (float(row["thin"]), row["unit"]) for kind, row in tomllib.loads(text).items()}


def thin(unit: str) -> float | None:
    """Return what counts as a thin margin in a unit; None where nobody says."""
    kind, *_ = UNITS.get(unit, ("", 0.0, 0.0))
    found = _margins().get(kind)
    if found is None:
        return None
    amount, own = found
    if own == unit:
        return amount
    return abs(convert(amount, own, unit) - convert(0.0, own, unit))
