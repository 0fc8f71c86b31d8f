"""Write down what happened, then replan at once and say what moved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from rules.errors import LogMoved, LogRefused, WeatherUnavailable
from scheduler.planning.model.job import Job
from scheduler.planning.model.job_book import job_book
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.planning.model.progress import progress_until
from scheduler.planning.plan.plan_before import starts_of, starts_told
from scheduler.planning.plan.planned import Planned
from scheduler.planning.strength.fresh_work import CONCRETE
from scheduler.planning.strength.measured import ProbeTrace, log_entries
from scheduler.runs.desk import Desk, Gathered, gather, keep, plan_told
from scheduler.runs.plan import planned_of, with_climate

TRIES = 5  # how often another writer may come between reading the log and writing it


@dataclass(frozen=True, slots=True)
class Logged:
    """What was written, and the plan before and after it."""

    entries: tuple[Entry, ...]
    before: Planned | None
    after: Planned | None
    why_not: str = ""  # why there is no new plan
    gathered: Gathered | None = None  # what the new plan was made from


def log(
    desk: Desk,
    given: bytes | Sequence[Mapping[str, object]],
    *,
    replan: bool,
    before: Planned | None = None,
) -> Logged:
    """Take the entries, all or none, and plan with and without them on the same weather.

    ``before`` is the plan without them, where the caller has just made it.

    Raises
    ------
    Faults
        If an entry cannot be taken; nothing is written then.
    StoreFault
        If the store cannot be used.
    """
    entries = _append(desk, given)
    if not replan:
        return Logged(entries, None, None)
    try:
        gathered = gather(desk, command="log")
    except WeatherUnavailable as error:  # what was logged stays logged
        return Logged(entries, None, None, why_not=str(error))
    gathered, climate = with_climate(desk, gathered)
    book = job_book(desk.job)
    if before is None:
        first = min(entry.seq for entry in entries)
        earlier = tuple(e for e in desk.store.entries(desk.job.id) if e.seq < first)
        without = progress_until(earlier, desk.now)
        before = planned_of(desk, gathered.having(without), climate, book, compared=True)
    told = as_it_was(desk, entries) or starts_of(before.answer)
    after = planned_of(desk, gathered.after(told), climate, book)
    keep(desk, gathered)
    return Logged(entries, before, after, gathered=gathered)


def as_it_was(desk: Desk, entries: Sequence[Entry]) -> dict[str, datetime]:
    """Return the starts told before an entry that is undone now; {} where nothing is undone."""
    undone = [int(str(e.payload["seq"])) for e in entries if e.kind is EntryKind.UNDO]
    last = plan_told(desk, before=min(undone)) if undone else None
    return {} if last is None else starts_told(last.answer)


def _append(desk: Desk, given: bytes | Sequence[Mapping[str, object]]) -> tuple[Entry, ...]:
    for _ in range(TRIES - 1):
        try:
            return _append_once(desk, given)
        except LogMoved:  # somebody else wrote meanwhile: check against the longer log
            continue
    return _append_once(desk, given)


def _append_once(desk: Desk, given: bytes | Sequence[Mapping[str, object]]) -> tuple[Entry, ...]:
    so_far = desk.store.entries(desk.job.id)
    entries = desk.take(given, so_far)
    last = so_far[-1].seq if so_far else 0
    return desk.store.append(desk.job.id, entries, entered_at=desk.now, after=last)


def entries_given(
    told: Iterable[tuple[str, object]], details: Mapping[str, object], from_file: bool
) -> list[dict[str, object]]:
    """Return the entries that options of a command say, one for each thing told.

    Raises
    ------
    LogRefused
        If nothing is told, or both options and a file.
    """
    shared = {key: details[key] for key in ("who", "when") if details[key] is not None}
    entries: list[dict[str, object]] = []
    for kind, value in told:
        own = KINDS[kind](value, details)
        entries.append({**{k: v for k, v in own.items() if v is not None}, **shared})
    if bool(entries) == from_file:
        want = "give either --entries FILE or what happened" if entries else "say what happened"
        raise LogRefused(f"log: {want}; closein log --help lists the options")
    return entries


def logger_given(
    job: Job, trace: ProbeTrace, *, task: str | None, place: str | None
) -> list[dict[str, object]]:
    """Return a logger's hours as entries, the coldest probe's, for the work it was read in.

    Raises
    ------
    LogRefused
        If no task of the job is named.
    """
    tasks = {one.id: one for one in job.tasks}
    if task not in tasks:
        raise LogRefused(
            f"--temps needs --task: the work it was read in, one of {', '.join(tasks)}"
        )
    own = tasks[task]
    quantity = "concrete_temperature" if own.work_type in CONCRETE else "masonry_temperature"
    return log_entries(trace, quantity=quantity, place=place or own.place)


Details = Mapping[str, object]


def _parts(value: object) -> tuple[object, ...]:
    return value if isinstance(value, tuple) else (value,)


def _hours_left(value: object, _: Details) -> dict[str, object]:
    task, hours = _parts(value)
    return {"kind": "progress", "task": task, "hours_left": _number(hours)}


def _lost(value: object, details: Details) -> dict[str, object]:
    own = {"kind": "lost", "hours": value, "cause": details["cause"], "task": details["task"]}
    return {key: told for key, told in own.items() if told is not None}


def _reading(value: object, details: Details) -> dict[str, object]:
    quantity, read, unit = _parts(value)
    number = _number(read)
    own = {"kind": "reading", "quantity": quantity, "value": number, "unit": unit}
    return {**own, "place": details["place"]}


def _fact(value: object, details: Details) -> dict[str, object]:
    element, condition, said = _parts(value)
    own = {"kind": "fact", "element": element, "condition": condition, "value": _number(said)}
    return {**own, "unit": details["unit"], "place": details["place"]}


def _release(value: object, details: Details) -> dict[str, object]:
    task, role = _parts(value)
    return {"kind": "release", "task": task, "role": role, "row": details["row"]}


def _number(text: object) -> object:
    """Return a number or yes/no that was typed as one, other words as they are."""
    if str(text).lower() in {"yes", "true"}:
        return True
    if str(text).lower() in {"no", "false"}:
        return False
    try:
        return float(str(text))
    except ValueError:
        return text


KINDS: Final[Mapping[str, Callable[[object, Details], dict[str, object]]]] = {
    "started": lambda value, _: {"kind": "started", "task": value},
    "finished": lambda value, _: {"kind": "finished", "task": value},
    "hours_left": _hours_left,
    "lost": _lost,
    "reading": _reading,
    "fact": _fact,
    "release": _release,
    "note": lambda value, details: {"kind": "note", "text": value, "task": details["task"]},
    "undo": lambda value, _: {"kind": "undo", "seq": value},
}
