"""Facts and readings that conditions and bands look at, in three values: yes, no, nobody knows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, TypeAlias

import numpy as np

from rules.book_rows import Band, Condition, Need
from rules.units import UNITS, convert
from rules.verdict import FloatArray
from rules.weather import EDGE_TOLERANCE, BoolArray

NOTHING: Final = frozenset({"none", "no", "nothing"})
# What a job file's ``element`` calls the same thing as a site fact.
ALSO_SAID: Final = {"section_thickness": ("section",)}
# What is read of the same thing later on: an input of computed weather takes the newer.
READ_LATER: Final = {"concrete_temperature_as_placed": "concrete_temperature"}


@dataclass(frozen=True, slots=True)
class Since:
    """An age: it grows from an hour of the table on."""

    hour: float


# A fact is a word, a yes or no, several words, a number with its unit, or an age that grows. A
# number without a unit is in the unit that is asked for.
Value: TypeAlias = bool | str | tuple[str, ...] | tuple[float, str] | Since


@dataclass(frozen=True, slots=True)
class Stated:
    """A value with when and where it was so."""

    value: Value
    at: float | None = None  # hour of the table; None: it holds at any hour
    place: str = ""
    stays: bool = False  # a bad one stays until it is told or read otherwise


# One value, or one for each place that was read.
Facts: TypeAlias = Mapping[str, Value | tuple[Stated, ...]]


# Where nobody told of a look or of dry hours; both common practice, no source.
UNTOLD_LOOK_H: Final = 48.0  # how far back the ground is looked at
UNTOLD_DRY_H: Final = 4.0  # fresh work wants it dry this long
LOOK_LASTS_H: Final = 24.0  # of a look at the site; common practice, no source


@dataclass(frozen=True, slots=True)
class Asked:
    """A kind of work, what is known of it and the site, and the measures to be had.

    ``measures`` None takes every measure as to be had. ``coming`` says from which hour on
    others are there. ``now`` is the hour of the table at which readings were taken that do not
    say when, ``looked`` that of the last look at the ground, ``dry_h`` how long after the work
    its papers want it dry. ``released`` says by row at which hour somebody of its role released
    what was found on site.
    """

    work_type: str
    facts: Facts = field(default_factory=dict)
    measures: frozenset[str] | None = None
    now: int = 0
    coming: Mapping[str, int] = field(default_factory=dict)
    looked: int | None = None
    dry_h: float = UNTOLD_DRY_H
    released: Mapping[str, float] = field(default_factory=dict)

    def is_released(self, row: str, one: Stated, hour: FloatArray) -> BoolArray:
        """Tell at which hours a release of a row lifts what was stated before it."""
        at = self.released.get(row)
        if at is None or (one.at is not None and one.at > at):
            return np.zeros(np.shape(hour), dtype=np.bool_)
        return np.asarray((hour > at - 1.0) & (hour < at + LOOK_LASTS_H))

    def phases(self) -> list[tuple[int, Asked]]:
        """Return the same question from each hour on at which more measures are there."""
        if self.measures is None:
            return [(0, self)]
        out = [(0, replace(self, coming={}))]
        for hour in sorted(set(self.coming.values())):
            there = self.measures | {name for name, at in self.coming.items() if at <= hour}
            out.append((hour, replace(self, measures=there, coming={})))
        return out


def stated(name: str, facts: Facts, now: float | None = None) -> tuple[Stated, ...]:
    """Return everything that is stated under a name; ``now`` is when a bare value was so."""
    found = facts.get(name)
    if found is None:
        return ()
    if isinstance(found, tuple):
        several = tuple(one for one in found if isinstance(one, Stated))
        if several or not found:
            return several
    return (Stated(found, now),)  # type: ignore[arg-type]  # a tuple of Stated went out above


def counts(
    one: Stated,
    age_h: float | None,
    hour: FloatArray | float,
    *,
    bad: bool = False,
    now: float = 0.0,
) -> BoolArray:
    """Tell at which hours what was stated still counts, and was so by then.

    A reading speaks for the hour it was taken in, and for as long as its row says. ``bad`` tells
    that it refuses or asks for something, ``now`` the hour of asking.
    """
    if one.at is None or age_h is None:
        return np.ones(np.shape(hour), dtype=np.bool_)
    at = max(one.at, now) if bad and one.stays else one.at
    passed = np.asarray(hour) - at
    return np.asarray((passed > -1.0) & (passed < age_h))


def number(value: Value, unit: str, hour: float = 0.0) -> float | None:
    """Return a measured value in another unit, an age as of an hour; None where it is a word."""
    if isinstance(value, Since):
        return float(convert(max(hour - value.hour, 0.0), "h", unit))
    if not isinstance(value, tuple) or len(value) != 2 or isinstance(value[0], str):
        return None
    amount, own = float(value[0]), str(value[1]) or unit
    alike = own in UNITS and unit in UNITS and UNITS[own][0] == UNITS[unit][0]
    return float(convert(amount, own, unit)) if alike else amount if own == unit else None


def read_input(name: str, unit: str, facts: Facts) -> float | None:
    """Return the greatest number that is known of an input: read on site, else as stated."""
    own, later = stated(name, facts, 0.0), stated(READ_LATER.get(name, ""), facts)
    for told in ([one for one in own if one.at is not None], later, own):
        amounts = [number(one.value, unit) for one in told]
        known = [amount for amount in amounts if amount is not None]
        if known:
            return max(known)
    return None


def holds(condition: Condition, facts: Facts, *, every: bool = True) -> bool | None:
    """Tell whether a condition on a fact or reading holds; None where nobody knows."""
    answer = met(condition, facts, every=every)
    return _unknown(condition) if answer is None else answer


def met(
    condition: Condition, facts: Facts, *, every: bool = True, hour: float = 0.0
) -> bool | None:
    """Tell whether what is stated meets a condition; None where nothing is.

    Where several places or elements are stated, the worse counts: what lifts a limit must hold
    for every one of them, what makes it bind need hold for one.
    """
    values = said(condition.what, facts)
    if condition.is_ is None:  # a word in place of a number tells nothing
        values = [v for v in values if number(v, condition.unit, hour) is not None]
    if not values:
        return None
    answers = [_meets(value, condition, hour) for value in values]
    return all(answers) if every else any(answers)


def grows(what: str, facts: Facts) -> bool:
    """Tell whether a name stands for an age, which changes hour by hour."""
    return any(isinstance(value, Since) for value in said(what, facts))


def said(what: str, facts: Facts) -> list[Value]:
    """Return what is known under a name; ``*.cement`` is the cement of every element."""
    element, _, condition = what.partition(".")
    if element != "*":
        return [one.value for one in stated(what, facts)]
    endings = tuple(f".{name}" for name in (condition, *ALSO_SAID.get(condition, ())))
    names = [name for name in facts if name.endswith(endings)]
    return [one.value for name in names for one in stated(name, facts)]


def _meets(value: Value, condition: Condition, hour: float) -> bool:
    if condition.is_ is not None:
        return same_word(value, condition.is_)
    amount = number(value, condition.unit, hour)
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
    """Tell whether a limit's conditions all hold: no where one does not, None where unknown."""
    answers = [holds(condition, facts, every=False) for condition in conditions]
    if any(answer is False for answer in answers):
        return False
    return None if any(answer is None for answer in answers) else True


def is_asked(need: Need, facts: Facts) -> bool:
    """Tell whether a measure is asked for; where nobody knows, it is."""
    if all_hold(need.when, facts) is False:
        return False
    return not any(holds(condition, facts) is True for condition in need.unless)


def band_of(value: Value, bands: tuple[Band, ...], unit: str, hour: float = 0.0) -> Band | None:
    """Return the band a fact or reading falls in; None where it fits none."""
    if any(band.is_ is not None for band in bands):
        fitting = (b for b in bands if b.is_ is None or same_word(value, b.is_))
        return next(fitting, None)
    amount = number(value, unit, hour)
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
