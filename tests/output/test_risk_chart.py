"""The pictures: phone width, grey only, the same bytes for the same answer."""

from __future__ import annotations

import re
import struct
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache

import numpy as np
import pytest

from scheduler.output.risk_chart import exposure_chart, risk_chart
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.scenarios import scenarios
from scheduler.planning.model.job import (
    Calendar,
    ExposureLimits,
    GroundLimits,
    GustLimits,
    Job,
    Site,
)
from scheduler.planning.open_house.closein_date import CloseInAnswer, closein_date
from scheduler.planning.open_house.exposure_days import ExposureDays, exposure_days
from scheduler.planning.tables.hours import HourlyTable

NOW = datetime(2026, 11, 2, 12, tzinfo=UTC)
JOB = Job(
    name="Far end, house on cribs",
    site=Site("t", 44.0, -75.0, 100.0, "America/New_York"),
    units="us",
    book="tms602-2016",
    calendar=Calendar(week=(None,) * 7),
    tasks=(),
)


@cache
def answered() -> tuple[CloseInAnswer, ExposureDays]:
    hours = 24 * 50
    air = np.full((21, hours), 7.0)
    for row in range(21):
        air[row, 24 * (18 + row) :] = -9.0
    years = ClimateYears(NOW, tuple(range(2000, 2021)), {"air_temperature_c": air}, "made")
    start = np.datetime64("2026-11-02T12", "h") + np.arange(160)
    table = HourlyTable(start=start, columns={"air_temperature_c": np.full(160, 12.0)})
    weather = scenarios(
        forecast=table, climate=years, now=NOW, until=NOW + timedelta(hours=hours), seed=1,
        count=84, longitude_deg=-75.0,
    )  # fmt: skip
    found = closein_date(job=JOB, weather=weather, planned=NOW + timedelta(days=12))
    return found, exposure_days(JOB, weather)


def pictures(kind: str) -> list[bytes]:
    found, seen = answered()
    return [
        risk_chart(found, JOB, forecast_until=seen.forecast_until, kind=kind),
        exposure_chart(seen, JOB, kind=kind),
    ]


def test_pictures_are_two_phone_points_wide() -> None:
    for png in pictures("png"):
        assert png[:8] == b"\x89PNG\r\n\x1a\n"
        assert struct.unpack(">I", png[16:20])[0] == 780


def test_pictures_use_no_colour_and_come_out_the_same() -> None:
    first, again = pictures("svg"), pictures("svg")
    assert first == again
    for svg in first:
        colours = set(re.findall(rb"#([0-9a-f]{6})\b", svg.lower()))
        assert {c for c in colours if not c[:2] == c[2:4] == c[4:]} == set()


def test_days_carry_the_spread_and_where_the_forecast_ends() -> None:
    _, seen = answered()
    assert len(seen.days) == seen.outdoor_low_c.shape[1] == seen.indoor_low_c.shape[1]
    assert (np.diff(seen.indoor_low_c, axis=0) >= 0).all()
    # 160 h less the last 36, which are led over: to the morning of the 7th, local
    assert seen.forecast_until == date(2026, 11, 7)


@pytest.mark.parametrize("change", ["season_end", "not_known", "no plan", "late plan"])
def test_every_kind_of_answer_can_be_drawn(change: str) -> None:
    found, _ = answered()
    match change:
        case "season_end" | "not_known":
            overall = replace(found.overall, ends=change, latest_safe=None)
            found = replace(found, overall=overall, binding="", margin_days=None)
        case "no plan":
            found = replace(found, planned=None, margin_days=None, chance=None)
        case "late plan":
            found = replace(found, planned=found.days[-2])
    assert len(risk_chart(found, JOB)) > 5000


def test_each_other_limit_of_the_job_has_its_own_panel() -> None:
    limits = ExposureLimits(
        ground=GroundLimits(frost_free_m=0.3), gusts=GustLimits(raised_house_ms=15.0)
    )
    job = replace(JOB, exposure=limits)
    hours = 24 * 20
    columns = {
        "air_temperature_c": np.full((12, hours), -6.0),
        "wind_speed_of_gust_ms": np.full((12, hours), 9.0),
    }
    years = ClimateYears(NOW, tuple(range(2000, 2012)), columns, "made")
    weather = scenarios(
        forecast=HourlyTable(np.datetime64("2026-11-02T12", "h") + np.arange(0), {}),
        climate=years, now=NOW, until=NOW + timedelta(hours=hours), seed=1, count=24,
    )  # fmt: skip
    seen = exposure_days(job, weather)
    assert [course.limit for course in seen.others] == ["ground_frost", "raised_house_gust"]
    frost, gust = seen.others
    assert (np.diff(frost.high[1]) >= 0).all()
    assert (gust.high == 9.0).all()
    picture = exposure_chart(seen, job, kind="svg").decode()
    assert "ground frost, in" in picture
    assert "raised house gust, mph" in picture
    assert struct.unpack(">I", exposure_chart(seen, job)[16:20])[0] == 780
