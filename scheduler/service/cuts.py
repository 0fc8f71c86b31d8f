"""What each person gets of a morning or an evening.

The whole, their crew's lines, the date, or the records. Each cut carries its cautions and the
line that others decide.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from rules.brought import hurt
from scheduler.output.brief_message import brief_html, brief_text
from scheduler.output.calendar_feed import Told, calendar_feed, told_from
from scheduler.output.leave_table import leave_lines
from scheduler.output.letter import File, Letter, Picture, one_line, small
from scheduler.output.log_table import entry_line
from scheduler.output.plan_chart import plan_chart
from scheduler.output.plan_table import plan_lines
from scheduler.output.risk_chart import risk_chart
from scheduler.output.sheets.page import page
from scheduler.output.sheets.sheet import Grid, Section, Sheet, Tick
from scheduler.output.today_table import caution_words, check_words, measure_line
from scheduler.output.words import clock, day, span, words
from scheduler.output.words import told as caution_text
from scheduler.planning.model.answer import TaskAnswer
from scheduler.planning.model.job import Job, Recipient
from scheduler.planning.plan.plan_answer import PlanLine
from scheduler.planning.reports.briefing import CALL_WORDS, LINE
from scheduler.runs.brief import Morning

LOG: Final = logging.getLogger("closein.cuts")
SHORTEST: Final = 300  # characters of a short text: two telephone messages
MONDAY: Final = 0
MOST_CAUTIONS: Final = 3  # of a short text; all stand in the whole message
BOX: Final = "[ ] "  # how a line to tick off begins in a text


@dataclass(frozen=True, slots=True)
class Said:
    """A morning or an evening, and what stands above everything in it."""

    morning: Morning
    job: Job
    evening: bool
    notes: tuple[str, ...]  # late, days missed, messages in doubt, weather not to be had
    page: str = ""
    calendar: str = "{}"  # what the calendar said before

    @property
    def at(self) -> datetime:
        """Return the moment it answers for."""
        return self.morning.brief.at

    @property
    def about(self) -> date:
        """Return the day it is about: today, in the evening tomorrow."""
        today = self.at.astimezone(ZoneInfo(self.job.site.time_zone)).date()
        return today + timedelta(days=1) if self.evening else today


def cut(said: Said, to: Recipient) -> Letter | None:
    """Return what a recipient gets; None where nothing of it is for them."""
    if to.short:
        line = short_line(said, to)
        return Letter(said.morning.brief.subject, line) if line else None
    return {"whole": _whole, "crew": _crew, "owner": _owner, "inspector": _records}[to.gets](
        said, to
    )


def short_line(said: Said, to: Recipient) -> str:
    """Return a person's one line; empty where there is nothing to say to them.

    What can hurt stands at its end and is never cut off.
    """
    notes = " ".join(f"{note}." for note in said.notes)
    tasks = {line.id for line in _lines_of(said, to.crew)}
    if to.gets == "owner":
        return one_line(f"{said.job.name}: {_range(said)}. {notes}", SHORTEST)
    if to.gets == "whole" and not said.evening:
        told = f"{said.morning.brief.subject}."
        tasks = {answer.task for answer in said.morning.brief.acting}
    else:
        own = "; ".join(f"{name}: {call}{when}" for name, call, when in _crew_lines(said, to.crew))
        if not own and to.gets == "crew":
            return ""
        told = f"{day(said.about, 'UTC')} {own or 'nothing is planned'}."
    beware = _beware(said, tasks)
    return f"{one_line(f'{told} {notes}', SHORTEST - len(beware))}{beware}"


def _beware(said: Said, tasks: Collection[str]) -> str:
    keys = {c.caution for a in said.morning.today.answers if a.task in tasks for c in a.cautions}
    found = [caution_text("caution", key) for key in hurt() if key in keys][:MOST_CAUTIONS]
    return f" Beware: {', '.join(found)}." if found else ""


def texts(said: Said) -> tuple[tuple[str, str], ...]:
    """Return short texts ready to be copied, one line a reader: everything, each crew, the owner.

    A crew without work that day is left out.
    """
    readers = [("everyone", Recipient(""))]
    readers += [(c.name, Recipient("", gets="crew", crew=c.id)) for c in said.job.crews]
    readers += [("owner", Recipient("", gets="owner"))]
    lines = ((name, short_line(said, to)) for name, to in readers)
    return tuple((name, line) for name, line in lines if line)


def _whole(said: Said, _: Recipient) -> Letter:
    if said.evening:
        return _sheet_letter(_tomorrow(said, ""), said)
    made, job = said.morning, said.job
    lines = plan_lines(made.planned.answer, job)
    pictures = _pictures(said)
    return Letter(
        made.brief.subject,
        brief_text(made.brief, job, lines, notes=said.notes, page=said.page),
        brief_html(made.brief, job, lines, notes=said.notes, pictures=pictures, page=said.page),
        pictures,
        (_calendar(said, ""),),
    )


def feed_of(said: Said, before: str) -> tuple[bytes, Mapping[str, Told]]:
    """Return the whole plan as a calendar, and what it says, for the next one."""
    answers = {answer.task: answer for answer in said.morning.today.answers}
    plan = said.morning.planned.answer
    return calendar_feed(plan, said.job, answers=answers, told=told_from(before))


def _calendar(said: Said, crew: str) -> File:
    """Return the plan for a calendar: the whole, or a crew's own with the same numbers."""
    raw, told = feed_of(said, said.calendar)
    if crew:
        plan = said.morning.planned.answer
        own = replace(plan, tasks=tuple(line for line in plan.tasks if crew in line.crew))
        answers = {answer.task: answer for answer in said.morning.today.answers}
        _, named = calendar_feed(own, said.job, answers=answers)
        kept = {uid: one for uid, one in told.items() if uid in named}
        raw, _ = calendar_feed(own, said.job, answers=answers, told=kept)
    return File("plan.ics", "text/calendar", raw)


def _pictures(said: Said) -> tuple[Picture, ...]:
    """Return the pictures; one that cannot be drawn is logged and never stops a morning."""
    planned, job = said.morning.planned, said.job
    found = planned.answer.date
    draw: dict[str, tuple[str, Callable[[], bytes]]] = {
        "plan": (
            "The plan as bars; its days stand in the calendar file",
            lambda: plan_chart(
                planned.answer, job, hours=planned.hourly, hour_zero=planned.frame.hour_zero
            ),
        )
    }
    if found is not None and found.risk.size:
        about = f"Risk of a passed limit by day. {_range(said)}"
        draw["risk"] = (about, lambda: risk_chart(found, job))
    made = []
    for name, (about, drawn) in draw.items():
        try:
            made.append(Picture(name, about, small(drawn())))
        except Exception:  # whatever a chart library stumbles over, the calls must arrive
            LOG.exception("picture not drawn", extra={"job": job.id, "kind": name})
    return tuple(made)


def _crew(said: Said, to: Recipient) -> Letter | None:
    """Return a crew's lines of the day; none where it has none."""
    if not _lines_of(said, to.crew):
        return None
    return replace(
        _sheet_letter(_tomorrow(said, to.crew), said), files=(_calendar(said, to.crew),)
    )


def _owner(said: Said, _: Recipient) -> Letter | None:
    """Return the date range and why, on Mondays and when something stands above it."""
    if said.evening or (said.about.weekday() != MONDAY and not said.notes):
        return None
    lines = plan_lines(said.morning.planned.answer, said.job)
    sheet = Sheet(
        "owner",
        f"{said.job.name}: {_range(said)}",
        f"as of {clock(said.at, said.job.site.time_zone)}",
        (Section("Close-in", lines=lines),),
        cautions=("People can be hurt on the site; stay out unless someone takes you round.",),
    )
    return _sheet_letter(sheet, said)


def _records(said: Said, _: Recipient) -> Letter | None:
    """Return the day's log and what is kept under protection, in the evening."""
    if not said.evening:
        return None
    job, zone = said.job, said.job.site.time_zone
    today = said.at.astimezone(ZoneInfo(zone)).date()
    entries = [
        entry
        for entry in said.morning.today.gathered.progress.entries
        if entry.at.astimezone(ZoneInfo(zone)).date() == today
    ]
    done = {line.id for line in said.morning.planned.answer.tasks if line.done}
    kept = [a for a in said.morning.today.answers if a.task in done]
    if not entries and not kept:
        return None
    names = {task.id: task.name for task in job.tasks}
    sections = (
        Section(
            "Written down today",
            lines=tuple(entry_line(entry, job) for entry in entries) or ("Nothing.",),
        ),
        Section(
            "Under protection",
            lines=tuple(
                f"{names.get(a.task, a.task)}: {words(a.outcome.value)}. {a.reason}" for a in kept
            ),
        ),
    )
    sheet = Sheet("records", f"Records of {day(today, zone)}: {job.name}", clock(said.at, zone),
                  tuple(s for s in sections if s.lines))  # fmt: skip
    return _sheet_letter(sheet, said)


def _tomorrow(said: Said, crew: str) -> Sheet:
    """Return the day's page: all of it, or a crew's own part."""
    job, zone = said.job, said.job.site.time_zone
    lines = _lines_of(said, crew)
    by_task = {a.task: a for a in said.morning.today.answers}
    told = [by_task[line.id] for line in lines if line.id in by_task]
    names = {one.id: one.name for one in job.crews}
    rows = tuple(
        (
            ", ".join(names.get(own, own) for own in line.crew) or "–",
            line.name,
            span(line.start, line.finish, zone),
            CALL_WORDS[by_task[line.id].call] if line.id in by_task else "–",
        )
        for line in lines
    )
    grid = Grid(("Who", "What", "When", "Call now"), rows) if rows else None
    sections = [
        Section(
            f"{day(said.about, zone)}: who and what",
            lines=() if rows else ("Nothing is planned.",),
            grid=grid,
        ),
        Section("Check first", ticks=_ticks(t for a in told for t in check_words(a, job.units))),
        Section(
            "Fetch and keep on",
            ticks=_ticks(
                measure_line(m, job).removeprefix("measure: ")
                for a in told
                for m in a.measures
                if m.end is None or m.end.astimezone(ZoneInfo(zone)).date() >= said.about
            ),
        ),
    ]
    if not crew:
        sections += _calls_and_leaves(said)
    when = "Tomorrow" if said.evening else "Today"
    return Sheet(
        "day",
        f"{when} {day(said.about, zone)}: {_head(said, crew)}",
        f"{job.name}, as of {clock(said.at, zone)}",
        tuple(s for s in sections if s.lines or s.ticks or s.grid),
        cautions=tuple(caution_words(told)),
    )


def tomorrow_told(said: Said) -> str:
    """Return the next day's page, ready to be printed."""
    return page(_tomorrow(replace(said, evening=True), ""))


def _calls_and_leaves(said: Said) -> list[Section]:
    job, zone = said.job, said.job.site.time_zone
    soon = said.at + timedelta(hours=48)
    brief = said.morning.brief
    calls = (f"{clock(d.at, zone)} {name}: {d.why}" for name, d in brief.decide if d.at <= soon)
    sections = [Section("Decide by", ticks=_ticks(calls))]
    for leave in brief.leaves:
        head, *lines = leave_lines(leave, job, short=True)
        boxes = [line for line in lines if line.startswith(BOX)]
        sections.append(
            Section(
                f"Before you leave: {head}",
                lines=tuple(line for line in lines if not line.startswith(BOX)),
                ticks=_ticks(line.removeprefix(BOX) for line in boxes),
            )
        )
    return sections


def _sheet_letter(sheet: Sheet, said: Said) -> Letter:
    if said.notes:
        first = Section("First", lines=said.notes)
        sheet = Sheet(
            sheet.name, sheet.title, sheet.under, (first, *sheet.sections), sheet.cautions
        )
    age = said.morning.brief.age_h
    stale = "age not known" if age is None else f"{age:.0f} h old"
    late = ": too old, nothing goes on it" if said.morning.brief.stale else ""
    under = f"{sheet.under}. Forecast {stale}{late}."
    sheet = Sheet(sheet.name, sheet.title, under, sheet.sections, sheet.cautions)
    return Letter(one_line(sheet.title), sheet_text(sheet), page(sheet))


def sheet_text(sheet: Sheet) -> str:
    """Return a sheet as plain text."""
    out = [sheet.title, sheet.under]
    for section in sheet.sections:
        out += ["", section.heading, *(f"  {line}" for line in section.lines)]
        out += [f"  [ ] {tick.text}" for tick in section.ticks]
        for row in section.grid.rows if section.grid else ():
            out.append("  " + " | ".join(row))
    if sheet.cautions:
        out += ["", "Cautions", *(f"  {text}" for text in sheet.cautions)]
    return "\n".join([*out, "", LINE, ""])


def _head(said: Said, crew: str) -> str:
    lines = _crew_lines(said, crew)
    return "; ".join(f"{name}: {call}" for name, call, _ in lines) or "nothing is planned"


def _lines_of(said: Said, crew: str) -> list[PlanLine]:
    zone = ZoneInfo(said.job.site.time_zone)

    def on(line: PlanLine) -> bool:
        if line.start is None or line.finish is None or line.done:
            return False
        first, last = (m.astimezone(zone).date() for m in (line.start, line.finish))
        return first <= said.about <= last and (not crew or crew in line.crew)

    return [line for line in said.morning.planned.answer.tasks if on(line)]


def _crew_lines(said: Said, crew: str) -> list[tuple[str, str, str]]:
    by_task: dict[str, TaskAnswer] = {a.task: a for a in said.morning.today.answers}
    zone = ZoneInfo(said.job.site.time_zone)
    found = []
    for line in _lines_of(said, crew):
        call = CALL_WORDS[by_task[line.id].call] if line.id in by_task else "planned"
        start = line.start.astimezone(zone) if line.start else None
        when = f" {start:%H:%M}" if start is not None and start.date() == said.about else ""
        found.append((line.name, call, when))
    return found


def _range(said: Said) -> str:
    """Return the owner's line: between when and when, and the latest safe date."""
    plan, zone = said.morning.planned.answer, said.job.site.time_zone
    first = plan.middle_close_in or plan.close_in
    parts = ["close-in not known"]
    if first is not None:
        last = f" to {day(plan.late_close_in, zone)}" if plan.late_close_in else ""
        parts = [f"close-in {day(first, zone)}{last}"]
    if plan.date is not None and plan.date.latest_safe is not None:
        parts.append(f"latest safe {plan.date.latest_safe:%a %-d %b}")
    return ", ".join(parts)


def _ticks(texts: Iterable[str]) -> tuple[Tick, ...]:
    return tuple(dict.fromkeys(Tick(text) for text in texts))
