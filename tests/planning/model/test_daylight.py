"""Sunrise and sunset against an independent library, and where the sun does not rise."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pandas as pd
import pytest
from pvlib import solarposition

from scheduler.planning.model.daylight import sun_at
from scheduler.planning.model.job import Site

PLACES = [
    (44.5, -75.1, "America/New_York"),
    (60.1, 24.9, "Europe/Helsinki"),
    (-33.4, -70.7, "America/Santiago"),
]


@pytest.mark.parametrize(("latitude", "longitude", "zone"), PLACES)
@pytest.mark.parametrize("day", [date(2026, 9, 22), date(2026, 11, 1), date(2026, 12, 21)])
def test_sun_times_match_pvlib(latitude: float, longitude: float, zone: str, day: date) -> None:
    """pvlib 0.11+ sun_rise_set_transit_spa: Reda and Andreas, NREL/TP-560-34302, 2008."""
    rise, set_ = sun_at(Site("", latitude, longitude, 0.0, zone))(day)
    noon = pd.DatetimeIndex([pd.Timestamp(day).tz_localize(zone)])
    found = solarposition.sun_rise_set_transit_spa(noon, latitude, longitude)
    for ours, theirs in ((rise, found["sunrise"].iloc[0]), (set_, found["sunset"].iloc[0])):
        assert ours is not None
        assert abs((ours - theirs.floor("s").to_pydatetime()).total_seconds()) < 60.0


def test_day_length_at_44_5_north_in_mid_november() -> None:
    """NOAA low-order solar formula with zenith 90.833 degrees, from memory: 9.605 h."""
    rise, set_ = sun_at(Site("", 44.5, -75.0, 0.0, "America/New_York"))(date(2024, 11, 15))
    assert rise is not None
    assert set_ is not None
    assert (set_ - rise).total_seconds() / 3600.0 == pytest.approx(9.605, abs=0.03)


def test_the_polar_night_has_neither_and_the_midnight_sun_the_whole_day() -> None:
    sun = sun_at(Site("", 71.3, -156.8, 0.0, "America/Anchorage"))
    assert sun(date(2026, 12, 21)) == (None, None)
    whole = (datetime(2026, 6, 21, 8, tzinfo=UTC), datetime(2026, 6, 22, 8, tzinfo=UTC))
    assert sun(date(2026, 6, 21)) == whole


def test_a_clock_change_day_keeps_instants() -> None:
    rise, _ = sun_at(Site("", 44.5, -75.0, 0.0, "America/New_York"))(date(2026, 11, 1))
    assert rise is not None
    assert (
        datetime(2026, 11, 1, 11, 20, tzinfo=UTC)
        < rise
        < datetime(2026, 11, 1, 11, 50, tzinfo=UTC)
    )
