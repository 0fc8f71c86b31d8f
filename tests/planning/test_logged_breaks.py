"""Breaks from the log: each at its own age, in one unit."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from rules.breaks import Calibrated, calibrate
from scheduler.planning.log import Reading
from scheduler.planning.logged_breaks import breaks_of

PLACED = datetime(2026, 11, 10, 15, tzinfo=UTC)


def broken(hours: float, psi: float, quantity: str = "grout_strength") -> Reading:
    return Reading(quantity, psi, "psi", at=PLACED + timedelta(hours=hours))


def test_specimens_of_the_laboratory_are_as_old_as_the_clock_says() -> None:
    found = breaks_of([broken(24, 600.0), broken(72, 1200.0)], placed=PLACED)
    assert [one.age_h for one in found] == [24.0, 72.0]
    assert found[0].strength_mpa == pytest.approx(4.137, abs=0.001)


def test_specimens_on_site_are_as_old_as_their_temperature_made_them() -> None:
    slow = np.arange(200.0) / 2.0
    (one,) = breaks_of([broken(49, 900.0)], placed=PLACED, age_h=slow)
    assert one.age_h == 24.5


def test_what_is_no_break_of_this_batch_is_left_out() -> None:
    ages = np.arange(50.0)
    readings = [
        broken(-5, 900.0),
        broken(80, 900.0),
        broken(24, 47.0, "grout_temperature"),
        Reading("grout_strength", 900.0, "psi"),
    ]
    assert breaks_of(readings, placed=PLACED, age_h=ages) == []
    assert breaks_of([broken(5, 900.0)], placed=PLACED, age_h=np.full(9, np.nan)) == []


def test_six_logged_breaks_make_a_curve() -> None:
    told = [broken(h, psi) for h, psi in
            ((24, 520), (24, 560), (72, 1150), (72, 1230), (168, 1650), (168, 1720))]  # fmt: skip
    found = calibrate(breaks_of(told, placed=PLACED), specified_mpa=13.79)
    assert isinstance(found, Calibrated)
    assert 0.2 < found.s < 0.5
