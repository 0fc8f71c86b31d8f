"""The inspector's sheet: temperatures of each place twice a day, gaps shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.evidence.places import spot
from scheduler.planning.model.log import Reading
from scheduler.planning.strength.measured import (
    ELEMENT_QUANTITIES,
    ProbeTrace,
    of_readings,
    on_hours,
)

TWICE: Final = (time(7), time(15))  # morning and afternoon; ACI 306R-10 asks twice a day, verify
NEAR_H: Final = 1  # a reading this many hours away still belongs to the line


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One line: a place at one of the two times of a day."""

    place: str
    day: date
    clock: time  # local
    temperature_c: float | None  # None is a gap
    read_at: datetime | None  # hour in which it was read, UTC
    air_c: float | None = None
    coldest_c: float | None = None  # of the place since the line before


def sheet_lines(
    *,
    probes: Mapping[str, ProbeTrace],
    readings: Sequence[Reading],
    placed: datetime,
    until: datetime,
    time_zone: str,
    air: ProbeTrace | None = None,
) -> list[SheetLine]:
    """Return the sheet of every place, from placing to the end of protection.

    Parameters
    ----------
    probes : ProbeTrace, by place
        Loggers.
    readings : Reading
        By hand; their ``place`` names the place, the coldest of an hour counts.
    placed, until : datetime
        UTC.
    time_zone
        IANA name of the site's zone.
    air : ProbeTrace, optional
        A probe in the air beside the work.

    Returns
    -------
    list of SheetLine
        By place and time. A line without a reading within an hour has none: it is a gap.
    """
    zone = ZoneInfo(time_zone)
    zero = placed.replace(minute=0, second=0, microsecond=0)
    count = int((until - zero) / timedelta(hours=1)) + 2
    start = np.datetime64(int(zero.timestamp() // 3600), "h") + np.arange(count) * np.timedelta64(
        1, "h"
    )
    by_hand = [r for r in readings if r.quantity in ELEMENT_QUANTITIES]
    named = (*probes, *(r.place for r in by_hand))
    places = sorted({spot(place): place for place in reversed(named)}.values())
    outside = on_hours(air, start) if air is not None else np.full(count, np.nan)
    lines = []
    for place in places:
        own = of_readings([r for r in by_hand if spot(r.place) == spot(place)], start)
        if place in probes:
            logged = on_hours(probes[place], start)
            own = np.fmin(own, logged)
        last = 0
        for moment in _moments(placed, until, zone):
            hour = int((moment - zero) / timedelta(hours=1))
            at = _nearest(own, hour)
            since = own[last : hour + 1]
            lines.append(
                SheetLine(
                    place=place,
                    day=moment.astimezone(zone).date(),
                    clock=moment.astimezone(zone).time(),
                    temperature_c=None if at is None else float(own[at]),
                    read_at=None if at is None else zero + timedelta(hours=at),
                    air_c=_known(outside, hour),
                    coldest_c=float(np.nanmin(since)) if np.isfinite(since).any() else None,
                )
            )
            last = hour + 1
    return lines


def _moments(placed: datetime, until: datetime, zone: ZoneInfo) -> list[datetime]:
    """Return the two times of every day between placing and the end, as moments."""
    first, last = placed.astimezone(zone).date(), until.astimezone(zone).date()
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    moments = [datetime.combine(day, clock, zone) for day in days for clock in TWICE]
    return [moment for moment in moments if placed <= moment <= until]


def _nearest(values: np.ndarray, hour: int) -> int | None:
    """Return the known hour nearest to a line's, None where there is none near enough."""
    near = [h for h in range(hour - NEAR_H, hour + NEAR_H + 1) if 0 <= h < values.size]
    known = [h for h in near if np.isfinite(values[h])]
    return min(known, key=lambda h: abs(h - hour), default=None)


def _known(values: np.ndarray, hour: int) -> float | None:
    at = _nearest(values, hour)
    return None if at is None else float(values[at])
