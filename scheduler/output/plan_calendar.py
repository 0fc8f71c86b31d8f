"""The plan as a calendar file (RFC 5545): work, appointments, and by when to decide.

An event's id hangs on job and task, so that a calendar moves the event when the plan moves. Texts
are escaped by the library: a task's name can never be a line of the calendar.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, Final

from scheduler.output.letter import one_line
from scheduler.planning.answer import DecideBy, TaskAnswer
from scheduler.planning.briefing import CALL_WORDS, LINE
from scheduler.planning.job import Job
from scheduler.planning.plan_answer import Basis, PlanAnswer, PlanLine

if TYPE_CHECKING:
    from icalendar import Event

NAME: Final = "plan.ics"
KIND: Final = "text/calendar"
LOOK: Final = timedelta(minutes=15)  # how long a decision stands in the calendar
WARNED: Final = timedelta(hours=2)  # before it


def plan_calendar(
    plan: PlanAnswer,
    job: Job,
    answers: Sequence[TaskAnswer],
    decide: Sequence[tuple[str, DecideBy]],
    *,
    crew: str = "",
) -> bytes:
    """Return the calendar of the whole job, or of one crew.

    Parameters
    ----------
    plan : PlanAnswer
    job : Job
    answers : sequence of TaskAnswer
        Give each event its call as of now.
    decide : sequence of (str, DecideBy)
        Task's name and the last useful moment; not for a crew.
    crew : str
        Id of the crew; empty for all.
    """
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//Closein//plan//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", one_line(job.name))
    by_task = {answer.task: answer for answer in answers}
    for line in plan.tasks:
        if not line.done and (not crew or crew in line.crew):
            event = _work(line, job, by_task.get(line.id), plan.at)
            if event is not None:
                calendar.add_component(event)
    for name, last in () if crew else decide:
        calendar.add_component(_decision(name, last, job, plan.at))
    return bytes(calendar.to_ical())


def _work(line: PlanLine, job: Job, answer: TaskAnswer | None, at: datetime) -> Event | None:
    if line.start is None or line.finish is None:
        return None
    call = CALL_WORDS[answer.call] if answer is not None else "planned"
    says = [f"As of {at:%Y-%m-%d %H:%M}Z: {call}."]
    if line.basis is not Basis.FORECAST:
        says.append("Past the forecast: the day may move.")
    if line.appointment is not None and line.kept is False:
        says.append("The appointment no longer holds.")
    if answer is not None and answer.reason:
        says.append(answer.reason)
    event = _event(f"work {line.id}", f"{line.name} ({call})", line.start, line.finish, job, at)
    event.add("description", "\n".join([*says, LINE]))
    sure = line.appointment is not None and line.kept
    event.add("status", "CONFIRMED" if sure else "TENTATIVE")
    return event


def _decision(name: str, last: DecideBy, job: Job, at: datetime) -> Event:
    from icalendar import Alarm

    key = f"decide {name} {last.why}"
    event = _event(key, f"Decide: {name}: {last.why}", last.at - LOOK, last.at, job, at)
    event.add("description", LINE)
    event.add("transp", "TRANSPARENT")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", one_line(f"Decide: {name}"))
    alarm.add("trigger", -WARNED)
    event.add_component(alarm)
    return event


def _event(
    key: str, summary: str, start: datetime, end: datetime, job: Job, at: datetime
) -> Event:
    from icalendar import Event

    event = Event()
    event.add("uid", f"{sha256(f'{job.id} {key}'.encode()).hexdigest()[:32]}@closein")
    event.add("dtstamp", at)
    event.add("dtstart", start)
    event.add("dtend", end)
    event.add("summary", one_line(summary))
    event.add("location", one_line(job.site.name))
    return event
