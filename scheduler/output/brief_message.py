"""The briefing as plain text and as HTML that reads with images off and on a phone."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from scheduler.output.environment import environment
from scheduler.output.leave_table import leave_lines
from scheduler.output.letter import Picture
from scheduler.output.plan_table import plan_lines
from scheduler.output.today_table import (
    caution_words,
    check_words,
    is_shown,
    limit_line,
    measure_line,
    plain_reason,
    said_lines,
    strength_lines,
    value_line,
)
from scheduler.output.weather_table import alert_lines, noticed_lines
from scheduler.output.words import clock, span, words
from scheduler.planning.model.answer import Call, Outcome, TaskAnswer
from scheduler.planning.model.job import Job
from scheduler.planning.plan.plan_answer import PlanAnswer
from scheduler.planning.reports.briefing import CALL_WORDS, LINE, Brief

BRIEF_VERSION = "closein-brief/1"
MAY_GO = (Call.GO, Call.GO_WITH_PROTECTION)  # what refuses is told at once, the rest under Why


def brief_files(brief: Brief, plan: PlanAnswer, job: Job) -> dict[str, str]:
    """Return the message as files, by name."""
    lines = plan_lines(plan, job)
    return {
        "brief.txt": brief_text(brief, job, lines),
        "brief.html": brief_html(brief, job, lines),
    }


def brief_document(brief: Brief, plan: PlanAnswer, files: Sequence[Path]) -> dict[str, object]:
    """Return the message as data for ``--json``."""
    return {
        "version": BRIEF_VERSION,
        "brief": brief,
        "plan": plan,
        "files": [str(path) for path in files],
    }


def brief_text(
    brief: Brief, job: Job, lines: tuple[str, ...], *, notes: Sequence[str] = (), page: str = ""
) -> str:
    """Return the message as text, 78 columns or less where words allow; notes stand on top."""
    return _render("brief.txt.jinja", brief, job, lines, notes, (), page)


def brief_html(
    brief: Brief,
    job: Job,
    lines: tuple[str, ...],
    *,
    notes: Sequence[str] = (),
    pictures: Sequence[Picture] = (),
    page: str = "",
) -> str:
    """Return the message as one HTML page; its pictures are named as a letter's are."""
    return _render("brief.html.jinja", brief, job, lines, notes, pictures, page)


def _render(
    template: str,
    brief: Brief,
    job: Job,
    lines: tuple[str, ...],
    notes: Sequence[str],
    pictures: Sequence[Picture],
    page: str,
) -> str:
    told = brief_told(brief, job, lines, notes=notes)
    return environment().get_template(template).render(pictures=pictures, page=page, **told)


def brief_told(
    brief: Brief, job: Job, lines: Sequence[str], *, notes: Sequence[str] = ()
) -> dict[str, object]:
    """Return all that the message says, in words, as JSON can hold it."""
    zone = job.site.time_zone
    names = {task.id: task.name for task in job.tasks}
    return {
        "name": job.name,
        "subject": brief.subject,
        "age_h": brief.age_h,
        "stale": brief.stale,
        "rows": [_row(answer, names, job) for answer in brief.acting],
        "waiting": [[names.get(a.task, a.task), a.reason] for a in brief.answers if a.waits_for],
        "at": clock(brief.at, zone),
        "cautions": caution_words(brief.acting),
        "line": LINE,
        "weather": [*alert_lines(brief.alerts, zone), *noticed_lines(brief.noticed)],
        "plan_lines": list(lines),
        "notes": list(notes),
        "leaves": [list(leave_lines(leave, job, short=True)) for leave in brief.leaves],
        "decide": [[name, clock(d.at, zone), d.why] for name, d in brief.decide],
        "tell": [
            [words(t.whom), t.what, clock(t.by, zone) if t.by else ""] for _, t in brief.tell
        ],
    }


def _row(answer: TaskAnswer, names: dict[str, str], job: Job) -> dict[str, object]:
    zone = job.site.time_zone
    window, following = answer.window, answer.next_window
    against = [line for line in answer.limits if line.outcome is not Outcome.GO]
    later = following and is_shown(answer) and not (window and following.start == window.start)
    return {
        "task": answer.task,
        "name": names.get(answer.task, answer.task),
        "ends": window.end.isoformat() if window else "",
        "call": CALL_WORDS[answer.call],
        "kind": answer.call.value,
        "when": span(window.start, window.end, zone) if window and is_shown(answer) else "",
        "next": clock(following.start, zone) if following and later else "",
        "reason": plain_reason(answer),
        "because": ""
        if answer.call in MAY_GO
        else "; ".join(value_line(line, job) for line in against[:2]),
        "limits": [limit_line(line, job) for line in against],
        "measures": said_lines(answer, job)
        + [measure_line(line, job).removeprefix("measure: ") for line in answer.measures],
        "strength": strength_lines(answer, zone),
        "checks": check_words(answer, job.units),
        "holds": [f"{words(h.by)} decides: {h.needs}" for h in answer.holds],
    }
