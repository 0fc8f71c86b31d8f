"""From when on a measure can be on site: on hand, offered with a notice, had from a yard.

What needs no fetching is always there and not listed. What a yard has counts two working hours
after asking, unless the job offers it otherwise; kit counts only where it is on hand or offered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from rules.book import measures
from rules.facts import Asked
from scheduler.planning.model.calendars import hours_from, moment_of, shift_mask, whole_hour_from
from scheduler.planning.model.job import Job
from scheduler.planning.tables.finish import whole_hours

FETCH_H: Final = 2  # working hours to ask a yard and fetch; common practice, no source
SUPPLIED: Final = {"concrete": ("heat_concrete",), "grout": ("heat_grout",)}
LOOK_AHEAD_H: Final = 24 * 14  # a yard that is shut for longer is no yard


def on_site_from(job: Job, now: datetime) -> dict[str, datetime]:
    """Return from when on each measure can be there; what nobody has or offers is left out."""
    found = dict.fromkeys(job.on_hand, now)
    for offer in job.can_be_had:
        found.setdefault(offer.measure, now + timedelta(hours=offer.notice_h))
    for paper in job.documents:  # a plant that supplies the mix heats it when told
        for name in SUPPLIED.get(str(paper.terms.get("supplier_of", "")), ()):
            found.setdefault(name, now)
    fetched = _fetched(job, now)
    for name, measure in measures().items():
        if measure.kind == "store" and fetched is not None:
            found.setdefault(name, fetched)
    for name in list(found):
        for weaker in measures()[name].does_also if name in measures() else ():
            found[weaker] = min(found.get(weaker, found[name]), found[name])
    return found


def _fetched(job: Job, now: datetime) -> datetime | None:
    """Return when what is asked for now has been fetched from a yard."""
    zero = whole_hour_from(now)
    shift = shift_mask(job.calendar, job.site.time_zone, hour_zero=zero, hours=LOOK_AHEAD_H)
    worked = np.flatnonzero(shift)
    if worked.size < FETCH_H:
        return None
    return moment_of(zero, int(worked[FETCH_H - 1]) + 1)


def with_means(asked: Asked, job: Job, now: datetime, hour_zero: datetime) -> Asked:
    """Return a question with the measures that are there, and the hours at which others come."""
    hours = {
        name: max(whole_hours(hours_from(hour_zero, at)), 0)
        for name, at in on_site_from(job, now).items()
    }
    there = frozenset(name for name, hour in hours.items() if hour == 0)
    return replace(asked, measures=there, coming=_later(hours, there))


def _later(hours: Mapping[str, int], there: frozenset[str]) -> dict[str, int]:
    return {name: hour for name, hour in hours.items() if name not in there}
