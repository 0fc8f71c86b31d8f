"""Sunrise and sunset at the site."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from functools import cache, lru_cache
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.sun import sun_position
from scheduler.planning.model.job import Daylight, Site
from scheduler.planning.tables.finish import BoolArray

# Upper rim on the horizon with mean refraction: NOAA solar calculator, zenith 90.833 degrees.
RISE_DEG: Final = -0.833
STEP_S: Final = 60


def sun_at(site: Site) -> Callable[[date], tuple[datetime | None, datetime | None]]:
    """Return a function that gives sunrise and sunset of a local day, UTC.

    A day whose sun does not rise, as beyond the polar circles, has None for both; where it is up
    at midnight, the day's own beginning or end stands in.
    """
    zone = ZoneInfo(site.time_zone)

    @cache
    def sun(day: date) -> tuple[datetime | None, datetime | None]:
        begin = datetime.combine(day, time(0), zone).astimezone(UTC)
        end = datetime.combine(day + timedelta(days=1), time(0), zone).astimezone(UTC)
        seconds = np.arange(0, (end - begin).total_seconds() + STEP_S, STEP_S)
        zero = np.datetime64(begin.replace(tzinfo=None), "s")
        height, _ = sun_position(
            moments=zero + seconds.astype("timedelta64[s]"),
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
        )
        up = height >= RISE_DEG
        rises, sets = np.flatnonzero(~up[:-1] & up[1:]), np.flatnonzero(up[:-1] & ~up[1:])

        def moment(at: np.intp) -> datetime:
            share = (RISE_DEG - height[at]) / (height[at + 1] - height[at])
            return begin + timedelta(seconds=float(seconds[at] + share * STEP_S))

        if not up.any():
            return None, None
        later = sets[sets > rises[0]] if rises.size else sets
        rise = moment(rises[0]) if rises.size else begin
        return rise, moment(later[0]) if later.size else end

    return sun


@lru_cache(maxsize=8)
def daylight_mask(
    site: Site, stated: tuple[Daylight, ...], *, hour_zero: datetime, hours: int
) -> BoolArray:
    """Return the hours that lie wholly between sunrise and sunset: ``(hours,)``.

    What the job states of a day goes before what is computed. A day whose sun does not rise has
    none; of one on which it does not set every hour counts.
    """
    zone, sun = ZoneInfo(site.time_zone), sun_at(site)
    told = {row.day: row for row in stated}
    mask = np.zeros(hours, dtype=np.bool_)
    first = hour_zero.astimezone(zone).date()
    last = (hour_zero + timedelta(hours=hours)).astimezone(zone).date()
    for day in (first + timedelta(days=n) for n in range((last - first).days + 1)):
        rise, down = sun(day)
        if day in told:
            rise, down = told[day].sunrise or rise, told[day].sunset or down
        if rise is None or down is None:
            continue
        begin, end = ((at - hour_zero) / timedelta(hours=1) for at in (rise, down))
        mask[max(int(np.ceil(begin)), 0) : max(int(np.floor(end)), 0)] = True
    mask.flags.writeable = False  # it is kept, and handed out again
    return mask
