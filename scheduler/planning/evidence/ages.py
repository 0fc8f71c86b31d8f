"""How old the work is: when masonry, grout or concrete was last placed, and when tasks ended."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime, time
from typing import Final, Protocol
from zoneinfo import ZoneInfo

from scheduler.planning.evidence.places import concerns
from scheduler.planning.model.job import Job, State, Task
from scheduler.planning.model.log import Entry, EntryKind, Fact
from scheduler.planning.model.standing import Standing

COURSES: Final = ("lower_courses", "upper_courses", "first_lift", "top_course", "bond_beam")
MASONRY: Final = ("wall", *COURSES)
CONCRETE: Final = ("footing", "slab")
# Which facts and which finished kinds of work an age counts from; the latest of them governs.
AGES: Final[dict[str, tuple[tuple[tuple[str, str], ...], tuple[str, ...]]]] = {
    "age_of_masonry": (
        tuple((element, "completed") for element in MASONRY),
        ("lay_block", "fill_top_course", "infill_pockets"),
    ),
    "age_of_grout": (
        (*((element, "grouted") for element in MASONRY), ("grout", "completed")),
        ("place_grout",),
    ),
    # Since the wall was last built: whatever of it was laid or grouted last.
    "age_of_wall": (
        (
            *((element, "completed") for element in MASONRY),
            *((element, "grouted") for element in MASONRY),
            ("grout", "completed"),
        ),
        ("lay_block", "fill_top_course", "infill_pockets", "place_grout"),
    ),
    "age_of_concrete": (
        tuple((element, "completed") for element in CONCRETE),
        ("place_footing", "place_slab", "finish_slab", "protect_concrete"),
    ),
}


class Log(Protocol):
    """A job and what was told of it until a moment."""

    @property
    def job(self) -> Job:
        """Return the job."""

    @property
    def now(self) -> datetime:
        """Return the moment, UTC."""

    @property
    def entries(self) -> tuple[Entry, ...]:
        """Return the log's entries, oldest first."""

    @property
    def standing(self) -> Mapping[str, Standing]:
        """Return how far each task is."""


def since(known: Log, quantity: str, task: Task) -> datetime | None:
    """Return the moment an age counts from; None where nobody said.

    The element beside which the task works goes first, then the latest of all: the youngest part
    governs.
    """
    facts, kinds = AGES[quantity]
    if task.beside:
        beside = [pair for pair in facts if pair[0] == task.beside]
        own = list(_fact_moments(known, beside, task))
        if own:
            return max(own)
    found = [*_fact_moments(known, facts, task), *_task_moments(known, kinds, task)]
    return max(found, default=None)


def _fact_moments(known: Log, pairs: Iterable[tuple[str, str]], task: Task) -> Iterator[datetime]:
    newest: dict[tuple[str, str, str], Fact] = {}
    wanted = frozenset(pairs)
    for entry in known.entries:
        fact = entry.fact
        if fact is not None and (fact.element, fact.condition) in wanted:
            newest[(fact.element, fact.condition, fact.place)] = fact
    for fact in newest.values():
        moment = fact_moment(known, fact)
        if moment is not None and moment <= known.now and concerns(fact.place, task.place):
            yield moment


def _task_moments(known: Log, kinds: tuple[str, ...], task: Task) -> Iterator[datetime]:
    for other in known.job.tasks:
        if other.work_type not in kinds or not near(other, task):
            continue
        standing = known.standing.get(other.id)
        ended = finished(known, other) if standing is None else standing.finished
        if ended is not None and ended <= known.now:
            yield ended
    # A grouted wall that is being protected tells by its own end when it was grouted.
    if task.work_type == "protect_masonry":
        own = finished(known, task)
        if own is not None and bool(task.element.get("grouted")) is ("place_grout" in kinds):
            yield own


def kinds_of(quantity: str) -> tuple[str, ...]:
    """Return the kinds of work that an age counts from."""
    return AGES[quantity][1]


def near(other: Task, task: Task) -> bool:
    """Tell whether two tasks are at one place, or one of them names none."""
    return concerns(other.place, task.place)


def ancestors(job: Job, task: Task) -> frozenset[str]:
    """Return the tasks that one waits for, along every way."""
    tasks = {other.id: other for other in job.tasks}
    found: set[str] = set()
    left = [link.task for link in task.after]
    while left:
        name = left.pop()
        if name in tasks and name not in found:
            found.add(name)
            left += [link.task for link in tasks[name].after]
    return frozenset(found)


def fact_moment(known: Log, fact: Fact) -> datetime | None:
    """Return since when a fact is true; None where it is not, or nobody said since when."""
    if fact.value is False or fact.value is None:
        return None
    return as_moment(known, fact.value) or fact.at


def as_moment(known: Log, value: object) -> datetime | None:
    """Return a value that is a moment or a local day as a moment, else None."""
    if isinstance(value, datetime):
        return value
    if isinstance(value, date):
        return datetime.combine(value, time(0), tzinfo=_zone(known))
    if not isinstance(value, str):
        return None
    try:
        found = datetime.fromisoformat(value)
    except ValueError:
        return None
    return found if found.tzinfo is not None else found.replace(tzinfo=_zone(known))


def _zone(known: Log) -> ZoneInfo:
    return ZoneInfo(known.job.site.time_zone)


def logged(known: Log, kind: EntryKind) -> list[Entry]:
    """Return the entries of one kind, oldest first."""
    return [e for e in known.entries if e.kind is kind]


def finished(known: Log, task: Task) -> datetime | None:
    """Return when a task ended: the log's word, else the job file's."""
    told = [e for e in logged(known, EntryKind.FINISHED) if e.task == task.id]
    if told:
        return told[-1].at
    if task.finished_at is not None and task.finished_at <= known.now:
        return task.finished_at
    return None


def started(known: Log, task: Task) -> datetime | None:
    """Return when a task began: the log's word, else the job file's."""
    told = [e for e in logged(known, EntryKind.STARTED) if e.task == task.id]
    if told:
        return told[0].at
    if task.started_at is not None and task.started_at <= known.now:
        return task.started_at
    return None


def is_done(known: Log, task: Task) -> bool:
    """Tell whether a task is over; the log wins over the job file's state."""
    return finished(known, task) is not None or task.state is State.DONE
