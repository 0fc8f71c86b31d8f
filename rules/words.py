"""The words of the trade that jobs, logs and answers share, read from ``rules/book``.

``words.toml`` names kinds of work, measures, checks, cautions, roles and what a site fact may say;
``site_quantities.toml`` names what may be measured on site or asked for by a document.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

from rules.errors import OutOfRange
from rules.units import UNITS, convert


@dataclass(frozen=True, slots=True)
class Words:
    """Every known name with its meaning; ``elements`` gives the conditions of each element."""

    work_types: Mapping[str, str]
    measures: Mapping[str, str]
    checks: Mapping[str, str]
    cautions: Mapping[str, str]
    roles: Mapping[str, str]
    elements: Mapping[str, list[str]]
    supplies: Mapping[str, str]
    document_kinds: Mapping[str, str]
    causes: Mapping[str, str]
    taken_as: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class SiteQuantity:
    """Something measured on site: the unit people use and the bounds of what can be true."""

    name: str
    unit: str
    low: float
    high: float
    meaning: str

    def check(self, value: float, unit: str) -> None:
        """Refuse a value that only a slip of unit or finger explains.

        Raises
        ------
        OutOfRange
            If the unit measures something else, or the value cannot be true.
        """
        inside = convert(float(value), unit, self.unit)
        slack = 1e-9 * max(abs(self.low), abs(self.high))
        if not self.low - slack <= inside <= self.high + slack:
            low, high = (convert(edge, self.unit, unit) for edge in (self.low, self.high))
            raise OutOfRange(
                f"{self.name} {value:g} {unit} cannot be true; between {low:g} and {high:g} {unit}"
            )

    @property
    def units(self) -> list[str]:
        """Return the units that measure this, the usual one first."""
        kind = UNITS[self.unit][0]
        return [self.unit, *(u for u, row in UNITS.items() if row[0] == kind and u != self.unit)]


def _read(name: str) -> dict[str, dict[str, object]]:
    text = resources.files("rules").joinpath(f"book/{name}").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def words() -> Words:
    """Return the shared words."""
    return Words(**_read("words.toml"))  # type: ignore[arg-type]  # a test reads every table


@cache
def site_quantities() -> dict[str, SiteQuantity]:
    """Return every quantity that may be read on site or asked for by a document, by name."""
    rows = _read("site_quantities.toml")
    return {name: SiteQuantity(name=name, **row) for name, row in rows.items()}  # type: ignore[arg-type]


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the known name most like a mistaken one, None where none is near."""
    folded = {_folded(one): one for one in known}
    found = difflib.get_close_matches(_folded(name), list(folded), n=1, cutoff=0.6)
    return folded[found[0]] if found else None


def meant(name: str, known: Iterable[str]) -> str:
    """Return what to say of a name that is not known: the nearest one, else all there are."""
    names = list(known)
    near = nearest(name, names)
    return f"did you mean {near}?" if near else f"known: {', '.join(names)}"


def _folded(name: str) -> str:
    return name.strip().casefold().replace("-", "_").replace(" ", "_")
