"""The strength gates of the book: what each asks of fresh work, and from where."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from rules.strength import Curve


@dataclass(frozen=True, slots=True)
class Gate:
    """One row: a strength and a wait, the later of which opens the gate."""

    purpose: str
    title: str
    source: str
    wait_h: float = 0.0  # from the last grout or concrete of the element
    share: float = 0.0  # of the specified 28-day strength
    strength_mpa: float = 0.0
    decided_by: str = ""  # who releases it; the service can hold, never release
    verify: bool = True

    def needed_share(self, specified_mpa: float) -> float:
        """Return the share of a specified strength that both figures ask for, at most 1."""
        return min(1.0, max(self.share, self.strength_mpa / specified_mpa))

    def needed_age_h(self, curve: Curve, specified_mpa: float) -> float:
        """Return the equivalent age at which a curve has that share."""
        return curve.age_h(self.needed_share(specified_mpa))


@dataclass(frozen=True, slots=True)
class FreezeRule:
    """When freezing is failure: colder than the point before that strength."""

    freezing_point_c: float
    one_freeze_mpa: float
    source: str
    verify: bool


@cache
def _file() -> Mapping[str, Any]:
    text = resources.files("rules").joinpath("book/gates.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def gates() -> Mapping[str, Gate]:
    """Return the gates by purpose, in the order in which they usually open."""
    return {name: Gate(purpose=name, **row) for name, row in _file()["gate"].items()}


@cache
def freeze_rule() -> FreezeRule:
    """Return the rule for early freezing of concrete and grout."""
    return FreezeRule(**_file()["freeze"])


def specified_mpa(material: str) -> float:
    """Return the 28-day strength that is taken where the job names none: grout or concrete."""
    return float(_file()["specified"][material]["strength_mpa"])
