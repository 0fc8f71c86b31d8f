"""The briefing as plain text and as HTML that reads with images off and on a phone."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from scheduler.output.today_table import OUTCOME_WORDS, limit_line, measure_line
from scheduler.output.words import clock, span, words
from scheduler.planning.answer import Outcome, TaskAnswer
from scheduler.planning.briefing import CALL_WORDS, Brief
from scheduler.planning.job import Job

if TYPE_CHECKING:
    from jinja2 import Environment


def brief_text(brief: Brief, job: Job, plan_lines: tuple[str, ...]) -> str:
    """Return the message as text, 78 columns or less where words allow."""
    return _render("brief.txt.jinja", brief, job, plan_lines)


def brief_html(brief: Brief, job: Job, plan_lines: tuple[str, ...]) -> str:
    """Return the message as one HTML page without outside parts."""
    return _render("brief.html.jinja", brief, job, plan_lines)


def _render(template: str, brief: Brief, job: Job, plan_lines: tuple[str, ...]) -> str:
    zone = job.site.time_zone
    names = {task.id: task.name for task in job.tasks}
    rows = [_row(answer, names, job) for answer in brief.answers]
    return (
        _environment()
        .get_template(template)
        .render(
            brief=brief,
            job=job,
            rows=rows,
            at=clock(brief.at, zone),
            plan_lines=plan_lines,
            decide=[(name, clock(d.at, zone), d.why) for name, d in brief.decide],
            tell=[
                (words(t.whom), t.what, clock(t.by, zone) if t.by else "") for _, t in brief.tell
            ],
        )
    )


def _row(answer: TaskAnswer, names: dict[str, str], job: Job) -> dict[str, object]:
    zone = job.site.time_zone
    window, following = answer.window, answer.next_window
    return {
        "name": names.get(answer.task, answer.task),
        "call": CALL_WORDS[answer.call],
        "kind": answer.call.value,
        "verdict": OUTCOME_WORDS[answer.outcome],
        "when": span(window.start, window.end, zone) if window else "",
        "next": clock(following.start, zone) if following else "",
        "reason": answer.reason,
        "limits": [
            limit_line(line, job) for line in answer.limits if line.outcome is not Outcome.GO
        ],
        "measures": [measure_line(line, job) for line in answer.measures],
        "checks": [check.text or words(check.check) for check in answer.checks],
        "holds": [f"{words(h.by)} decides: {h.needs}" for h in answer.holds],
    }


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

    return Environment(
        loader=PackageLoader("scheduler.output", "templates"),
        autoescape=select_autoescape(("html.jinja", "html"), default_for_string=False),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
