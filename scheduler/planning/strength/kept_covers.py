"""What has been over finished work: as logged, else as the calls asked for it, and no longer.

What is merely on hand protects nothing. A logged cover counts from when it was seen until the next
word on it, and not past now; a cover that a call asked for counts in the hours it was asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import groupby
from typing import Final

import numpy as np

from rules.curing import Protection
from rules.facts import NOTHING
from rules.films import covers
from scheduler.planning.model.calendars import moment_of, whole_hour_from
from scheduler.planning.model.frame import Frame
from scheduler.planning.model.job import Task
from scheduler.planning.model.log import AskedCover, Fact
from scheduler.planning.strength.done_work import FOLLOWED_H
from scheduler.planning.strength.fresh_work import CONCRETE

LETS_GO: Final = frozenset({"go", "go_with_protection"})
COLDEST_FIRST: Final = ("bare", "membrane", "blanket", "enclosure")
OF_CONCRETE: Final = frozenset({"footing", "slab"})
WORDS: Final = {  # in what people write of a cover; the first that fits
    "blanket": "blanket", "enclos": "enclosure", "tent": "enclosure", "cover": "membrane",
    "membrane": "membrane", "sheet": "membrane", "plastic": "membrane", "tarp": "membrane",
}  # fmt: skip


def kept_cover(frame: Frame, task: Task, finished: datetime) -> Protection:
    """Return what finished work has been and will be under, hour by hour, bare in the end."""
    begin = whole_hour_from(finished)
    warmth = np.zeros(FOLLOWED_H, dtype=np.int64)
    for asked in _asked(frame, task, finished):
        low, high = (_hours(begin, at) for at in (asked.start or finished, asked.end))
        name = next((n for n, c in covers().items() if c.measure == asked.measure), "bare")
        warmth[low:high] = np.maximum(warmth[low:high], COLDEST_FIRST.index(name))
    for start, end, name in _logged(frame, task, finished):
        warmth[_hours(begin, start) : _hours(begin, end)] = COLDEST_FIRST.index(name)
    runs = [(COLDEST_FIRST[at], len([*same])) for at, same in groupby(warmth.tolist())]
    last = len(runs) - 1 if runs[-1][0] == "bare" else len(runs)
    names = [*(name for name, _ in runs[:last]), "bare"]
    warmest = max(names, key=COLDEST_FIRST.index)
    told = tuple(hours for _, hours in runs[:last])
    return Protection(warmest, tuple(covers()[name] for name in names), told)


def _hours(begin: datetime, moment: datetime) -> int:
    since = (moment - begin) / timedelta(hours=1)
    return int(np.clip(round(since), 0, FOLLOWED_H))


def _asked(frame: Frame, task: Task, finished: datetime) -> Iterator[AskedCover]:
    """Yield what the last call that let the work go asked for, and every call since it ended."""
    mine = [asked for asked in frame.progress.asked if asked.task in {task.id, task.name}]
    before = [one for one in mine if one.told_at <= finished and one.call in LETS_GO]
    newest = max((one.told_at for one in before), default=None)
    yield from (one for one in before if one.told_at == newest)
    yield from (one for one in mine if one.told_at > finished)


def _logged(
    frame: Frame, task: Task, finished: datetime
) -> Iterator[tuple[datetime, datetime, str]]:
    """Yield from when until when which cover was seen on the work."""
    now = moment_of(frame.hour_zero, frame.now)
    seen = [
        (fact.at, _cover(fact.value))
        for fact in frame.progress.facts
        if fact.condition == "covered_with" and _is_of(fact, task) and fact.at is not None
    ]
    told = task.element.get("covered_with")
    if told is not None:
        seen.append((finished, _cover(told)))
    seen.sort(key=lambda pair: pair[0])
    for place, (at, name) in enumerate(seen):
        end = seen[place + 1][0] if place + 1 < len(seen) else now
        if end > at:
            yield at, end, name


def _is_of(fact: Fact, task: Task) -> bool:
    concrete = task.work_type in CONCRETE
    here = not fact.place or not task.place or fact.place.casefold() == task.place.casefold()
    return here and (fact.element in OF_CONCRETE) is concrete


def _cover(value: object) -> str:
    word = str(value).casefold()
    if value is False or word in NOTHING:
        return "bare"
    return next((name for part, name in WORDS.items() if part in word), "bare")
