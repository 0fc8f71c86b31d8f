"""What of the house is open, from when until when, and what closes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from rules.exposure import NEVER
from rules.leaving import LeftStanding
from scheduler.planning.model.job import Job, State
from scheduler.planning.model.standing import Standing

TEMPORARY: Final = "temporary_closing"


@dataclass(frozen=True, slots=True)
class OpenPart:
    """One part of the envelope: wall openings, sill gap, floor, roof, ... as the job names it."""

    part: str
    since: datetime | None  # UTC; None: open before anything the job tells
    until: datetime | None  # UTC; None: no plan closes it
    closing: tuple[str, ...]  # tasks that must be done before it is closed
    covered: tuple[str, ...] = ()  # temporary closings that are in place


def open_parts(
    job: Job,
    standings: Mapping[str, Standing],
    planned: Mapping[str, tuple[datetime, datetime]] | None = None,
) -> tuple[OpenPart, ...]:
    """Return every part that is open now or will be, in the order of opening.

    A part opens when the first task that opens it begins, and is closed when every task that
    closes it is done. One that no task opens is open from the start. A temporary closing covers a
    part and does not close it.

    Parameters
    ----------
    job : Job
    standings : mapping
        How far each task is.
    planned : mapping, optional
        Start and finish of the tasks still to do, UTC.
    """
    ahead = planned or {}
    names = dict.fromkeys(part for task in job.tasks for part in (*task.opens, *task.closes))
    parts = [_part(job, part, standings, ahead) for part in names]
    still = [part for part in parts if part is not None]
    return tuple(sorted(still, key=lambda part: (_moment(part.since), part.part)))


def hour_opened(parts: tuple[OpenPart, ...], job: Job, first: datetime) -> int:
    """Return the hour, from the weather's first, in which the house is first open.

    0 where it is open now, or where the job says nothing of its envelope; ``NEVER`` where it is
    closed and stays so.
    """
    if not any(task.opens or task.closes for task in job.tasks):
        return 0
    if not parts:
        return NEVER
    since = [part.since for part in parts]
    hours = [0 if at is None else int((at - first).total_seconds() // 3600) for at in since]
    return max(min(hours), 0)


def _moment(at: datetime | None) -> float:
    return float("-inf") if at is None else at.timestamp()


def _part(
    job: Job,
    part: str,
    standings: Mapping[str, Standing],
    planned: Mapping[str, tuple[datetime, datetime]],
) -> OpenPart | None:
    """Return a part that is open or will be, None where it is closed for good or never opened."""
    closers = [t for t in job.tasks if part in t.closes and t.work_type != TEMPORARY]
    covers = [t for t in job.tasks if part in t.closes and t.work_type == TEMPORARY]
    left = tuple(t.id for t in closers if standings[t.id].state is not State.DONE)
    if closers and not left:
        return None
    openers = [t for t in job.tasks if part in t.opens]
    begun = [t for t in openers if standings[t.id].state is not State.TO_DO]
    ahead = [planned[t.id][0] for t in openers if t.id in planned]
    if openers and not begun and not ahead:
        return None
    told = [standings[t.id].started or standings[t.id].finished for t in begun]
    known = [at for at in (told if begun else ahead) if at is not None]
    ends = [planned[task_id][1] for task_id in left if task_id in planned]
    return OpenPart(
        part=part,
        since=min(known) if known else None,
        until=max(ends) if ends and len(ends) == len(left) else None,
        closing=left,
        covered=tuple(t.id for t in covers if standings[t.id].state is State.DONE),
    )


def is_there(thing: LeftStanding, job: Job, standing: Mapping[str, Standing]) -> bool:
    """Tell whether a thing stands open, by what is done and what is not."""
    if thing.always:
        return True
    if thing.parts:
        return bool(open_names(job, standing))
    begun = {t.work_type for t in job.tasks if standing[t.id].state is not State.TO_DO}
    over = {t.work_type for t in job.tasks if standing[t.id].state is State.DONE}
    return bool(begun & set(thing.after)) and not over & set(thing.until)


def open_names(job: Job, standing: Mapping[str, Standing]) -> tuple[str, ...]:
    """Return the parts of the envelope that are open now and that nothing covers."""
    parts = open_parts(job, standing)
    return tuple(part.part.replace("_", " ") for part in parts if not part.covered)
