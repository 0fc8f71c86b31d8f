"""Sunrise and sunset at the site."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.sun import sun_position
from scheduler.planning.job import Site

# Upper rim on the horizon with mean refraction: NOAA solar calculator, zenith 90.833 degrees.
RISE_DEG: Final = -0.833
STEP_S: Final = 60


def sun_at(site: Site) -> Callable[[date], tuple[datetime | None, datetime | None]]:
    """Return a function that gives sunrise and sunset of a local day, UTC.

    None stands for a sunrise or sunset that does not come that day, as beyond the polar circles.
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
        turns = np.flatnonzero(up[1:] != up[:-1])
        moments: dict[bool, datetime] = {}
        for at in turns:
            share = (RISE_DEG - height[at]) / (height[at + 1] - height[at])
            moment = begin + timedelta(seconds=float(seconds[at] + share * STEP_S))
            moments.setdefault(bool(up[at + 1]), moment)
        return moments.get(True), moments.get(False)

    return sun
