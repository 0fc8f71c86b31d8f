"""The one maker of facts: sizes of the job file, statements and readings of the log.

What is known of a task, under the names that rows of the rule book use, is ``TaskFacts``; plan and
calls both read it. Weather read on site goes into the hourly table instead: ``read_weather``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import IntEnum
from typing import Final

from rules.book import measures
from rules.facts import ALSO_SAID, Asked, Since, Stated, Value, same_word
from rules.kinds import Form, kind_of
from scheduler.planning.evidence.ages import AGES, COURSES, since
from scheduler.planning.evidence.places import concerns, spot
from scheduler.planning.evidence.releases import holders, lifted_at, rows_released
from scheduler.planning.model.deliveries import asked_dry_h, papers_of
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import Job, State, Task
from scheduler.planning.model.log import Entry, Progress
from scheduler.planning.model.standing import Standing

# Endings of a task's element, as the job file is read: house units.
SIZES: Final = {"_m": "m", "_mpa": "MPa", "_c": "degC"}
SHARES: Final = frozenset({"slag_share"})
OF_TASK: Final = ("id", "load", "beside", "place", "label")
# One thing that may be read under one name and stated under another.
GROUTS: Final = frozenset({"place_grout", "fill_top_course"})
SAME: Final = (
    ("wall_height", "wall.height"),
    ("unbalanced_fill", "backfill.unbalanced_height"),
    ("grout_pour_height", "wall.pour_height"),
    ("surface_dry", "surface.dry"),
    ("grout_strength", "grout.strength"),
    ("section_thickness", "footing.section_thickness"),
)
# What a task's element calls a quantity; the first that is given counts. A pour is never lower
# than its lifts.
IN_ELEMENT: Final = {
    "grout_pour_height": ("pour_height", "lift_height"),
    "lift_height": ("lift_height",),
    "cut_depth": ("depth",),
    "concrete_temperature_as_placed": ("placed",),
    "concrete_temperature_as_mixed": ("mix",),
}
# What does not pass with the hours: it is over when it was read better.
LASTING: Final = frozenset({"crib_settlement", "wood_moisture"})
# What has happened, and the look that lets a later word count: for work that a row holds for it,
# it is over when who holds it has released it or looked, however well it was read since.
HAPPENED: Final = {"crib_settlement": "", "trench.slumped": "trench.inspected"}
SPECIFIED: Final = frozenset({"strength"})  # an element's is what is asked for, not what is there
CONCRETE: Final = frozenset({"place_footing", "place_slab", "finish_slab", "protect_concrete"})
# Work whose element is the wall: what its keys say holds for the others' wall too.
WALLS: Final = frozenset({
    "lay_block", "place_grout", "fill_top_course", "infill_pockets", "protect_masonry",
})  # fmt: skip
AGAIN: Final = timedelta(hours=1)  # two readings of one spot within it are looked at together
HOUR: Final = timedelta(hours=1)


class By(IntEnum):
    """Who says so, the least trusted first."""

    COMPUTED = 0
    JOB_FILE = 1
    LOGGED = 2
    READING = 3


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that is known of the job."""

    name: str  # as rows call it: wall.height, unit_core_temperature; task.height of a job file
    value: bool | str | float
    unit: str
    at: datetime | None  # UTC; since when, None: as long as the job file stands
    place: str
    by: By
    task: str = ""  # whose element it is
    stays: bool = False  # a bad one stays until it is told or read otherwise


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything known of a job at a moment, by name, oldest first."""

    job: Job
    now: datetime
    entries: tuple[Entry, ...]
    standing: Mapping[str, Standing]
    named: Mapping[str, Sequence[Fact]]

    def of(self, task: Task, zero: datetime) -> TaskFacts:
        """Return what is known of a task, its hours counted from ``zero``."""
        return TaskFacts(self, task, zero)


def evidence(
    job: Job, entries: Iterable[Entry], standing: Mapping[str, Standing], now: datetime
) -> Evidence:
    """Return everything known of a job at ``now``; what was so only later is left out."""
    told = tuple(entry for entry in entries if entry.at <= now)
    named: dict[str, list[Fact]] = {}
    for fact in (*_of_file(job), *_of_log(told)):
        if fact.at is None or fact.at <= now:
            named.setdefault(fact.name, []).append(fact)
    for facts in named.values():
        facts.sort(key=lambda f: (f.at is not None, f.at or now, f.by))
    return Evidence(job, now, told, standing, named)


def asked_of(frame: Frame, task: Task) -> Asked:
    """Return what the book is asked of a task: what is known of it, and measures to be had."""
    now = frame.hour_zero + frame.now * HOUR
    known = evidence(frame.job, frame.progress.entries, frame.standing, now)
    return asked_with(known, task, frame.hour_zero)


def asked_with(known: Evidence, task: Task, zero: datetime) -> Asked:
    """Return the same of what is already put together."""
    fetched = {name for name, measure in measures().items() if measure.kind == "store"}
    offered = {offer.measure for offer in known.job.can_be_had}
    had = frozenset(known.job.on_hand) | offered | fetched
    looks = [
        fact.at
        for fact in newest(known.named.get("trench.inspected", ()))
        if fact.value is True and fact.at is not None
    ]
    facts = known.of(task, zero)
    released = rows_released(known.job, task, known.entries, facts)
    return Asked(
        task.work_type,
        facts,
        had,
        int((known.now - zero) // HOUR),
        looked=int((max(looks) - zero) // HOUR) if looks else None,
        dry_h=asked_dry_h(papers_of(known.job, task)),
        released={row: (at - zero) / HOUR for row, at in released.items()},
    )


def asked_without_log(job: Job, task: Task, zero: datetime) -> Asked:
    """Return what the job file alone says of a task."""
    return asked_with(evidence(job, Progress().entries, {}, zero), task, zero)


# the maker


def _of_file(job: Job) -> Iterator[Fact]:
    for task in job.tasks:
        given = dict(_sizes(task.element))
        if task.work_type in CONCRETE and "section" not in given and "thickness" in given:
            given["section"] = given["thickness"]
        for stem, (value, unit) in given.items():
            yield Fact(f"task.{stem}", value, unit, None, task.place, By.JOB_FILE, task.id)


def _sizes(element: Mapping[str, object]) -> Iterator[tuple[str, tuple[bool | str | float, str]]]:
    for key, value in element.items():
        if isinstance(value, bool | str):
            yield key, (value, "")
        elif isinstance(value, int | float):
            ending = next((e for e in SIZES if key.endswith(e)), "")
            unit = SIZES.get(ending, "1" if key in SHARES else "")
            yield key.removesuffix(ending), (float(value), unit)


def _of_log(entries: Iterable[Entry]) -> Iterator[Fact]:
    for entry in entries:
        read, said = entry.reading, entry.fact
        if read is not None:
            at = read.at or read.end or entry.at
            value = bool(read.value) if read.unit == "yes_no" else read.value
            stays = read.quantity in LASTING
            yield Fact(read.quantity, value, read.unit, at, read.place, By.READING, stays=stays)
        if said is not None and said.value is not None:
            plain = isinstance(said.value, bool | str | int | float)
            yield Fact(
                name=f"{said.element}.{said.condition}",
                value=said.value if plain else str(said.value),  # type: ignore[arg-type]
                unit=said.unit,
                at=said.at or entry.at,
                place=said.place,
                by=By.LOGGED,
                stays=said.at is None,
            )


# what counts


def newest(facts: Iterable[Fact]) -> list[Fact]:
    """Return the newest of each spot, the oldest first.

    A reading within the hour before the newest one of its spot stays beside it: where the two
    differ over a limit the worse counts, until somebody has read again.
    """
    kept: dict[frozenset[str], list[Fact]] = {}
    for fact in facts:
        before = kept.get(spot(fact.place), [])[-1:]
        close = [
            b for b in before
            if b.by is By.READING and fact.by is By.READING and _gap(b, fact) <= AGAIN
        ]  # fmt: skip
        kept[spot(fact.place)] = [*close, fact]
    return [fact for facts_ in kept.values() for fact in facts_]


def _gap(one: Fact, other: Fact) -> timedelta:
    return timedelta.max if one.at is None or other.at is None else abs(other.at - one.at)


class TaskFacts(Mapping[str, tuple[Stated, ...]]):
    """What is known of one task, by the names of rows; what nobody said is absent.

    Of the log the newest of each place that concerns the task, and where that leaves a place
    unsaid, or there is none, what the job file says: of the task's own element, else of the work
    that builds its wall.
    """

    def __init__(self, known: Evidence, task: Task, zero: datetime) -> None:
        self._known, self._task, self._zero = known, task, zero
        self._elsewhere = {t.place for t in known.job.tasks if t.place and t.place != task.place}
        self._found: dict[str, tuple[Stated, ...]] = {}

    def __getitem__(self, name: str) -> tuple[Stated, ...]:
        if name not in self._found:
            self._found[name] = tuple(self._look_up(name))
        if not self._found[name]:
            raise KeyError(name)
        return self._found[name]

    def __iter__(self) -> Iterator[str]:
        own = [f"task.{key}" for key in OF_TASK]
        names = [n for n, facts in self._known.named.items() if self._mine(n, facts)]
        return iter([n for n in dict.fromkeys((*own, "task.grouted", *names)) if n in self])

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def facts(self, name: str) -> list[Fact]:
        """Return the facts themselves that count under a name."""
        names = next((pair for pair in SAME if name in pair), (name,))
        told = [f for n in names for f in self._known.named.get(n, ()) if self._concerns(f)]
        in_turn = sorted(told, key=lambda f: (f.at or self._known.now, f.by))
        logged = self._standing(name, in_turn) if name in HAPPENED else newest(in_turn)
        whole = any(self._task.place or not f.place for f in logged)
        return logged if whole else [*logged, *self._of_files(names)]

    def _standing(self, name: str, facts: Sequence[Fact]) -> list[Fact]:
        """Return the newest of what has happened, and what nobody has released or looked at."""
        known = self._known
        lifted = lifted_at(known.job, known.entries, name)
        looks = [f.at for f in known.named.get(HAPPENED[name], ()) if f.value is True and f.at]
        since = [f for f in facts if f.at is None or lifted is None or f.at > lifted]
        found = newest(since)
        if not holders(known.job, self._task, name):
            return found
        open_ = (f for f in since if f.at is None or not looks or f.at > max(looks))
        return [*found, *(f for f in open_ if f not in found)]

    def _look_up(self, name: str) -> Iterable[Stated]:
        element, _, key = name.partition(".")
        if element == "task":
            return self._of_task(key)
        if name in AGES:
            return self._age(name)
        return [self._stated(fact) for fact in self.facts(name)]

    def _concerns(self, fact: Fact) -> bool:
        return concerns(fact.place, self._task.place, self._elsewhere)

    def _mine(self, name: str, facts: Iterable[Fact]) -> bool:
        return not name.startswith("task.") or any(f.task == self._task.id for f in facts)

    def _stated(self, fact: Fact) -> Stated:
        word = isinstance(fact.value, bool | str)
        value: Value = fact.value if word else (float(fact.value), fact.unit)  # type: ignore[assignment]
        at = None if fact.at is None else (fact.at - self._zero) / HOUR
        return Stated(value, at, fact.place, fact.stays)

    def _of_task(self, key: str) -> list[Stated]:
        if key == "grouted":
            told = self._grouted()
            return [] if told is None else [Stated(told)]
        own = getattr(self._task, key) if key in OF_TASK else ""
        if own:
            return [Stated(own)]
        return [self._stated(fact) for fact in self._own((key,))]

    def _own(self, stems: Iterable[str]) -> list[Fact]:
        for stem in stems:
            for fact in self._known.named.get(f"task.{stem}", ()):
                if fact.task == self._task.id:
                    return [fact]
        return []

    def _of_files(self, names: Sequence[str]) -> list[Fact]:
        stems = tuple(dict.fromkeys(stem for name in names for stem in _stems(name)))
        own = self._own(stems)
        if own or not any(name.startswith("wall.") for name in names):
            return own
        walls = {t.id for t in self._known.job.tasks if t.work_type in WALLS}
        return [
            fact
            for stem in stems
            for fact in self._known.named.get(f"task.{stem}", ())
            if fact.task in walls and self._concerns(fact)
        ]

    def _grouted(self) -> bool | None:
        """Tell whether the masonry is grouted: any grouted part makes the stricter rule hold.

        Work that fills cells leaves a grouted wall, whatever was said of it before.
        """
        if self._task.work_type in GROUTS:
            return True
        parts = [self.facts(f"{part}.grouted") for part in COURSES]
        own = self._own(("grouted",))
        if any(f.by >= By.LOGGED and same_word(f.value, True) for part in parts for f in part):  # type: ignore[arg-type]
            return True
        if own:
            return bool(own[0].value)
        if self._task.work_type == "infill_pockets":  # what was said of the wall is no word on it
            return None
        wall = [f for f in self.facts("wall.grouted") if f.by >= By.LOGGED]
        return any(same_word(f.value, True) for f in wall) if wall else None  # type: ignore[arg-type]

    def _age(self, name: str) -> list[Stated]:
        """Return an age; the work a task does itself is as young as can be."""
        own = kind_of(self._task.work_type).form is Form.WORK
        done = self._known.standing.get(self._task.id, Standing(self._task.state)).state
        if own and self._task.work_type in AGES[name][1] and done is not State.DONE:
            return [Stated((0.0, "h"))]
        begun = since(self._known, name, self._task)
        return [] if begun is None else [Stated(Since((begun - self._zero) / HOUR))]


def _stems(name: str) -> tuple[str, ...]:
    element, dot, key = name.partition(".")
    if not dot:
        return IN_ELEMENT.get(element, ())
    return () if key in SPECIFIED else (key, *ALSO_SAID.get(key, ()))
