"""The morning message as data: what a person does today, what to prepare, what moved.

Texts and mails are made from this; it is made from answers and a plan, and from nothing else.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from rules.brought import gravest_first
from scheduler.planning.model.answer import (
    Call,
    DecideBy,
    MeasureLine,
    Outcome,
    TaskAnswer,
    TellLine,
)
from scheduler.planning.model.job import Job
from scheduler.planning.open_house.closein_date import CloseInAnswer, Ends
from scheduler.planning.reports.leaving import Leave
from scheduler.planning.tables.hours import Alert, Finding, Forecast

CALL_WORDS: Final = {
    Call.GO: "go",
    Call.GO_WITH_PROTECTION: "go with protection",
    Call.PREPARE: "prepare",
    Call.WAIT: "wait",
    Call.HOLD: "hold",
    Call.STOP: "stop",
    Call.CLAIM: "claim",
}
READ_FIRST: Final = (  # what a person acts on this morning stands above what waits
    Call.STOP,
    Call.HOLD,
    Call.PREPARE,
    Call.GO_WITH_PROTECTION,
    Call.GO,
    Call.WAIT,
    Call.CLAIM,
)
SUBJECT_WORDS: Final = (
    "stop",
    "go",
    "with protection",
    "prepare",
    "hold",
    "no-go",
    "not known",
    "wait",
    "claim",
)
LINE: Final = "Local codes, the engineer of record and licensed trades decide."


@dataclass(frozen=True, slots=True)
class Brief:
    """One morning of one job."""

    job: str
    at: datetime
    subject: str
    answers: tuple[TaskAnswer, ...]  # commitments that changed first, then gravest first
    measures: tuple[tuple[str, MeasureLine], ...]  # task, what to fetch in the next two days
    decide: tuple[tuple[str, DecideBy], ...]  # task, soonest first
    tell: tuple[tuple[str, TellLine], ...]
    cautions: tuple[str, ...]
    age_h: float | None
    stale: bool
    alerts: tuple[Alert, ...] | None = None  # in force or to come; None: nobody asked
    noticed: tuple[Finding, ...] = ()  # of the weather: what differs, is absent or not used
    leaves: tuple[Leave, ...] = ()  # what is done before tonight and before the days off

    @property
    def acting(self) -> tuple[TaskAnswer, ...]:
        """Return the answers of tasks whose turn it is: they wait for no other."""
        return tuple(answer for answer in self.answers if not answer.waits_for)


def brief(
    job: Job,
    answers: Sequence[TaskAnswer],
    *,
    at: datetime,
    forecast: Forecast,
    stale: bool,
    date: CloseInAnswer | None,
    leaves: Sequence[Leave] = (),
) -> Brief:
    """Sort a morning's answers for reading in ten seconds.

    Parameters
    ----------
    job : Job
    answers : sequence of TaskAnswer
    at : datetime
        The moment of asking, UTC.
    forecast : Forecast
        What the answers were made from: its age, its warnings, what was noticed in it.
    stale : bool
        Whether the forecast is past its age limit.
    date : CloseInAnswer or None
        The latest safe close-in date; None where no past years were given.
    leaves : sequence of Leave
        What is done before tonight and before the days off.
    """
    names = {task.id: task.name for task in job.tasks}
    zone = ZoneInfo(job.site.time_zone)
    soon = at + timedelta(hours=48)
    ordered = sorted(answers, key=lambda a: (not _changed(a), READ_FIRST.index(a.call)))
    measures = [
        (names.get(a.task, a.task), m)
        for a in ordered
        if not a.waits_for
        for m in a.measures
        if m.start is None or m.start <= soon
    ]
    decide = sorted(
        ((names.get(a.task, a.task), d) for a in ordered for d in a.decide_by),
        key=lambda row: (row[1].at, row[0]),
    )
    tell = [(names.get(a.task, a.task), t) for a in ordered for t in a.tell]
    cautions = gravest_first(c.caution for a in ordered if not a.waits_for for c in a.cautions)
    return Brief(
        job=job.name,
        at=at,
        subject=f"{at.astimezone(zone):%a}: {_counts(answers, zone)}; {_date_words(date)}",
        answers=tuple(ordered),
        measures=tuple(measures),
        decide=tuple(decide),
        tell=tuple(tell),
        cautions=tuple(cautions),
        age_h=forecast.provenance.age_h(at),
        stale=stale,
        alerts=None if forecast.alerts is None else ahead(forecast.alerts, at),
        noticed=forecast.provenance.findings,
        leaves=tuple(leaves),
    )


def ahead(alerts: Sequence[Alert], at: datetime) -> tuple[Alert, ...]:
    """Return the warnings that are not over; one without an end is not."""
    return tuple(alert for alert in alerts if alert.end is None or alert.end > at)


def _date_words(found: CloseInAnswer | None) -> str:
    if found is None:
        return "latest safe date not known"
    if found.latest_safe is not None:
        last = f"close in by {found.latest_safe:%-d %b}"
    elif found.overall.ends is Ends.SEASON_END:
        last = "no limit passed before season's end"
    else:
        return "latest safe date not known"
    return last if found.margin_days is None else f"{last}, margin {found.margin_days} days"


def _changed(answer: TaskAnswer) -> bool:
    return any(line.caution == "forecast_changed" for line in answer.cautions)


def _counts(answers: Sequence[TaskAnswer], zone: ZoneInfo) -> str:
    """Return how many tasks are called what; those that wait for other tasks are left out."""
    turn = [answer for answer in answers if not answer.waits_for]
    counted = Counter(_counted_as(answer) for answer in turn)
    parts = [f"{counted[word]} {word}" for word in SUBJECT_WORDS if counted[word]]
    ends = [m.end for a in turn if a.call is Call.GO_WITH_PROTECTION for m in a.measures if m.end]
    if ends:
        until = f"{max(ends).astimezone(zone):%a %H:%M}"
        parts = [f"{part} until {until}" if "protection" in part else part for part in parts]
    return ", ".join(parts) if parts else "nothing to judge"


def _counted_as(answer: TaskAnswer) -> str:
    if answer.call is not Call.WAIT:
        return "with protection" if answer.call is Call.GO_WITH_PROTECTION else answer.call.value
    return {Outcome.NO_GO: "no-go", Outcome.NOT_KNOWN: "not known"}.get(answer.outcome, "wait")
