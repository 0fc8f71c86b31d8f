"""The coming days of each task in words and cells, as JSON can hold it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from rules.explain import Reason
from rules.verdict import WORDS, Verdict
from scheduler.output.words import day, local, number, words
from scheduler.planning.model.job import Job
from scheduler.planning.plan.plan_answer import PlanAnswer, PlanLine
from scheduler.planning.reports.week import TaskDay, TaskWeek, WhySpan
from scheduler.planning.rulings.asks import allowed

CELLS: Final = {
    Verdict.GO: "g",
    Verdict.GO_WITH_PROTECTION: "p",
    Verdict.NOT_KNOWN: "u",
    Verdict.NO_GO: "n",
    None: " ",  # past, or beyond the forecast
}


def week_told(weeks: Sequence[TaskWeek], plan: PlanAnswer, job: Job) -> list[dict[str, object]]:
    """Return one entry a task, one row a day: a letter an hour, and the shift's spans in words.

    Letters: ``g`` go, ``p`` with protection, ``u`` not known, ``n`` no-go, a space past or beyond
    the forecast; capitals stand for hours of the shift. ``planned`` is a string of the same
    length with ``=`` where the plan has the task.
    """
    lines: Mapping[str, PlanLine] = {line.id: line for line in plan.tasks}
    return [
        {
            "task": one.task,
            "name": lines[one.task].name if one.task in lines else one.task,
            "days": [_day(each, lines.get(one.task), job) for each in one.days],
        }
        for one in sorted(weeks, key=lambda one: _begins(lines.get(one.task)))
    ]


def _begins(line: PlanLine | None) -> float:
    """Return the order of the plan; what has no place in it comes last."""
    return math.inf if line is None or line.start is None else line.start.timestamp()


def _day(one: TaskDay, line: PlanLine | None, job: Job) -> dict[str, object]:
    zone = job.site.time_zone
    cells = "".join(
        CELLS[verdict].upper() if inside else CELLS[verdict]
        for verdict, inside in zip(one.verdicts, one.in_shift, strict=True)
    )
    return {
        "day": day(one.day, zone),
        "cells": cells,
        "planned": _planned(one.day, len(one.verdicts), line, zone),
        "spans": [_span(span, job) for span in one.spans],
    }


def _planned(own: date, hours: int, line: PlanLine | None, zone: str) -> str:
    if line is None or line.start is None or line.finish is None or line.done:
        return " " * hours
    first = datetime(own.year, own.month, own.day, tzinfo=ZoneInfo(zone)).timestamp()
    begins = [first + 3600 * hour for hour in range(hours)]
    low, high = line.start.timestamp(), line.finish.timestamp()
    return "".join("=" if low <= at < high else " " for at in begins)


def _span(span: WhySpan, job: Job) -> dict[str, object]:
    zone = job.site.time_zone
    ends = local(span.end, zone)
    last = "24:00" if ends.time() == datetime.min.time() else f"{ends:%H:%M}"
    return {
        "when": f"{local(span.start, zone):%H:%M}–{last}",
        "verdict": WORDS[span.verdict],
        "why": [_why(reason, span, job) for reason in span.reasons],
    }


def _why(reason: Reason, span: WhySpan, job: Job) -> str:
    """Return one limit: the value that decides, its hour, what is allowed, the source."""
    row, zone = reason.row, job.site.time_zone
    text = words(row.name)
    if reason.value is not None and not isinstance(reason.value, str):
        text += f" {number(reason.value, row.unit, job.units, zone)}"
    elif span.verdict is Verdict.NOT_KNOWN:
        text += " not known"
    may = allowed(row)
    text += f"; allowed {may}" if may else ""
    measures = [" or ".join(words(name) for name in one.measure) for one in reason.measures]
    text += f"; needs {', '.join(measures)}" if measures else ""
    source = " ".join(part for part in (row.source, row.clause) if part)
    return f"{text} [{source or row.id}]"
