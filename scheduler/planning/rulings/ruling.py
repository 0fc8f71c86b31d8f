"""What one rule or paper says about one task at one time: the bricks that answers are made of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import (
    CautionLine,
    CheckLine,
    HoldLine,
    LimitLine,
    MeasureLine,
    NumberLine,
    Outcome,
    TellLine,
)

GRAVITY: Final = {
    Outcome.GO: 0,
    Outcome.GO_WITH_PROTECTION: 1,
    Outcome.NOT_KNOWN: 2,
    Outcome.NO_GO: 3,
}
REFUSED: Final = frozenset({Outcome.NO_GO, Outcome.NOT_KNOWN})


@dataclass(frozen=True, slots=True)
class Ruling:
    """One rule's word on one trial of a task."""

    rule: str
    outcome: Outcome
    limit: LimitLine | None = None
    call: str = ""  # stop, hold or prepare, where the outcome alone does not say it
    measures: tuple[MeasureLine, ...] = ()
    checks: tuple[CheckLine, ...] = ()
    conditions: tuple[CheckLine, ...] = ()  # a go holds once these were seen: told first
    lacks: tuple[MeasureLine, ...] = ()  # what is asked for and cannot be there in time
    cautions: tuple[CautionLine, ...] = ()
    holds: tuple[HoldLine, ...] = ()
    tells: tuple[TellLine, ...] = ()
    numbers: tuple[NumberLine, ...] = ()
    bears: tuple[tuple[str, str], ...] = ()  # weather it looks at, with the unit
    clears_at: datetime | None = None  # when a refusal may be over; None: nobody can say
    moves: bool = False  # True where other hours of work may fare better: weather, age

    @property
    def refuses(self) -> bool:
        """Tell whether the work may not go on under this rule."""
        return self.outcome in REFUSED


@dataclass(frozen=True, slots=True)
class Judged:
    """A trial with every ruling on it."""

    trial: Trial
    rulings: tuple[Ruling, ...] = ()

    @property
    def outcome(self) -> Outcome:
        """Return the gravest outcome."""
        return worst(ruling.outcome for ruling in self.rulings)

    @property
    def refusals(self) -> tuple[Ruling, ...]:
        """Return the rulings that refuse, gravest first."""
        return tuple(sorted((r for r in self.rulings if r.refuses), key=_rank))


@dataclass(frozen=True, slots=True)
class Chosen:
    """The trial that the call is about, the offers beside it, the next possible start.

    ``later`` is the trial that would go, where it lies beyond the shift that is running or next to
    begin. ``supposed`` holds the same trials with each supposed measure; ``helped`` is the first
    of them that passes where the plain one does not.
    """

    judged: Judged
    options: tuple[Judged, ...] = ()
    next_start: datetime | None = None
    supposed: tuple[Judged, ...] = ()
    helped: Judged | None = None
    later: Judged | None = None


def worst(outcomes: Iterable[Outcome]) -> Outcome:
    """Return the gravest of some outcomes; nothing to say is go."""
    return max(outcomes, key=GRAVITY.__getitem__, default=Outcome.GO)


def _rank(ruling: Ruling) -> int:
    return -GRAVITY[ruling.outcome]


def gravest_first(rulings: Sequence[Ruling]) -> list[Ruling]:
    """Return rulings, the one that fails hardest first, order kept among equals."""
    return sorted(rulings, key=_rank)


def number_of(limit: LimitLine) -> NumberLine | None:
    """Return a limit's value as a number of the answer."""
    if limit.value is None:
        return None
    return NumberLine(
        quantity=limit.quantity,
        taken_as=limit.taken_as,
        value=limit.value,
        unit=limit.unit,
        window=limit.window,
        at=limit.at if limit.window is None else None,
        place=limit.place,
        what_if=limit.what_if,
    )


def graded(limit: LimitLine, outcome: Outcome) -> LimitLine:
    """Return a limit with another outcome."""
    return replace(limit, outcome=outcome)


def after(moment: datetime, hours: float) -> datetime:
    """Return the moment so many elapsed hours later."""
    return moment + timedelta(hours=hours)


def hours_between(start: datetime, end: datetime) -> float:
    """Return elapsed hours; a clock change moves the clock, not the period."""
    return (end - start).total_seconds() / 3600.0
