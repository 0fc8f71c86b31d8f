"""Answers as a readable table: one line a task, then why, what to fetch and what to check."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from rules.brought import gravest_first, own_words
from rules.gates import gates
from rules.shown import prose
from scheduler.output.weather_table import alert_lines, provenance_lines
from scheduler.output.words import clock, number, span, told, words
from scheduler.planning.calls.strength import FREEZES
from scheduler.planning.model.answer import (
    UNTIL,
    Call,
    CautionLine,
    LimitLine,
    MeasureLine,
    Outcome,
    TaskAnswer,
)
from scheduler.planning.model.job import Job
from scheduler.planning.reports.briefing import CALL_WORDS, LINE, ahead
from scheduler.planning.tables.hours import Forecast

# A word stands beside every colour, so none is needed to understand the table.
STYLE: Mapping[str, str] = {
    "go": "green",
    "go_with_protection": "yellow",
    "prepare": "yellow",
    "wait": "magenta",
    "hold": "magenta",
    "stop": "bold red",
    "claim": "cyan",
}
OUTCOME_WORDS: Mapping[Outcome, str] = {
    Outcome.GO: "go",
    Outcome.GO_WITH_PROTECTION: "go with protection",
    Outcome.NO_GO: "no-go",
    Outcome.NOT_KNOWN: "not known",
}


def today_table(
    job: Job,
    answers: Sequence[TaskAnswer],
    forecast: Forecast,
    *,
    at: datetime,
    close_in: str = "",
) -> RenderableType:
    """Return the overview and, under it, each task's reasons; the date in words on top."""
    names = {task.id: task.name for task in job.tasks}
    zone = job.site.time_zone
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("Task", "Call", "Verdict", "Window", "Next"):
        table.add_column(title, overflow="fold")
    for answer in answers:
        window = answer.window
        following = answer.next_window
        table.add_row(
            names.get(answer.task, answer.task),
            Text(CALL_WORDS[answer.call], style=STYLE[answer.call]),
            OUTCOME_WORDS[answer.outcome],
            span(window.start, window.end, zone) if window and is_shown(answer) else "–",
            span(following.start, following.end, zone)
            if following and following != window
            else "–",
        )
    details = [_detail(job, names, answer) for answer in answers]
    alerts = None if forecast.alerts is None else ahead(forecast.alerts, at)
    said = [*provenance_lines(forecast, job.site, at), *alert_lines(alerts, zone)]
    said += [close_in] if close_in else []
    return Group(*(Text(line) for line in said), table, *details, Text(f"\n{LINE}"))


def _detail(job: Job, names: Mapping[str, str], answer: TaskAnswer) -> RenderableType:
    zone = job.site.time_zone
    head = Text(f"\n{names.get(answer.task, answer.task)}: ", style="bold")
    head.append(CALL_WORDS[answer.call], style=STYLE[answer.call])
    if reason := plain_reason(answer):
        head.append(f" – {reason}", style="")
    if answer.waits_for:  # the day's details matter when its turn comes
        return head
    lines = [limit_line(line, job) for line in answer.limits if line.outcome is not Outcome.GO]
    lines += said_lines(answer, job)
    lines += [measure_line(line, job) for line in answer.measures]
    lines += strength_lines(answer, zone)
    if answer.checks:
        lines.append("check first: " + "; ".join(check_words(answer, job.units)))
    lines += [f"hold: {words(h.by)} decides; needs to see {h.needs}" for h in answer.holds]
    lines += [f"decide by {clock(d.at, zone)}: {d.why}" for d in answer.decide_by]
    lines += [
        f"tell {words(t.whom)}: {t.what}" + (f" (by {clock(t.by, zone)})" if t.by else "")
        for t in answer.tell
    ]
    here = {task.work_type for task in job.tasks}  # of other work the job has nothing to order
    lines += [
        f"{words(o.before)} comes before {words(o.after)}"
        for o in answer.order
        if {o.before, o.after} <= here
    ]
    if answer.cautions:
        lines.append("cautions: " + "; ".join(caution_words([answer])))
    return Group(head, *(Padding(Text(line), (0, 0, 0, 2)) for line in lines))


def is_shown(answer: TaskAnswer) -> bool:
    """Tell whether the hours judged are hours to work in; those of a wait are not."""
    return answer.call is not Call.WAIT


def plain_reason(answer: TaskAnswer) -> str:
    """Return the reason in one line, without what only repeats a limit that is told below."""
    told_below = [words(limit.quantity) for limit in answer.limits]
    told_below.append(words(answer.call.value))
    first, _, why = answer.reason.rpartition(UNTIL)
    return first if (why or first).startswith(tuple(told_below)) else answer.reason


def said_lines(answer: TaskAnswer, job: Job) -> list[str]:
    """Return what bands that let the work go still say, each thing once."""
    said = {
        line.says: f"{prose(line.says, job.units)} ({value_line(line, job)})"
        for line in answer.limits
        if line.says and line.outcome is Outcome.GO
    }
    return list(said.values())


def check_words(answer: TaskAnswer, units: str) -> list[str]:
    """Return what to look at on site first, each thing once."""
    return list(dict.fromkeys(told("check", line.check, units) for line in answer.checks))


def caution_words(answers: Sequence[TaskAnswer]) -> list[str]:
    """Return how people can be hurt and what must not be believed, the gravest first."""
    found = {line.caution: line for answer in reversed(answers) for line in answer.cautions}
    return list(dict.fromkeys(caution_line(found[name]) for name in gravest_first(found)))


def caution_line(line: CautionLine) -> str:
    """Return a caution in the book's words, or in the day's where those say it."""
    own = line.caution in own_words() and line.text
    return f"{words(line.caution)}: {line.text}" if own else told("caution", line.caution)


def limit_line(line: LimitLine, job: Job) -> str:
    """Return one limit in words: outcome, value, hour, allowed range, source."""
    text = f"{OUTCOME_WORDS[line.outcome]}: {value_line(line, job)}"
    if line.allowed:
        text += f"; allowed {prose(line.allowed, job.units)}"
    if line.says:
        text += f": {prose(line.says, job.units)}"
    source = " ".join(prose(part, job.units) for part in (line.source, line.clause) if part)
    mark = ", to be verified" if line.verify else ""
    by = f"; set by {line.overridden_by}" if line.overridden_by else ""
    return f"{text} [{source or line.rule}{mark}]{by}"


def value_line(line: LimitLine, job: Job) -> str:
    """Return what a limit looked at: quantity, value, place and hour."""
    zone = job.site.time_zone
    taken = "" if line.taken_as in {"value", ""} else f" ({words(line.taken_as)})"
    value = number(line.value, line.unit, job.units, zone)
    text = f"{words(line.quantity)}{taken} {value}"
    if line.place:
        text += f" at {line.place}"
    if line.at is not None:
        text += f", {clock(line.at, zone)}"
    elif line.window is not None:
        text += f", {span(line.window.start, line.window.end, zone)}"
    return text


def strength_lines(answer: TaskAnswer, zone: str) -> list[str]:
    """Return the book's end of protection, and beside it what the wall model says."""
    told = {n.quantity: n.value for n in answer.numbers if isinstance(n.value, datetime)}
    lines = []
    if "protect_until" in told:
        lines.append(f"by the book keep it protected until {clock(told['protect_until'], zone)}")
    if "freeze_safe_at" in told:
        lines.append(
            f"by the model it resists one freeze from {clock(told['freeze_safe_at'], zone)}"
        )
    for name, at in told.items():
        purpose = name.removeprefix("gate_")
        if purpose != name:
            row = gates().get(purpose)
            title = words(purpose) if row is None else row.title
            lines.append(f"by the model {title} from {clock(at, zone)}")
    return lines


def measure_line(line: MeasureLine, job: Job) -> str:
    """Return one measure in words: what, from when until when, and whether it is on hand."""
    when = span(line.start, line.end, job.site.time_zone)
    if line.text and (line.end is None or line.rule == FREEZES):
        when += f"{' ' if line.end is None else '; '}{prose(line.text, job.units)}"
    absent = "" if line.on_hand else " (not on site: get it)"
    return f"measure: {told('measure', line.measure, job.units)}, {when}{absent}"
