"""The answer, machine-readable: what a person does now about each task, and why.

Keys are documented in DEVELOPERS.md; people's texts are made from these, never the other way
round. Moments are UTC inside; the output writes them with the site's offset.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

ANSWER_VERSION = "closein-answer/1"
UNTIL = ": "  # in a reason, between until when a call waits and why


class Call(StrEnum):
    """What a person does now."""

    GO = "go"
    GO_WITH_PROTECTION = "go_with_protection"
    PREPARE = "prepare"
    WAIT = "wait"
    HOLD = "hold"
    STOP = "stop"
    CLAIM = "claim"  # only a paper question


class Outcome(StrEnum):
    """What one limit says."""

    GO = "go"
    GO_WITH_PROTECTION = "go_with_protection"
    NO_GO = "no_go"
    NOT_KNOWN = "not_known"


@dataclass(frozen=True, slots=True)
class Span:
    """From, until; the hour labelled ``end`` is not in it."""

    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class MeasureLine:
    """A measure, from when until when, and the rule that asks for it."""

    measure: str
    start: datetime | None
    end: datetime | None
    rule: str  # id of the book's row, or document:<id>
    on_hand: bool = True
    text: str = ""


@dataclass(frozen=True, slots=True)
class CheckLine:
    """Something to look at on site first."""

    check: str
    text: str = ""


@dataclass(frozen=True, slots=True)
class LimitLine:
    """One limit with the value that decides it."""

    rule: str
    quantity: str
    taken_as: str
    value: float | bool | None
    unit: str
    outcome: Outcome
    window: Span | None = None
    at: datetime | None = None
    place: str = ""
    what_if: str = ""
    allowed: str = ""  # the band in words, e.g. "40 °F and warmer"
    says: str = ""  # the band's own words
    source: str = ""
    clause: str = ""
    verify: bool = False
    overridden_by: str = ""


@dataclass(frozen=True, slots=True)
class NumberLine:
    """A number that bears on the call. ``value`` may be a moment or a day."""

    quantity: str
    taken_as: str
    value: float | bool | datetime | date | None
    unit: str
    window: Span | None = None
    at: datetime | None = None
    place: str = ""
    what_if: str = ""


@dataclass(frozen=True, slots=True)
class HoldLine:
    """A role who decides and what they need to see."""

    by: str
    needs: str
    row: str = ""  # of the book, whose hold it is; "" for one of the job's own


@dataclass(frozen=True, slots=True)
class TellLine:
    """Whom to tell what, by when."""

    whom: str
    what: str
    by: datetime | None = None


@dataclass(frozen=True, slots=True)
class DecideBy:
    """The last useful moment for a decision."""

    at: datetime
    why: str


@dataclass(frozen=True, slots=True)
class OptionLine:
    """One offered slot or day."""

    start: datetime | date
    outcome: Outcome
    measures: tuple[MeasureLine, ...] = ()
    limits: tuple[LimitLine, ...] = ()


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One work type before another."""

    before: str
    after: str


@dataclass(frozen=True, slots=True)
class CautionLine:
    """How people can be hurt, or what must not be believed."""

    caution: str
    text: str = ""


@dataclass(frozen=True, slots=True)
class DayLine:
    """One day of a weather-day record."""

    date: date
    counted: bool
    why: str


@dataclass(frozen=True, slots=True)
class TaskAnswer:
    """Everything said about one task."""

    task: str
    work_type: str
    call: Call
    outcome: Outcome
    window: Span | None = None  # the hours judged
    measures: tuple[MeasureLine, ...] = ()
    checks: tuple[CheckLine, ...] = ()
    limits: tuple[LimitLine, ...] = ()  # gravest first
    holds: tuple[HoldLine, ...] = ()
    tell: tuple[TellLine, ...] = ()
    decide_by: tuple[DecideBy, ...] = ()
    next_window: Span | None = None
    options: tuple[OptionLine, ...] = ()
    order: tuple[OrderLine, ...] = ()
    cautions: tuple[CautionLine, ...] = ()
    numbers: tuple[NumberLine, ...] = ()
    days: tuple[DayLine, ...] = ()
    reason: str = ""  # one line for a person
    waits_for: tuple[str, ...] = ()  # tasks not done that come first
