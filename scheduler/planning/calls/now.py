"""What can be done now: a call speaks of the shift that is running or next to begin.

A start that lies beyond it is no go yet, whatever the weather there. The answer then says what
keeps the work from the coming shift, and from when on nothing does. A task whose predecessor is
not done is not called go however fine the day; the verdict of its hours is still told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from rules.book import Book
from rules.book_rows import Row
from rules.kinds import Form, kind_of
from scheduler.planning.calls.judging import judge
from scheduler.planning.calls.links import earliest_start, open_waits
from scheduler.planning.evidence.known import Known
from scheduler.planning.evidence.shifts import days_of, piece_end, shift_span, starts_on
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import UNTIL, Call, Outcome, Span, TaskAnswer, TellLine
from scheduler.planning.model.job import Job, Link, LinkKind, State, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.model.standing import Standing, standings
from scheduler.planning.rulings.ruling import Chosen

BEGUN = frozenset({Form.WORK, Form.REMOVAL})  # kinds of work that somebody starts
LOOKED_AHEAD = 30  # days in which the next shift is looked for


def coming_shift(known: Known, task: Task) -> Span | None:
    """Return the shift that is running, where the task can still begin in it, else the next."""
    for day in days_of(known, known.now, LOOKED_AHEAD):
        if starts_on(known, task, day):
            return shift_span(known, task, day)
    return None


def is_later(known: Known, task: Task, start: datetime) -> bool:
    """Tell whether a start lies beyond the shift that is running or next to begin.

    Whoever is booked outside the shifts comes when booked: within the coming day that is now.
    """
    shift = coming_shift(known, task)
    if start <= known.now:
        return False
    return shift is None or start >= shift.end


def as_of_now(known: Known, task: Task, rows: Sequence[Row], book: Book, chosen: Chosen) -> Chosen:
    """Return the choice seen from the coming shift, where its good start lies beyond that.

    Of work that nobody booked the coming shift itself is judged, so that the answer says why not
    now; the good start becomes the next one.
    """
    judged = chosen.judged
    if judged.refusals or kind_of(task.work_type).form not in BEGUN:
        return chosen
    if not is_later(known, task, judged.trial.start):
        return chosen
    then = replace(chosen, later=judged, next_start=judged.trial.start)
    start = None if chosen.options or has_own_time(task) else _first_now(known, task)
    if start is None:
        return then
    here = judge(Trial(known, task, Span(start, piece_end(known, task, start))), rows, book)
    return replace(then, judged=here) if here.refusals else then


def has_own_time(task: Task) -> bool:
    """Tell whether somebody booked, offered or asked for hours of the task."""
    return bool(task.booked or task.offered or task.slots or task.days or task.appointment)


def _first_now(known: Known, task: Task) -> datetime | None:
    """Return the first start of the coming shift that links and dates allow; None without any."""
    begin, _ = earliest_start(known, task)
    shift = coming_shift(known, task)
    if shift is None:
        return None
    here = starts_on(known, task, known.local_day(shift.start))
    return next((start for start in here if start >= begin), None)


def called_now(known: Known, task: Task, chosen: Chosen, call: Call) -> Call:
    """Return the call as of now: what would go later waits; people in it are stopped."""
    if chosen.later is None:
        return call
    standing = known.standing.get(task.id)
    under_way = standing is not None and standing.state is State.UNDER_WAY
    return call if under_way and call is Call.STOP else Call.WAIT


def why_later(known: Known, task: Task, answer: TaskAnswer) -> str:
    """Return until when a task waits and why, in one line; "" where it does not."""
    following = answer.next_window
    if answer.call is not Call.WAIT or following is None:
        return answer.reason
    until = f"until {following.start.astimezone(known.zone):%a %-d %b %H:%M}"
    if answer.reason != Call.WAIT.value:
        return f"{until}{UNTIL}{answer.reason}"
    waits = ", ".join(open_waits(known, task))
    _, why = earliest_start(known, task)
    own = "as booked" if has_own_time(task) else ""
    return f"{until}{UNTIL}{own or waits or why or 'the next shift that fits'}"


# whose turn it is

STARTS_WORK = frozenset({Call.GO, Call.GO_WITH_PROTECTION, Call.PREPARE, Call.WAIT})


def in_turn(
    job: Job, progress: Progress, answers: tuple[TaskAnswer, ...], now: datetime
) -> tuple[TaskAnswer, ...]:
    """Return the answers with those that must wait for other tasks called wait."""
    standing = standings(job, progress, now=now)
    return tuple(_one(job, standing, answer, now) for answer in answers)


def _one(
    job: Job, standing: Mapping[str, Standing], answer: TaskAnswer, now: datetime
) -> TaskAnswer:
    task = job.task(answer.task)
    if standing[task.id].state is not State.TO_DO or answer.call not in STARTS_WORK:
        return answer
    missed = _missed(job, task, now)
    if missed is not None:
        return _to_be_agreed_again(job, task, answer, missed, now)
    if has_own_time(task):
        return answer  # judged against what comes before it by its own hours
    names = {other.id: other.name for other in job.tasks}
    open_ = tuple(link.task for link in task.after if not _happened(standing, link))
    if not open_:
        return answer
    dated = answer.outcome is not Outcome.NOT_KNOWN  # else its hours lie past what is known
    return replace(
        answer,
        call=Call.WAIT,
        window=answer.window if dated else None,
        next_window=answer.next_window if dated else None,
        reason=f"after {', '.join(names[name] for name in open_)}",
        waits_for=open_,
        tell=(),
        decide_by=answer.decide_by if task.appointment is not None else (),
    )


def _happened(standing: Mapping[str, Standing], link: Link) -> bool:
    before = standing[link.task].state
    if link.kind is LinkKind.START_START:
        return before is not State.TO_DO
    return before is State.DONE


def _missed(job: Job, task: Task, now: datetime) -> datetime | None:
    """Return the last of the times agreed or offered for work not begun, where all are over."""
    if kind_of(task.work_type).form is not Form.WORK or task.started_at is not None:
        return None
    visit = task.appointment
    starts = [s for s in (task.booked, task.offered, *task.slots) if s is not None]
    starts += [] if visit is None else [visit.start, *visit.slots]
    zone = ZoneInfo(job.site.time_zone)
    ends = [start + timedelta(hours=task.duration_h) for start in starts]
    ends += [datetime.combine(day + timedelta(days=1), time(), zone) for day in task.days]
    ends += [] if task.until is None else [task.until]
    if (not starts and not task.days) or max(ends) > now:
        return None
    return max(starts, default=max(ends) - timedelta(days=1))


def _to_be_agreed_again(
    job: Job, task: Task, answer: TaskAnswer, missed: datetime, now: datetime
) -> TaskAnswer:
    """Return the answer for work whose time has passed: hours of the past are never a go."""
    coming = answer.next_window
    at = missed.astimezone(ZoneInfo(job.site.time_zone))
    who = "crew" if task.appointment is None else task.appointment.who
    return replace(
        answer,
        call=Call.WAIT,
        outcome=Outcome.NOT_KNOWN,
        window=None,
        measures=(),
        next_window=coming if coming is not None and coming.start >= now else None,
        reason=f"its time of {at:%a %-d %b %H:%M} has passed; agree on another",
        tell=(TellLine(who, "the time agreed has passed: agree on another", now),),
        decide_by=(),
    )


def _waits_over(standing: Mapping[str, Standing], task: Task) -> datetime | None:
    """Return when the last elapsed wait ends, gates' least waits too; None without any."""
    ends = []
    for link in task.after:
        told = standing[link.task]
        since = told.started if link.kind is LinkKind.START_START else told.finished
        wait_h = max(link.wait_h, link.gate.wait_h if link.gate is not None else 0.0)
        if since is not None and wait_h > 0.0:
            ends.append(since + timedelta(hours=wait_h))
    return max(ends, default=None)


def _not_before(answer: TaskAnswer, begin: datetime) -> Span | None:
    found = answer.next_window
    return found if found is not None and found.start >= begin else None
