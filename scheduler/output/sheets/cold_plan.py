"""The cold-weather work plan: what the book asks before, during and after fresh work."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from rules.book import Book, Row
from rules.kinds import kinds
from rules.page import Line, line
from rules.verdict import Verdict
from rules.weather import meets
from scheduler.output.sheets.sheet import Grid, Section, Sheet, Tick
from scheduler.output.words import told, words
from scheduler.planning.model.job import Job, State, Task

NAME: Final = "cold_plan"
TEMPERATURE: Final = ("degF", "degC")
FROST: Final = ("frost", "frozen", "ice_", "snow")  # in the name of a quantity that has no unit
THICKNESS: Final = "section_thickness"
MM: Final = 1000.0  # of a metre: the unit that lengths are compared in
PHASES: Final = ("Before", "During", "After")


def cold_plan(job: Job, book: Book, *, under: str) -> Sheet:
    """Return the plan for the fresh work that is still ahead."""
    ahead = [task for task in job.tasks if task.state is not State.DONE]
    kept = {kind for row in kinds().values() for kind in row.covers}
    kept |= {name for name, row in kinds().items() if row.covers}
    fresh = [task for task in ahead if task.work_type in kept]
    sections = [_work(fresh), _material(job), *(_phase_of(book, p, fresh) for p in PHASES)]
    return Sheet(
        NAME,
        f"Cold-weather work plan: {job.name}",
        under,
        tuple(section for section in sections if section is not None),
        cautions=(
            "Carbon monoxide: a gas meter in every heated tent while people are in it.",
            "Fire: heaters keep their clearance from sheets, and are never left unwatched.",
            "A fresh wall in wind, ice on planks and silica dust hurt people.",
        ),
        signs=("Contractor, date", "Inspector, date"),
    )


def _material(job: Job) -> Section:
    """Return what must be on site before the first cold night, to be ticked."""
    ticks = [Tick(told("measure", name, job.units)) for name in job.on_hand]
    ticks += [
        Tick(f"{told('measure', o.measure)}: from {o.from_whom}, {o.notice_h:g} h notice")
        for o in job.can_be_had
    ]
    return Section("On site, or to be had", ticks=tuple(ticks))


def _work(fresh: Sequence[Task]) -> Section:
    """Return what the plan is for."""
    kinds = dict.fromkeys(task.work_type for task in fresh)
    names = (", ".join(t.name for t in fresh if t.work_type == kind) for kind in kinds)
    told = tuple(f"{words(kind)}: {name}" for kind, name in zip(kinds, names, strict=True))
    return Section("Fresh work ahead", lines=told or ("None.",))


def _phase_of(book: Book, phase: str, fresh: Sequence[Task]) -> Section | None:
    """Return the rows of one phase, each once, with the kinds of work it is for."""
    by_row: dict[str, tuple[Row, list[str]]] = {}
    for kind in dict.fromkeys(task.work_type for task in fresh):
        for row in book.rows_for(kind):
            if _phase(row) == phase and _is_cold(row) and _fits(row, kind, fresh):
                by_row.setdefault(row.id, (row, []))[1].append(words(kind))
    rows = [cells for row, kinds in by_row.values() for cells in _lines(kinds, line(row))]
    if not rows:
        return None
    header = ("For", "What is looked at", "What it asks", "Source")
    return Section(phase, grid=Grid(header, tuple(rows), (4, 5, 11, 6)))


def _fits(row: Row, kind: str, fresh: Sequence[Task]) -> bool:
    """Tell whether a row is for the thickness of any of the tasks; one not told fits every row."""
    told = [t.element.get("section_m") for t in fresh if t.work_type == kind]
    bounds = [c for c in row.when if c.what.endswith(THICKNESS)]
    if not bounds or not told or None in told:
        return True
    sections_mm = np.array([float(str(section)) for section in told]) * MM
    return bool(np.logical_and.reduce([meets(sections_mm, bound) for bound in bounds]).any())


def _phase(row: Row) -> str:
    if row.hours is None:
        return "During"
    begins, ends = str(row.hours.from_), str(row.hours.until)
    if begins.startswith("end"):
        return "After"
    return "Before" if ends.startswith(("start", "now")) else "During"


def _is_cold(row: Row) -> bool:
    """Tell whether a row asks something of the cold: its coldest band does, or it is of frost."""
    if row.unit in TEMPERATURE and row.bands:
        coldest = row.bands[0]
        return coldest.outcome is not Verdict.GO or bool(coldest.measures)
    return any(word in row.quantity for word in FROST)


def _lines(kinds: Sequence[str], told_: Line) -> Iterable[tuple[str, ...]]:
    """Yield the bands that ask for something; a row of plain go asks nothing."""
    bands = [
        str(text)
        for band, text in zip(told_.row.bands, told_.bands, strict=True)
        if band.outcome is not Verdict.GO or band.measures
    ]
    if not bands and not told_.asks:
        return
    looks = told_.looks_at + (f", when {told_.holds_when}" if told_.holds_when else "")
    mark = f" ({told_.marks})" if told_.marks else ""
    asked = [*bands, *([told_.asks] if told_.asks else [])]
    yield ", ".join(kinds), _plain(looks), _plain("\n".join(asked)), f"{told_.source}{mark}"


def _plain(text: str) -> str:
    """Return the book's moments as people say them: ``end+48h`` is 48 h after."""
    text = re.sub(r"\bend\+(\d+)h", r"\1 h after", text)
    text = re.sub(r"\bstart-(\d+)h", r"\1 h before", text)
    return text.replace(", end until", ", from the end until")
