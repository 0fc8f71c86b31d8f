"""What a person writes on the log page: taken by the same reader as the command, once.

The form makes a key of its own; the same key again, from a second press or a bad line, writes
nothing. Entry and key stand or fall together.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Final

from rules.errors import BadInput
from scheduler.planning.messages import Watched
from scheduler.planning.records import Inputs
from scheduler.runs.log import entries_given, log
from scheduler.service.desks import Service
from scheduler.service.links import Link

POSTED: Final = "posted"  # the kind under which keys are kept
LEAST_KEY, MOST_KEY = 16, 64
TOLD: Final = ("started", "finished", "lost", "reading", "note")


def take(service: Service, link: Link, fields: Mapping[str, str]) -> str:
    """Write down what a form says and return what was done.

    Parameters
    ----------
    service : Service
    link : Link
        Who writes; their name stands in the entry.
    fields : mapping
        ``what`` (started, finished, lost, reading, note), ``task``, ``hours``, ``cause``,
        ``quantity``, ``value``, ``unit``, ``place``, ``text``, ``key``.

    Raises
    ------
    CloseinError
        If the entry cannot be taken; nothing is written then.
    """
    key, watched = fields.get("key", ""), _watched(service, link.job)
    if not LEAST_KEY <= len(key) <= MOST_KEY:
        raise BadInput("the form has no key; load the page again")
    given = entries_given(_told(fields), _details(fields, link.who), from_file=False)
    now = service.clock()
    desk = service.desk(watched, now, "kept")
    with service.store.together():
        before = service.store.decisions(link.job, kind=POSTED)
        if any(json.loads(row.answer)["key"] == key for row in before):
            return "written down already"
        done = log(desk, given, replan=False)
        told = json.dumps({"key": key, "who": link.who, "entries": [e.seq for e in done.entries]})
        inputs = Inputs(job_text=b"", log_position=0)
        service.store.keep_decision(
            link.job, POSTED, told.encode(), inputs, at=now, entered_at=now
        )
    return f"written down as {', '.join(str(entry.seq) for entry in done.entries)}"


def _watched(service: Service, job: str) -> Watched:
    for one in service.store.runs.watched():
        if one.job == job:
            return one
    raise BadInput(f"{job} is not looked after any more; write it down with closein log")


def _told(fields: Mapping[str, str]) -> dict[str, object]:
    """Return what is told, as the command's options would have it."""
    what, task = fields.get("what", ""), fields.get("task", "")
    if what not in TOLD:
        raise BadInput(f"{what!r} is nothing to write down; want one of {', '.join(TOLD)}")
    if what in {"started", "finished"}:
        return {what: task}
    if what == "lost":
        return {"lost": _number(fields, "hours")}
    if what == "reading":
        names = ("quantity", "value", "unit")
        return {"reading": tuple(fields.get(name, "") for name in names)}
    return {"note": fields.get("text", "")}


def _details(fields: Mapping[str, str], who: str) -> dict[str, object]:
    own = {name: fields.get(name) or None for name in ("cause", "task", "place")}
    return {**own, "unit": None, "who": who, "when": None}


def _number(fields: Mapping[str, str], name: str) -> float:
    try:
        return float(fields.get(name, ""))
    except ValueError:
        raise BadInput(f"{name} is {fields.get(name, '')!r}; want a number such as 4.5") from None
