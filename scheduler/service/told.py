"""What people have been told last, and what has changed since that somebody acted on."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from scheduler.output.today_table import measure_line, plain_reason
from scheduler.output.words import clock
from scheduler.planning.model.answer import Outcome, TaskAnswer
from scheduler.planning.model.job import Job
from scheduler.planning.open_house.closein_date import Ends
from scheduler.planning.plan.plan_answer import PlanAnswer

# Of finished work: good, kept by a measure, not known, lost. Higher is worse.
WORSE: Final = {
    Outcome.GO.value: 0,
    Outcome.GO_WITH_PROTECTION.value: 1,
    Outcome.NOT_KNOWN.value: 2,
    Outcome.NO_GO.value: 3,
}
DATE: Final = "date"
NO_DATE: Final = {  # what stands where a date would
    Ends.SEASON_END.value: "no limit passed before season's end",
    Ends.TOO_FEW_YEARS.value: "not known, too few past years",
    Ends.NOT_KNOWN.value: "not known",
}
MANY: Final = 3  # more changes than this come as one message

Told = Mapping[str, str]  # commitment:TASK, appointment:TASK, date → how it stood


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that was acted on and is no longer so."""

    key: str
    was: str
    is_now: str
    line: str  # what a person reads
    urgent: bool = False  # cannot wait for the end of the quiet hours


def told(answers: Sequence[TaskAnswer], plan: PlanAnswer) -> dict[str, str]:
    """Return what a message says that people act on; answers of finished work are commitments."""
    done = {line.id for line in plan.tasks if line.done}
    found = {f"commitment:{a.task}": _stands(a) for a in answers if a.task in done}
    for line in plan.tasks:
        if line.appointment is not None and line.kept is not None and not line.done:
            found[f"appointment:{line.id}"] = "kept" if line.kept else "broken"
    if plan.date is not None:
        safe, ends = plan.date.latest_safe, plan.date.overall.ends
        found[DATE] = safe.isoformat() if safe is not None else ends.value
    return found


def changes(
    job: Job, was: Told, now: Told, answers: Sequence[TaskAnswer], plan: PlanAnswer
) -> tuple[Change, ...]:
    """Return what got worse since people were told; a thing not told of before is no change."""
    found: list[Change] = []
    by_task = {answer.task: answer for answer in answers}
    names = {task.id: task.name for task in job.tasks}
    for key in sorted(now.keys() & was.keys()):
        kind, _, task = key.partition(":")
        name = names.get(task, task)
        if kind == "commitment" and worse(was[key], now[key]):
            line = _commitment(name, by_task[task], job)
            urgent = by_task[task].outcome is not Outcome.NOT_KNOWN
            found.append(Change(key, was[key], now[key], line, urgent))
        elif kind == "appointment" and plan.is_sure and (was[key], now[key]) == ("kept", "broken"):
            found.append(Change(key, was[key], now[key], _appointment(task, plan, job)))
    moved = _moved(was.get(DATE), now.get(DATE), job.messages.moved_days, plan)
    return (*found, moved) if moved else tuple(found)


def after_telling(was: Told, now: Told, made: Sequence[Change]) -> dict[str, str]:
    """Return how things stand as people know them: what is new, what got better, what was told.

    A change that was not told stays as it was, so that it is told later.
    """
    known = {change.key for change in made}
    kept = {}
    for key, value in now.items():
        kind = key.partition(":")[0]
        better = kind == "commitment" and key in was and not worse(was[key], value)
        better = better or (kind == "appointment" and value == "kept")
        kept[key] = value if key not in was or key in known or better else was[key]
    return kept


def dump(found: Told) -> str:
    """Write it down for the next run."""
    return json.dumps(dict(found), sort_keys=True)


def load(text: str) -> dict[str, str]:
    """Read what was written down; nothing where no run has been."""
    return dict(json.loads(text)) if text else {}


def worse(was: str, now: str) -> bool:
    """Tell whether finished work stands worse, or asks for a measure it did not ask for."""
    (old, *had), (new, *asks) = was.split("+"), now.split("+")
    return WORSE[new] > WORSE[old] or bool(set(asks) - set(had))


def _stands(answer: TaskAnswer) -> str:
    return "+".join([answer.outcome.value, *sorted({m.measure for m in answer.measures})])


def _commitment(name: str, answer: TaskAnswer, job: Job) -> str:
    if answer.outcome is Outcome.NOT_KNOWN:
        return f"{name}: whether its protection still holds is not known any more"
    zone = job.site.time_zone
    first = next((line for line in answer.limits if line.outcome is answer.outcome), None)
    at = f" at {clock(first.at, zone)}" if first is not None and first.at is not None else ""
    what = "is broken" if answer.outcome is Outcome.NO_GO else "asks for more"
    lines = [measure_line(measure, job).removeprefix("measure: ") for measure in answer.measures]
    do = "; ".join([plain_reason(answer), *lines]).strip("; ")
    return f"{name}: its protection {what}{at}: {do}".rstrip(": ")


def _appointment(task: str, plan: PlanAnswer, job: Job) -> str:
    line = next(line for line in plan.tasks if line.id == task)
    zone = job.site.time_zone
    who = f" with {line.who}" if line.who else ""
    now = f"; the plan has it {clock(line.start, zone)}" if line.start else "; it has no place now"
    was = clock(line.appointment, zone)
    return f"{line.name}: the appointment{who} of {was} no longer holds{now}"


def _moved(was: str | None, now: str | None, by: int, plan: PlanAnswer) -> Change | None:
    if was is None or now is None or was == now:
        return None
    if not {was, now} & set(NO_DATE):
        days = (date.fromisoformat(now) - date.fromisoformat(was)).days
        if abs(days) < by:
            return None
    margin = plan.date.margin_days if plan.date else None
    room = "" if margin is None else f"; margin {margin} days"
    line = f"Latest safe close-in: {NO_DATE.get(now, now)}, was {NO_DATE.get(was, was)}{room}"
    return Change(DATE, was, now, line)
