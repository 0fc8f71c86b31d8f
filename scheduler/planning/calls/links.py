"""When a task may begin by its links: what comes before it, in order and by the book's orders.

Predecessors that are not done are taken to end as their own answer has it; where that knows of no
start, not within the hours that are forecast. Strength gates are rulings of their own; here only
their least wait counts.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from rules.book import Book
from scheduler.planning.evidence.ages import finished, started
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.shifts import finish_of, first_working
from scheduler.planning.evidence.times import forecast_end
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import LimitLine, OrderLine, Outcome
from scheduler.planning.model.job import Link, LinkKind, Task
from scheduler.planning.rulings.conditions import by_hour
from scheduler.planning.rulings.ruling import Ruling


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


def open_waits(known: Known, task: Task) -> tuple[str, ...]:
    """Return every wait after finished or started work that is still open, in words."""
    found = []
    for link in task.after:
        before = known.job.task(link.task)
        happened = started if link.kind is LinkKind.START_START else finished
        since = happened(known, before)
        if since is not None and since + timedelta(hours=link.least_wait_h) > known.now:
            found.append(f"{link.least_wait_h:g} h after {before.name}")
    return tuple(found)


def _begin(known: Known, task: Task) -> datetime:
    if task.id in known.decided:
        span = known.decided[task.id]
        return _unknown(known) if span is None else span.start
    told = task.booked or task.offered
    if told is not None:
        return told
    begin, _ = earliest_start(known, task)
    return first_working(known, task, begin) or begin


def _unknown(known: Known) -> datetime:
    """Return the earliest moment of which nothing is known: the end of the forecast."""
    return max(forecast_end(known) or known.now, known.now)


def _end(known: Known, task: Task) -> datetime:
    if task.id in known.decided:
        span = known.decided[task.id]
        return _unknown(known) if span is None else span.end
    if task.until is not None and task.until > known.now:
        return task.until
    return max(finish_of(known, task, _begin(known, task)), known.now)


def too_early(trial: Trial) -> Iterable[Ruling]:
    """Refuse a start that comes before what the task waits for."""
    earliest, why = earliest_start(trial.known, trial.task)
    if why and trial.start < earliest:
        yield refused("job", why, earliest)


def out_of_order(trial: Trial, book: Book) -> Iterable[Ruling]:
    """Refuse work that the book puts after work of this job that is still to come."""
    known, work = trial.known, trial.task.work_type
    for order in book.orders:
        if order.after != work or not _binds(trial, order.when, order.unless):
            continue
        for other in known.job.tasks:
            if other.work_type != order.before or finished(known, other) is not None:
                continue
            end = other.until or (other.booked and finish_of(known, other, other.booked))
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


def orders_of(trial: Trial, book: Book) -> tuple[OrderLine, ...]:
    """Return the order rows that bind a task's kind of work now."""
    work = trial.task.work_type
    found = []
    for order in book.orders:
        if work not in {order.before, order.after}:
            continue
        if by_hour(order.when, trial, trial.span, met=True) is False:
            continue
        if order.unless and by_hour(order.unless, trial, trial.span, met=False) is True:
            continue
        found.append(OrderLine(order.before, order.after))
    return tuple(found)
