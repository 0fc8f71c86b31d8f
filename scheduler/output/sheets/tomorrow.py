"""Tomorrow on one page: who does what when, what to check first, what to fetch, whom to tell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from scheduler.output.sheets.sheet import Grid, Section, Sheet, Tick
from scheduler.output.today_table import caution_words, check_words, measure_line
from scheduler.output.words import clock, day, span, words
from scheduler.planning.model.answer import TaskAnswer
from scheduler.planning.model.job import Job
from scheduler.planning.plan.plan_answer import PlanLine
from scheduler.planning.reports.briefing import CALL_WORDS
from scheduler.planning.reports.sheet_parts import SheetParts

NAME: Final = "tomorrow"


def tomorrow(job: Job, parts: SheetParts, *, under: str) -> Sheet:
    """Return the page for the local day after the moment of the parts."""
    zone = ZoneInfo(job.site.time_zone)
    at, answers = parts.at, parts.answers
    wanted = at.astimezone(zone).date() + timedelta(days=1)
    by_task = {answer.task: answer for answer in answers}

    def on(moment: datetime | None) -> bool:
        return moment is not None and moment.astimezone(zone).date() == wanted

    def spans(line: PlanLine) -> bool:
        if line.start is None or line.finish is None or line.done:
            return False
        return line.start.astimezone(zone).date() <= wanted <= line.finish.astimezone(zone).date()

    def reaches(start: datetime | None, end: datetime | None) -> bool:
        first = wanted if start is None else start.astimezone(zone).date()
        last = wanted if end is None else end.astimezone(zone).date()
        return first <= wanted <= last

    lines = [line for line in parts.plan.tasks if spans(line)]
    told = [by_task[line.id] for line in lines if line.id in by_task]
    calls = [
        Tick(f"{clock(d.at, job.site.time_zone)}: {d.why}")
        for a in answers
        for d in a.decide_by
        if on(d.at)
    ]
    sections = [
        Section(
            f"{day(wanted, job.site.time_zone)}: who and what",
            lines=() if lines else ("Nothing is planned.",),
            grid=_who(job, lines, by_task) if lines else None,
        ),
        Section("Check first", ticks=_ticks(told, lambda answer: check_words(answer, job.units))),
        Section(
            "Fetch and keep on",
            ticks=tuple(
                dict.fromkeys(
                    Tick(measure_line(m, job).removeprefix("measure: "))
                    for a in answers
                    for m in a.measures
                    if reaches(m.start, m.end)
                )
            ),
        ),
        Section("Decide by", ticks=tuple(dict.fromkeys(calls))),
        Section(
            "Holds",
            ticks=tuple(
                dict.fromkeys(
                    Tick(f"{words(h.by)} decides: {h.needs}") for a in told for h in a.holds
                )
            ),
        ),
    ]
    return Sheet(
        NAME,
        f"Tomorrow: {job.name}",
        under,
        tuple(s for s in sections if s.lines or s.ticks or s.grid),
        cautions=tuple(caution_words(told)),
    )


def _who(job: Job, lines: Sequence[PlanLine], by_task: dict[str, TaskAnswer]) -> Grid:
    crews = {crew.id: crew.name for crew in job.crews}
    rows = tuple(
        (
            ", ".join(crews.get(crew, crew) for crew in line.crew) or "–",
            line.name,
            span(line.start, line.finish, job.site.time_zone),
            CALL_WORDS[by_task[line.id].call] if line.id in by_task else "–",
        )
        for line in lines
    )
    return Grid(("Who", "What", "When", "Call now"), rows, (4, 7, 6, 4))


def _ticks(
    answers: Sequence[TaskAnswer], of: Callable[[TaskAnswer], Sequence[str]]
) -> tuple[Tick, ...]:
    return tuple(dict.fromkeys(Tick(text) for answer in answers for text in of(answer)))
