"""The set-down checklist: gates, holds, wind, levels, before and while the house comes down."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rules.book import Book
from rules.gates import gates
from rules.page import line
from scheduler.output.sheets.sheet import Grid, Section, Sheet, Tick
from scheduler.output.today_table import caution_words, check_words
from scheduler.output.words import gate_words, span, words
from scheduler.planning.model.job import Job, Task
from scheduler.planning.model.log import Progress, release_of
from scheduler.planning.reports.sheet_parts import SheetParts

NAME: Final = "set_down"
LOWER: Final = "lower_house"


def set_down(job: Job, parts: SheetParts, *, under: str) -> Sheet | None:
    """Return the checklist; None for a job that lowers no house."""
    tasks = [task for task in job.tasks if task.work_type == LOWER]
    if not tasks:
        return None
    told = [answer for answer in parts.answers if answer.task in {task.id for task in tasks}]
    lines = {row.id: row for row in parts.plan.tasks}
    zone = job.site.time_zone
    when = tuple(
        f"{task.name}: {span(lines[task.id].start, lines[task.id].finish, zone)}"
        for task in tasks
        if lines[task.id].start is not None
    )
    looks = dict.fromkeys(Tick(text) for answer in told for text in check_words(answer, job.units))
    sections = (
        Section("When", lines=when or ("It has no place in the plan.",)),
        Section("Strength of the wall", grid=_gates(job, tasks)),
        Section("Released by name, in the log", grid=_holds(tasks, parts.progress)),
        Section("Wind, read at the house", grid=_limits(parts.book)),
        Section("Look first", ticks=tuple(looks)),
        Section(
            "While it comes down",
            ticks=(
                Tick("Cribbing follows the load at once; nobody under the house"),
                Tick("Levels read after each step, at every tower"),
                Tick("One person watches the wind and calls stop"),
                Tick("Sill bears all along, shims driven, before a tower is taken away"),
            ),
        ),
    )
    return Sheet(
        NAME,
        f"Set-down: {job.name}",
        under,
        sections,
        cautions=tuple(caution_words(told)),
        signs=("House lifter, date", "Engineer, date", "Competent person, date"),
    )


def _gates(job: Job, tasks: Sequence[Task]) -> Grid:
    rows = []
    for task in tasks:
        for link in task.after:
            if link.gate is None:
                continue
            row = gates().get(link.gate.purpose)
            title = row.title if row else words(link.gate.purpose)
            asked = f"{gate_words(link.gate)}, and {link.gate.wait_h:g} h"
            rows.append((job.task(link.task).name, title, asked, "", ""))
    header = ("After", "Gate", "Asked", "Shown by (breaks, probe, model)", "Value, time")
    return Grid(header, tuple(rows), (5, 5, 5, 6, 4))


def _holds(tasks: Sequence[Task], progress: Progress) -> Grid:
    rows = []
    for task in tasks:
        for hold in task.holds:
            given = release_of(progress.entries, task.id, hold.by)
            who = "" if given is None else given.who
            rows.append((task.name, " or ".join(map(words, hold.by)), hold.needs, who))
    return Grid(("Step", "Who", "Needs to see", "Released by"), tuple(rows), (5, 4, 8, 5))


def _limits(book: Book) -> Grid:
    rows = []
    for row in book.rows_for(LOWER):
        if row.quantity.startswith("wind_speed"):
            told = line(row)
            bands = "\n".join(map(str, told.bands))
            rows.append((told.looks_at, bands, told.source, ""))
    return Grid(("What", "Limit", "Source", "Read, time"), tuple(rows), (5, 8, 6, 4))
