"""What a person writes on the log page: taken by the same reader as the command, once.

The form makes a key of its own; the same key again, from a second press, a bad line or a phone
that was without signal, writes nothing. Entry, photo and key stand or fall together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from rules.errors import BadInput, NotNow
from scheduler.interfaces.messages import Watched
from scheduler.runs.log import entries_given, log
from scheduler.service.desks import Service
from scheduler.service.photos import MEDIA_TYPE, made_small
from scheduler.service.visitor import Visitor

LEAST_KEY, MOST_KEY = 16, 64
TOLD: Final = (
    "started", "finished", "hours_left", "lost", "reading", "note", "release", "undo",
)  # fmt: skip
OLDEST: Final = timedelta(days=14)  # of an entry that waited on a phone; common practice


@dataclass(frozen=True, slots=True)
class Taken:
    """What came of a form."""

    told: str
    again: bool = False  # it had been taken before


def take(
    service: Service, visitor: Visitor, fields: Mapping[str, str], photo: bytes = b""
) -> Taken:
    """Write down what a form says and return what was done.

    Parameters
    ----------
    service : Service
    visitor : Visitor
        Who writes; their name stands in the entry.
    fields : mapping
        ``what`` (one of ``TOLD``), ``task``, ``hours``, ``cause``, ``quantity``, ``value``,
        ``unit``, ``place``, ``text``, ``role``, ``seq``, ``key``, and ``ago_s``: for how many
        seconds the entry waited before it was sent.
    photo : bytes, optional
        A picture that goes with it.

    Raises
    ------
    BadInput
        If the entry cannot be taken; nothing is written then.
    NotNow, StoreFault
        If none can be taken now: the job file is broken, the store full or in use.
    """
    key, watched = fields.get("key", ""), _watched(service, visitor.job)
    if not LEAST_KEY <= len(key) <= MOST_KEY:
        raise BadInput("the form has no key; load the page again")
    _allowed(visitor, fields)
    picture = made_small(photo) if photo else b""
    told = _told(fields, has_photo=bool(photo))
    now = service.clock()
    try:
        desk = service.desk(watched, now, "kept")
    except BadInput as error:  # the entry is fine; the job file on the service's disk is not
        raise NotNow(f"the job cannot be read now: {error}") from error
    store = service.store
    with store.together():
        before = store.people.posted(visitor.job, key)
        if before is not None:
            return Taken(f"written down already: {before}", again=True)
        given = entries_given(told.items(), _details(fields, visitor.who), from_file=False)
        waited = _ago(fields)
        if waited:
            given = [{**entry, "when": (now - waited).isoformat()} for entry in given]
        if picture:
            kept = store.keep_photo(
                visitor.job, picture, media_type=MEDIA_TYPE, who=visitor.who, now=now
            )
            given = [{**entry, "photo": kept.identity} for entry in given]
        done = log(desk, given, replan=False)
        said = f"written down as {', '.join(str(entry.seq) for entry in done.entries)}"
        store.people.post(visitor.job, key, who=visitor.who, told=said, now=now)
    return Taken(said)


def _allowed(visitor: Visitor, fields: Mapping[str, str]) -> None:
    """Refuse what a visitor may not do; a hold is released under a named account only."""
    role = fields.get("role", "")
    if fields.get("what") == "release":
        if role not in visitor.releases:
            raise BadInput(f"{visitor.who} may not release a hold as {role or 'nobody'}")
    elif not visitor.may_log:
        raise BadInput(f"{visitor.who} may read, not write")


def _watched(service: Service, job: str) -> Watched:
    for one in service.store.runs.watched():
        if one.job == job:
            return one
    raise BadInput(f"{job} is not looked after any more; write it down with closein log")


def _told(fields: Mapping[str, str], *, has_photo: bool) -> dict[str, object]:
    """Return what is told, as the command's options would have it."""
    what, task = fields.get("what", ""), fields.get("task", "")
    if what not in TOLD:
        raise BadInput(f"{what!r} is nothing to write down; want one of {', '.join(TOLD)}")
    if what in {"started", "finished"}:
        return {what: task}
    if what == "hours_left":
        return {what: (task, _number(fields, "hours"))}
    if what == "lost":
        return {"lost": _number(fields, "hours")}
    if what == "reading":
        names = ("quantity", "value", "unit")
        return {"reading": tuple(fields.get(name, "") for name in names)}
    if what == "release":
        return {"release": (task, fields.get("role", ""))}
    if what == "undo":
        return {"undo": int(_number(fields, "seq"))}
    return {"note": fields.get("text", "") or ("photo" if has_photo else "")}


def _details(fields: Mapping[str, str], who: str) -> dict[str, object]:
    own = {name: fields.get(name) or None for name in ("cause", "task", "place", "row")}
    return {**own, "unit": None, "who": who, "when": None}


def _ago(fields: Mapping[str, str]) -> timedelta:
    """Return for how long an entry waited on a phone.

    The difference of two readings of the phone's clock: right even where that clock is wrong.
    """
    if not fields.get("ago_s"):
        return timedelta(0)
    waited = timedelta(seconds=max(_number(fields, "ago_s"), 0.0))
    if waited > OLDEST:
        raise BadInput(f"this waited {waited.days} days; want {OLDEST.days} at the most: "
                       "write it down with closein log --when")  # fmt: skip
    return waited


def _number(fields: Mapping[str, str], name: str) -> float:
    try:
        value = float(fields.get(name, ""))
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or abs(value) > 1e9:
        raise BadInput(f"{name} is {fields.get(name, '')!r}; want a number such as 4.5")
    return value
