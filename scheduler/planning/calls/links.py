"""When a task may begin by its links: what comes before it, in order and by the book's orders.

Predecessors that are not done are taken to end as their own answer has it: by its window, else by
the next one. One that nobody can date dates nothing after it. Strength gates are the plan's
business; here only their least wait counts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta

from rules.book import Book
from scheduler.planning.evidence.ages import finished, started
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.shifts import finish_of, first_working
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import LimitLine, Outcome
from scheduler.planning.model.job import Link, LinkKind, Task
from scheduler.planning.rulings.conditions import by_hour
from scheduler.planning.rulings.ruling import Ruling, graded


def earliest_start(known: Known, task: Task) -> tuple[datetime, str]:
    """Return the earliest start that links and dates allow, and what sets it.

    Never before now; the second is empty where nothing but now does.
    """
    if task.id in known.begins:
        return known.begins[task.id]
    found = [(known.now, "")]
    if task.not_before is not None:
        found.append((task.not_before, "not before"))
    if task.id in known.earliest:
        found.append((known.earliest[task.id], "the plan"))
    found += [(_after(known, link), f"after {link.task}") for link in task.after]
    known.begins[task.id] = max(found, key=lambda pair: pair[0])
    return known.begins[task.id]


def _after(known: Known, link: Link) -> datetime:
    before = known.job.task(link.task)
    wait = timedelta(hours=link.least_wait_h)
    if link.kind is LinkKind.START_START:
        return (started(known, before) or _begin(known, before)) + wait
    return (finished(known, before) or _end(known, before)) + wait


def _begin(known: Known, task: Task) -> datetime:
    told = task.booked or task.offered
    if told is not None:
        return told
    begin, _ = earliest_start(known, task)
    return first_working(known, task, begin) or begin


def _end(known: Known, task: Task) -> datetime:
    if task.until is not None and task.until > known.now:
        return task.until
    begin = max(_begin(known, task), known.possible.get(task.id) or known.now)
    return max(finish_of(known, task, begin), known.now)


def undated(known: Known, task: Task) -> str:
    """Return the open work before a task of which nobody can say when it may go; "" without."""
    for link in task.after:
        if finished(known, known.job.task(link.task)) is None:
            own = link.task in known.possible and known.possible[link.task] is None
            if found := link.task if own else undated(known, known.job.task(link.task)):
                return found
    return ""


def too_early(trial: Trial) -> Iterable[Ruling]:
    """Refuse a start that comes before what the task waits for, or that nobody can date."""
    earliest, why = earliest_start(trial.known, trial.task)
    if why and trial.start < earliest:
        yield refused("job", why, earliest)
    if before := undated(trial.known, trial.task):
        made = refused("job", f"after {before}: nobody can say when it may go", None)
        limit = None if made.limit is None else graded(made.limit, Outcome.NOT_KNOWN)
        yield replace(made, outcome=Outcome.NOT_KNOWN, limit=limit)


def out_of_order(trial: Trial, book: Book) -> Iterable[Ruling]:
    """Refuse work that the book puts after work of this job that is still to come."""
    known, work = trial.known, trial.task.work_type
    for order in book.orders:
        if order.after != work or not _binds(trial, order.when, order.unless):
            continue
        for other in known.job.tasks:
            if other.work_type != order.before or finished(known, other) is not None:
                continue
            begins = other.booked or known.possible.get(other.id)
            end = other.until or (begins and finish_of(known, other, begins))
            if end is None or trial.start < end:
                yield refused(order.id, f"after {other.id}", end, order.source)


def _binds(trial: Trial, when: object, unless: object) -> bool:
    held = by_hour(when, trial, trial.span, met=True)  # type: ignore[arg-type]
    lifted = by_hour(unless, trial, trial.span, met=False) if unless else False  # type: ignore[arg-type]
    return held is not False and lifted is not True


def refused(rule: str, what: str, at: datetime | None, source: str = "") -> Ruling:
    """Return a refusal until something has come."""
    limit = LimitLine(
        rule=rule, quantity=what, taken_as="first_time", value=None, unit="time",
        outcome=Outcome.NO_GO, at=at, source=source or rule,
    )  # fmt: skip
    return Ruling(rule, Outcome.NO_GO, limit, clears_at=at)
