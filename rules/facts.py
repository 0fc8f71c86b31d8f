"""Facts and readings that conditions and bands look at, in three values: yes, no, nobody knows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, TypeAlias

import numpy as np

from rules.book_rows import Band, Condition, Need
from rules.units import convert
from rules.weather import EDGE_TOLERANCE

# A fact is a word, a yes or no, several words, or a number with its unit.
Value: TypeAlias = bool | str | tuple[str, ...] | tuple[float, str]
Facts: TypeAlias = Mapping[str, Value]
# What a job file's ``element`` calls the same thing as a site fact.
ALSO_SAID: Final = {"section_thickness": ("section",)}
NOTHING: Final = frozenset({"none", "no", "nothing"})


@dataclass(frozen=True, slots=True)
class Asked:
    """A kind of work, what is known of it and the site, and the measures to be had.

    ``measures`` None takes every measure as to be had. ``coming`` says from which hour on
    others are there. ``now`` is the hour of the table at which readings were taken.
    """

    work_type: str
    facts: Facts = field(default_factory=dict)
    measures: frozenset[str] | None = None
    now: int = 0
    coming: Mapping[str, int] = field(default_factory=dict)

    def phases(self) -> list[tuple[int, Asked]]:
        """Return the same question from each hour on at which more measures are there."""
        if self.measures is None:
            return [(0, self)]
        out = [(0, replace(self, coming={}))]
        for hour in sorted(set(self.coming.values())):
            there = self.measures | {name for name, at in self.coming.items() if at <= hour}
            out.append((hour, replace(self, measures=there, coming={})))
        return out


def number(value: Value, unit: str) -> float | None:
    """Return a measured value in another unit; None where it is a word."""
    if not isinstance(value, tuple) or len(value) != 2 or isinstance(value[0], str):
        return None
    amount, own = value
    return float(convert(float(amount), str(own), unit))


def holds(condition: Condition, facts: Facts) -> bool | None:
    """Tell whether a condition on a fact or reading holds; None where nobody knows."""
    values = said(condition.what, facts)
    if condition.is_ is None:  # a word in place of a number tells nothing
        values = [value for value in values if number(value, condition.unit) is not None]
    if not values:
        return _unknown(condition)
    return all(_meets(value, condition) for value in values)


def said(what: str, facts: Facts) -> list[Value]:
    """Return what is known under a name; ``*.cement`` is the cement of every element."""
    element, _, condition = what.partition(".")
    if element != "*":
        value = facts.get(what)
        return [] if value is None else [value]
    endings = tuple(f".{name}" for name in (condition, *ALSO_SAID.get(condition, ())))
    return [facts[name] for name in facts if name.endswith(endings)]


def _meets(value: Value, condition: Condition) -> bool:
    if condition.is_ is not None:
        return same_word(value, condition.is_)
    amount = number(value, condition.unit)
    return amount is not None and within(amount, condition)


def _unknown(condition: Condition) -> bool | None:
    match condition.if_unknown:
        case "apply":
            return True
        case "not_known":
            return None
        case _:
            return False


def same_word(value: Value, wanted: bool | tuple[str, ...]) -> bool:
    """Tell whether a fact says what a condition or band names."""
    if isinstance(wanted, bool):
        # A word for something that is there, such as what a wall is covered with, is a yes.
        said_yes = value if isinstance(value, bool) else value not in NOTHING
        return said_yes is wanted
    said = value if isinstance(value, tuple) else (value,)
    return bool(set(map(str, said)) & set(wanted))


def within(amount: float, bound: Condition) -> bool:
    """Tell whether a number in the bound's unit meets it; an edge within binary noise is equal."""
    slack = EDGE_TOLERANCE
    return bool(
        (bound.above is None or amount > bound.above + slack)
        and (bound.at_least is None or amount >= bound.at_least - slack)
        and (bound.below is None or amount < bound.below - slack)
        and (bound.at_most is None or amount <= bound.at_most + slack)
    )


def all_hold(conditions: Iterable[Condition], facts: Facts) -> bool | None:
    """Tell whether every condition holds: no where one does not, None where one is unknown."""
    answers = [holds(condition, facts) for condition in conditions]
    if any(answer is False for answer in answers):
        return False
    return None if any(answer is None for answer in answers) else True


def is_asked(need: Need, facts: Facts) -> bool:
    """Tell whether a measure is asked for; where nobody knows, it is."""
    if all_hold(need.when, facts) is False:
        return False
    return not any(holds(condition, facts) is True for condition in need.unless)


def band_of(value: Value, bands: tuple[Band, ...], unit: str) -> Band | None:
    """Return the band a fact or reading falls in; None where it fits none."""
    if any(band.is_ is not None for band in bands):
        fitting = (b for b in bands if b.is_ is None or same_word(value, b.is_))
        return next(fitting, None)
    amount = number(value, unit)
    return None if amount is None else bands[band_index(amount, bands)]


def band_index(amount: float, bands: tuple[Band, ...]) -> int:
    """Return which band a number in the row's unit falls in; edges are exact on both sides."""
    return int(np.sum([amount > edge for edge in edges(bands)]))


def edges(bands: tuple[Band, ...]) -> list[float]:
    """Return the value above which each next band begins, the tolerance on its owner's side."""
    out = []
    for band in bands[:-1]:
        if band.up_to is not None:
            slack = EDGE_TOLERANCE if band.edge == "below" else -EDGE_TOLERANCE
            out.append(band.up_to + slack)
    return out
