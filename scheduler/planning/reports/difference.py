"""What a new plan changes: which tasks moved and why, whom to call by when, what stays.

Pure: made of two answers, the job and the entries between them, and of nothing else. Equal plans
give an empty difference.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from scheduler.planning.evidence.deadlines import role_of
from scheduler.planning.model.job import Appointment, Job, Task
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.planning.plan.plan_answer import PlanAnswer, PlanLine

CREWS_TOLD: Final = timedelta(days=4)  # people are told of days this near; common practice
EVENING_BEFORE: Final = timedelta(hours=12)  # and by the evening before; common practice


@dataclass(frozen=True, slots=True)
class Moved:
    """One task whose planned hours changed."""

    task: str
    name: str
    was: datetime | None
    now: datetime | None
    why: str  # after <task>, its appointment, <cause>, hours left, crew of <task>, weather
    kept: bool | None = None  # does the plan keep its appointment
    ended: datetime | None = None  # as it was planned to
    ends: datetime | None = None


@dataclass(frozen=True, slots=True)
class CallToMake:
    """One call: who, by when, and the words to send."""

    who: str
    task: str
    by: datetime | None
    text: str


@dataclass(frozen=True, slots=True)
class Change:
    """A figure as it was and as it is; None where it was or is not known."""

    was: float | None
    now: float | None


@dataclass(frozen=True, slots=True)
class Difference:
    """Two plans compared."""

    moved: tuple[Moved, ...]
    calls: tuple[CallToMake, ...]  # soonest first
    stays: tuple[str, ...]  # names of open tasks that keep their hours
    close_in: tuple[datetime | None, datetime | None]
    late_close_in: tuple[datetime | None, datetime | None]  # in nine of ten scenarios
    margin_days: Change
    chance: Change

    @property
    def nothing(self) -> bool:
        """Tell whether no task moved."""
        return not self.moved


def difference(
    before: PlanAnswer, after: PlanAnswer, job: Job, entries: Sequence[Entry] = ()
) -> Difference:
    """Compare two plans of a job.

    Parameters
    ----------
    before, after : PlanAnswer
        Made on the same weather.
    job : Job
        Links, crews, appointments and papers.
    entries : sequence of Entry
        What was logged between them: the causes.
    """
    old = {line.id: line for line in before.tasks}
    ahead = [line for line in after.tasks if not line.done]
    rows = [(old[line.id], line) for line in ahead if _hours(old[line.id]) != _hours(line)]
    why = {new.id: _why(new, rows, job, entries) for _, new in rows}
    return Difference(
        moved=tuple(
            Moved(
                new.id,
                new.name,
                was.start,
                new.start,
                why[new.id],
                new.kept,
                was.finish,
                new.finish,
            )
            for was, new in rows
        ),
        calls=tuple(_calls(rows, job, after)),
        stays=tuple(line.name for line in ahead if _hours(old[line.id]) == _hours(line)),
        close_in=(before.close_in, after.close_in),
        late_close_in=(before.late_close_in, after.late_close_in),
        margin_days=Change(_margin(before), _margin(after)),
        chance=Change(_chance(before), _chance(after)),
    )


def _hours(line: PlanLine) -> tuple[datetime | None, datetime | None]:
    return line.start, line.finish


def _margin(plan: PlanAnswer) -> float | None:
    return None if plan.date is None else plan.date.margin_days


def _chance(plan: PlanAnswer) -> float | None:
    return None if plan.date is None else plan.date.chance


# why a task moved


def _why(
    new: PlanLine, rows: Sequence[tuple[PlanLine, PlanLine]], job: Job, entries: Sequence[Entry]
) -> str:
    """Return the nearest cause: lost hours of its own, what comes before it, its crew, weather."""
    task, moved = job.task(new.id), {row.id: (was, row) for was, row in rows}
    own = [e for e in entries if e.kind is EntryKind.LOST and e.task in ("", new.id)]
    before = [link.task for link in task.after if link.task in moved]
    if before:
        return f"after {job.task(before[-1]).name}"
    if own:
        return own[-1].cause.replace("_", " ") or "lost hours"
    told = [e for e in entries if e.kind is EntryKind.PROGRESS and e.task == new.id]
    if told and told[-1].hours is not None:
        return f"{told[-1].hours:g} h left to do"
    if new.kept is False:
        return "its appointment cannot be kept"
    for was, row in moved.values():
        shares = row.id != new.id and set(row.crew) & set(new.crew)
        if shares and row.start is not None and new.start is not None and row.start < new.start:
            return f"its crew is at {was.name}"
    return "weather"


# whom to call


def _calls(
    rows: Iterable[tuple[PlanLine, PlanLine]], job: Job, after: PlanAnswer
) -> Iterator[CallToMake]:
    """Yield the calls, soonest first, each person's words once.

    Without a plan, or with one on an old forecast, nothing that is booked is said to move.
    """
    now, of_task = after.at, _of_task if after.is_sure else _not_sure
    made = [call for was, new in rows for call in of_task(was, new, job, now)]
    late = datetime.max.replace(tzinfo=now.tzinfo)
    seen: set[tuple[str, str]] = set()
    for call in sorted(made, key=lambda one: (one.by or late, one.who, one.task)):
        if (call.who, call.text) not in seen:
            seen.add((call.who, call.text))
            yield call


def _of_task(was: PlanLine, new: PlanLine, job: Job, now: datetime) -> Iterator[CallToMake]:
    task, zone = job.task(new.id), ZoneInfo(job.site.time_zone)
    if task.appointment is not None:
        yield from _to_who_is_booked(was, new, task, job, now)
        return
    if _day(was.start, zone) == _day(new.start, zone):
        return
    for paper in job.documents:
        role = role_of(paper)
        if role and (task.id in paper.for_tasks or paper.id == task.label):
            yield CallToMake(role, task.id, _by(was, now), _move_words(was, new, job))
    near = [at for at in (was.start, new.start) if at is not None and at <= now + CREWS_TOLD]
    if near:
        named = {crew.id: crew.name for crew in job.crews}
        for crew in new.crew:
            yield CallToMake(
                named.get(crew, crew), task.id, _by(was, now), _move_words(was, new, job)
            )


def _not_sure(_: PlanLine, new: PlanLine, job: Job, now: datetime) -> Iterator[CallToMake]:
    visit = job.task(new.id).appointment
    if visit is None or visit.start <= now:
        return
    last, zone = _last_word(visit, now), ZoneInfo(job.site.time_zone)
    text = (
        f"{job.name}: not sure yet whether {new.name} can be {_at(visit.start, zone)}; keep it. "
        f"We confirm or let it go by {_at(last, zone)}."
    )
    yield CallToMake(visit.who, new.id, last, text)


def _last_word(visit: Appointment, now: datetime) -> datetime:
    notice = visit.start - timedelta(hours=visit.notice_h)
    return max(min(notice, visit.free_until or notice), now)


def _to_who_is_booked(
    was: PlanLine, new: PlanLine, task: Task, job: Job, now: datetime
) -> Iterator[CallToMake]:
    visit = task.appointment
    if visit is None or new.start == was.start:
        return
    last, zone = _last_word(visit, now), ZoneInfo(job.site.time_zone)
    asks = (
        "we call again with a day"
        if new.start is None
        else f"can you come {_at(new.start, zone)}?"
    )
    text = (
        f"{job.name}: {task.name} cannot be {_at(visit.start, zone)}; {asks} "
        f"Please answer by {_at(last, zone)}."
    )
    yield CallToMake(visit.who, task.id, last, text)


def _move_words(was: PlanLine, new: PlanLine, job: Job) -> str:
    zone = ZoneInfo(job.site.time_zone)
    now = "no day yet" if new.start is None else _at(new.start, zone)
    old = "as agreed" if was.start is None else _at(was.start, zone)
    return f"{job.name}: {new.name} moves from {old} to {now}."


def _by(was: PlanLine, now: datetime) -> datetime | None:
    """Return the evening before the old hour, not before now."""
    return None if was.start is None else max(was.start - EVENING_BEFORE, now)


def _day(moment: datetime | None, zone: ZoneInfo) -> date | None:
    return None if moment is None else moment.astimezone(zone).date()


def _at(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).strftime("%a %-d %b %H:%M")
