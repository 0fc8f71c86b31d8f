"""What the pages show, made once and kept as JSON: reading them plans nothing."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, Final

from rules.freeze import Fate
from scheduler.output.brief_message import brief_told
from scheduler.output.cure_chart import cure_chart
from scheduler.output.cure_table import FATE_WORDS, cure_lines, cure_rows, option_title
from scheduler.output.difference_told import difference_told
from scheduler.output.levers_table import lever_notes, lever_rows
from scheduler.output.log_table import entry_line
from scheduler.output.plan_chart import plan_chart
from scheduler.output.plan_table import plan_lines, plan_rows
from scheduler.output.risk_chart import risk_chart
from scheduler.output.week_told import week_told
from scheduler.output.words import clock
from scheduler.planning.model.job import Job
from scheduler.planning.model.job_book import job_book
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.planning.reports.difference import Difference
from scheduler.planning.reports.week import week
from scheduler.planning.strength.cure_answer import CureAnswer
from scheduler.runs.cure import NOT_KNOWN, Unfollowed, cures
from scheduler.runs.desk import Desk
from scheduler.service.cuts import Said, texts, tomorrow_told

LOG: Final = logging.getLogger("closein.pages")
PAGE: Final = "page"  # the kind under which they are kept
VERSION: Final = "closein-page/3"  # what was kept under another is not shown
GOOD_FOR: Final = timedelta(hours=26)  # a morning missed; common practice, no source
MOST_ENTRIES: Final = 30  # of the log that are shown
MOVED_STAYS: Final = timedelta(hours=24)  # what moved is shown so long

Told = dict[str, Any]


def page_parts(said: Said, *, moved: Told | None = None, before: Told | None = None) -> str:
    """Return the pages of a moment, as they are kept.

    Parameters
    ----------
    said : Said
    moved : dict, optional
        What was written down since the pages before and what it moved.
    before : dict, optional
        The pages before: what they said has moved stays for a day.
    """
    made, job = said.morning, said.job
    planned, gathered = made.planned, made.today.gathered
    lines, zone = plan_lines(planned.answer, job), job.site.time_zone
    zero, found = planned.frame.hour_zero, planned.answer.date
    if moved is None and before is not None and _recent(before, said.at):
        moved = before["moved"]
    compared = cures(made.today, planned)

    def bars() -> bytes:
        answer = planned.answer
        return plan_chart(answer, job, hours=planned.hourly, hour_zero=zero, kind="svg")

    def risk() -> bytes:
        return b"" if found is None or not found.risk.size else risk_chart(found, job, kind="svg")

    parts: Told = {
        "version": VERSION,
        "made": said.at.isoformat(),
        "good_until": _good_until(said).isoformat(),
        "name": job.name,
        "job": job.id,
        "time_zone": zone,
        "units": job.units,
        "tasks": [[line.id, line.name] for line in planned.answer.tasks if not line.done],
        "today": brief_told(made.brief, job, lines, notes=said.notes),
        "week": week_told(
            week(planned.frame, job_book(job), planned.weather.forecast, planned.hourly),
            planned.answer,
            job,
            made.today.answers,
        ),
        "tomorrow": tomorrow_told(said),
        "texts": [list(one) for one in texts(said)],
        "plan": plan_rows(planned.answer, job),
        "plan_lines": list(lines),
        "levers": lever_rows(planned.answer, job),
        "lever_notes": [note for note in lever_notes(planned.answer, job) if note],
        "moved": moved,
        "walls": [_wall(one, job) for one in compared],
        "readings": list(_readings(gathered.progress.entries, job)),
        "entries": _entries(gathered.progress.entries, job),
        "holds": _holds(said),
        "pictures": {
            "bars.svg": _drawn(bars, job.id),
            "risk.svg": _drawn(risk, job.id),
            **{
                f"wall-{n}.svg": _drawn(_chart(one, job), job.id)
                for n, one in enumerate(compared)
                if isinstance(one, CureAnswer)
            },
        },
    }
    return json.dumps(parts, ensure_ascii=False)


def moved_told(found: Difference, entries: Sequence[Entry], job: Job, at: datetime) -> Told:
    """Return what was written down and what it moved, for ``page_parts``."""
    return {**difference_told(found, entries, job, at), "moment": at.isoformat()}


def parts_before(desk: Desk) -> Told | None:
    """Return the newest pages that were kept; None where there are none of this version."""
    kept = desk.store.decisions(desk.job.id, kind=PAGE, last=1)
    return None if not kept else parts_of(kept[-1].answer)


def parts_of(answer: bytes) -> Told | None:
    """Read kept pages; None where another version of Closein made them."""
    parts: Told = json.loads(answer)
    return parts if parts.get("version") == VERSION else None


def _recent(before: Mapping[str, Any], at: datetime) -> bool:
    moved = before["moved"]
    if moved is None:
        return False
    return timedelta(0) <= at - datetime.fromisoformat(moved["moment"]) < MOVED_STAYS


def _good_until(said: Said) -> datetime:
    """Return from when nothing on the pages says go: too old, they or their forecast."""
    told = said.morning.today.gathered.forecast.provenance
    if said.morning.today.stale or told.issued_at is None:
        return said.at
    return min(said.at + GOOD_FOR, told.issued_at + timedelta(hours=told.age_limit_h))


def _wall(one: CureAnswer | Unfollowed, job: Job) -> Told:
    """Return one piece of fresh work: its protections compared, and what follows."""
    zone = job.site.time_zone
    if isinstance(one, Unfollowed):
        told = {"task": one.task.id, "name": one.task.name, "finish": clock(one.finish, zone)}
        return {**told, "says": NOT_KNOWN, "titles": [], "rows": [], "lines": []}
    names = {task.id: task.name for task in job.tasks}
    titles = [option_title(option) for option in one.options]
    froze = all(option.fate is Fate.FREEZES for option in one.options)
    return {
        "task": one.task,
        "name": names[one.task],
        "finish": clock(one.finish, zone),
        "says": "freezes under every protection" if froze else "; ".join(
            f"{title}: {FATE_WORDS[option.fate]}"
            for title, option in zip(titles, one.options, strict=True)
        ),
        "titles": titles,
        "rows": [[name, *cells] for name, cells in cure_rows(one, zone, job.units)],
        "lines": cure_lines(one, time_zone=zone),
    }  # fmt: skip


def _chart(one: CureAnswer, job: Job) -> Callable[[], bytes]:
    return lambda: cure_chart(one, time_zone=job.site.time_zone, units=job.units, suffix="svg")


def _readings(entries: Sequence[Entry], job: Job) -> Iterator[str]:
    for entry in reversed(entries):
        if entry.reading is not None:
            yield entry_line(entry, job)


def _entries(entries: Sequence[Entry], job: Job) -> list[Told]:
    newest = sorted(entries, key=lambda entry: entry.seq, reverse=True)[:MOST_ENTRIES]
    return [
        {
            "seq": entry.seq,
            "line": entry_line(entry, job),
            "who": entry.who,
            "photo": str(entry.payload.get("photo", "")),
            "may_undo": entry.kind is not EntryKind.UNDO,
        }
        for entry in newest
    ]


def _holds(said: Said) -> list[list[str]]:
    """Return what is on hold: task, its name, the role that decides, what they see, whose row."""
    names = {task.id: task.name for task in said.job.tasks}
    return [
        [answer.task, names.get(answer.task, answer.task), hold.by, hold.needs, hold.row]
        for answer in said.morning.today.answers
        for hold in answer.holds
    ]


def _drawn(draw: Callable[[], bytes], job: str) -> str:
    """Return a picture, "" where it cannot be drawn: that is logged and stops no morning."""
    try:
        return draw().decode()
    except Exception:  # whatever a chart library stumbles over, the calls must arrive
        LOG.exception("picture of the pages not drawn", extra={"job": job})
        return ""
