"""What happened on site, as planning sees it.

The log is append-only; a mistake is undone by a new entry. Entries later than the moment of
asking do not exist.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum


class EntryKind(StrEnum):
    """What an entry tells."""

    STARTED = "started"  # task
    FINISHED = "finished"  # task
    PROGRESS = "progress"  # task, hours_left
    LOST = "lost"  # hours, cause, task optional
    READING = "reading"  # quantity, value, unit, place, ...
    FACT = "fact"  # element, condition, value, unit, place
    RELEASE = "release"  # hold released: task, role, by name
    DECISION = "decision"  # what was answered and on what
    NOTE = "note"
    UNDO = "undo"  # seq of the entry undone


@dataclass(frozen=True, slots=True)
class Reading:
    """Something measured on site, in the unit it was read in."""

    quantity: str  # vocabulary name, e.g. unit_core_temperature
    value: float | bool
    unit: str
    place: str = ""
    at: datetime | None = None  # UTC
    start: datetime | None = None  # of a reading over a span
    end: datetime | None = None
    taken_as: str = "value"
    since: datetime | None = None  # for a change between two moments


@dataclass(frozen=True, slots=True)
class Fact:
    """A state of an element: trench slumped, wall braced, blankets 20 min away."""

    element: str
    condition: str
    value: object
    unit: str = ""
    at: datetime | None = None  # UTC; since when it holds, None: not said
    place: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the progress log."""

    seq: int
    at: datetime  # UTC; when it happened
    entered_at: datetime  # UTC; when it was written down
    kind: EntryKind
    task: str = ""
    hours: float | None = None  # lost, or left
    cause: str = ""
    who: str = ""
    text: str = ""
    reading: Reading | None = None
    fact: Fact | None = None
    payload: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class AskedCover:
    """A cover that an answer asked for over a task's work, as it was told."""

    told_at: datetime  # UTC
    task: str  # its id; tonight's list has its name
    call: str
    measure: str
    start: datetime | None  # UTC; None: from the end of the work
    end: datetime


@dataclass(frozen=True, slots=True)
class ToldFrozen:
    """Finished work of which an answer said that it froze."""

    told_at: datetime  # UTC
    task: str


@dataclass(frozen=True, slots=True)
class Progress:
    """The log up to a moment, undone entries taken out, in order of time."""

    entries: tuple[Entry, ...] = ()
    asked: tuple[AskedCover, ...] = ()  # by the answers that were kept, oldest first
    frozen: tuple[ToldFrozen, ...] = ()  # likewise

    @property
    def readings(self) -> tuple[Reading, ...]:
        """Return the readings, oldest first."""
        return tuple(e.reading for e in self.entries if e.reading is not None)

    @property
    def facts(self) -> tuple[Fact, ...]:
        """Return the facts, oldest first; a later one of the same element and place wins."""
        return tuple(e.fact for e in self.entries if e.fact is not None)


def release_of(entries: Iterable[Entry], task: str, roles: Iterable[str]) -> Entry | None:
    """Return the newest release of a task by name and by one of the roles; None without any."""
    wanted = set(roles)
    return next(
        (
            entry
            for entry in reversed([*entries])
            if entry.kind is EntryKind.RELEASE
            and entry.task == task
            and entry.payload.get("role") in wanted
            and entry.who
        ),
        None,
    )
