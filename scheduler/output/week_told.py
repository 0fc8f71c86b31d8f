"""The coming days of each task in words and cells, as JSON can hold it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from rules.explain import Reason
from rules.shown import prose
from rules.verdict import WORDS, Verdict
from scheduler.output.words import day, local, number, words
from scheduler.planning.model.answer import Call, TaskAnswer
from scheduler.planning.model.job import Job
from scheduler.planning.plan.plan_answer import PlanAnswer, PlanLine
from scheduler.planning.reports.briefing import CALL_WORDS
from scheduler.planning.reports.week import TaskDay, TaskWeek, WhySpan
from scheduler.planning.rulings.asks import allowed

CELLS: Final = {
    Verdict.GO: "g",
    Verdict.GO_WITH_PROTECTION: "p",
    Verdict.NOT_KNOWN: "u",
    Verdict.NO_GO: "n",
    None: " ",  # past, or beyond the forecast
}
WAIT: Final = "w"
PASSES: Final = frozenset({Verdict.GO, Verdict.GO_WITH_PROTECTION})


def week_told(
    weeks: Sequence[TaskWeek], plan: PlanAnswer, job: Job, answers: Sequence[TaskAnswer]
) -> list[dict[str, object]]:
    """Return one entry a task, one row a day: a letter an hour, and the shift's spans in words.

    Letters: ``g`` go, ``p`` with protection, ``w`` fit by the weather before the call lets it
    begin, ``u`` not known, ``n`` no-go, a space past or beyond the forecast; capitals stand for
    hours of the shift. ``planned`` is a string of the same length with ``=`` where the plan has
    the task.
    """
    lines: Mapping[str, PlanLine] = {line.id: line for line in plan.tasks}
    calls = {answer.task: answer for answer in answers}
    return [
        {
            "task": one.task,
            "name": lines[one.task].name if one.task in lines else one.task,
            "days": [
                _day(each, lines.get(one.task), job, calls.get(one.task)) for each in one.days
            ],
        }
        for one in sorted(weeks, key=lambda one: _begins(lines.get(one.task)))
    ]


def _from(answer: TaskAnswer | None) -> datetime:
    """Return from when the call lets a task be under way; never where nobody can say."""
    never = datetime.max.replace(tzinfo=UTC)
    if answer is None or answer.waits_for:
        return never
    if answer.call in {Call.WAIT, Call.HOLD, Call.STOP}:
        return never if answer.next_window is None else answer.next_window.start
    return never if answer.window is None else answer.window.start


def _begins(line: PlanLine | None) -> float:
    """Return the order of the plan; what has no place in it comes last."""
    return math.inf if line is None or line.start is None else line.start.timestamp()


def _day(
    one: TaskDay, line: PlanLine | None, job: Job, answer: TaskAnswer | None
) -> dict[str, object]:
    zone, begins = job.site.time_zone, _from(answer)
    cells = ""
    for verdict, inside, at in zip(
        one.verdicts, one.in_shift, _hours(one.day, len(one.verdicts), zone), strict=True
    ):
        cell = WAIT if verdict in PASSES and at + 3600 <= begins.timestamp() else CELLS[verdict]
        cells += cell.upper() if inside else cell
    return {
        "day": day(one.day, zone),
        "cells": cells,
        "planned": _planned(one.day, len(one.verdicts), line, zone),
        "spans": [
            _span(part, job, answer, waits=part.verdict in PASSES and part.start < begins)
            for span in one.spans
            for part in _parted(span, begins)
        ],
    }


def _parted(span: WhySpan, at: datetime) -> list[WhySpan]:
    """Return hours that pass in two where the call lets work begin between them."""
    if span.verdict not in PASSES or not span.start < at < span.end:
        return [span]
    return [replace(span, end=at), replace(span, start=at)]


def _hours(own: date, hours: int, zone: str) -> list[float]:
    first = datetime(own.year, own.month, own.day, tzinfo=ZoneInfo(zone)).timestamp()
    return [first + 3600 * hour for hour in range(hours)]


def _planned(own: date, hours: int, line: PlanLine | None, zone: str) -> str:
    if line is None or line.start is None or line.finish is None or line.done:
        return " " * hours
    low, high = line.start.timestamp(), line.finish.timestamp()
    return "".join("=" if low <= at < high else " " for at in _hours(own, hours, zone))


def _span(span: WhySpan, job: Job, answer: TaskAnswer | None, *, waits: bool) -> dict[str, object]:
    zone = job.site.time_zone
    ends = local(span.end, zone)
    last = "24:00" if ends.time() == datetime.min.time() else f"{ends:%H:%M}"
    return {
        "when": f"{local(span.start, zone):%H:%M}–{last}",
        "verdict": CALL_WORDS[Call.WAIT] if waits else WORDS[span.verdict],
        "why": [answer.reason if answer else "no call"]
        if waits
        else [_why(reason, span, job) for reason in span.reasons],
    }


def _why(reason: Reason, span: WhySpan, job: Job) -> str:
    """Return one limit: the value that decides, its hour, what is allowed, the source."""
    row, zone = reason.row, job.site.time_zone
    text = words(row.name)
    if reason.value is not None and not isinstance(reason.value, str):
        text += f" {number(reason.value, row.unit, job.units, zone)}"
    elif span.verdict is Verdict.NOT_KNOWN:
        text += " not known"
    may = prose(allowed(row), job.units)
    text += f"; allowed {may}" if may else ""
    measures = [" or ".join(words(name) for name in one.measure) for one in reason.measures]
    text += f"; needs {', '.join(measures)}" if measures else ""
    source = " ".join(part for part in (row.source, prose(row.clause, job.units)) if part)
    return f"{text} [{source or row.id}]"
