"""What the sheets are made of: the morning's answers and plan, orders, readings, lost days."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

import numpy as np

from rules.gates import gates
from scheduler.planning.evidence.places import same_place
from scheduler.planning.model.job import Job, Task
from scheduler.planning.model.job_book import job_book
from scheduler.planning.reports.sheet_parts import SheetParts, TemperatureRecord
from scheduler.planning.strength.curing_sheet import SheetLine, sheet_lines
from scheduler.planning.strength.fresh_work import fresh_work
from scheduler.planning.strength.measured import ProbeTrace
from scheduler.runs.brief import Morning, brief
from scheduler.runs.desk import Desk
from scheduler.runs.orders import dates_of
from scheduler.runs.weather_days import weather_day_record

BLANKETS: Final = "blankets_off"  # the gate whose least wait is kept where no rule names an end
COLDEST: Final = "coldest corner"


def sheets(desk: Desk) -> SheetParts:
    """Return what the sheets of a job are made of; the weather read is kept.

    Raises
    ------
    CloseinError
        If the weather cannot be had or read.
    """
    morning = brief(desk)
    planned, gathered = morning.planned, morning.today.gathered
    contract = any(paper.kind == "contract" for paper in desk.job.documents)
    return SheetParts(
        at=desk.now,
        forecast_age_h=gathered.forecast.provenance.age_h(desk.now),
        book=job_book(desk.job),
        answers=morning.today.answers,
        plan=planned.answer,
        progress=gathered.progress,
        orders=dates_of(desk, planned),
        records=_records(desk.job, morning),
        lost=weather_day_record(desk) if contract else (),
    )


def _records(job: Job, morning: Morning) -> tuple[TemperatureRecord, ...]:
    placed_at = {line.id: line.finish for line in morning.planned.answer.tasks}
    ends = {
        answer.task: max((m.end for m in answer.measures if m.end is not None), default=None)
        for answer in morning.today.answers
    }
    least = timedelta(hours=gates()[BLANKETS].wait_h)
    records = []
    for task in job.tasks:
        placed = placed_at[task.id]
        if fresh_work(task) is None or placed is None:
            continue
        until = max(placed + least, ends.get(task.id) or placed)
        lines = _lines(job, task, morning, placed, until)
        records.append(TemperatureRecord(task.name, placed, until, tuple(lines)))
    return tuple(records)


def _lines(
    job: Job, task: Task, morning: Morning, placed: datetime, until: datetime
) -> list[SheetLine]:
    """Return the lines of what was read since placing; of nothing read, empty ones to fill in."""
    progress = morning.today.gathered.progress
    read = [
        entry.reading
        for entry in progress.entries
        if entry.reading is not None
        and placed <= (entry.reading.at or entry.at) <= until
        and (
            not task.place
            or not entry.reading.place
            or same_place(entry.reading.place, task.place)
        )
    ]
    lines = sheet_lines(
        probes={}, readings=read, placed=placed, until=until, time_zone=job.site.time_zone
    )
    if lines:
        return lines
    nothing = np.empty((0, 0))
    empty = ProbeTrace(np.empty(0, dtype="datetime64[h]"), (), nothing, nothing)
    return sheet_lines(
        probes={task.place or COLDEST: empty},
        readings=(),
        placed=placed,
        until=until,
        time_zone=job.site.time_zone,
    )
