"""What scenarios and the open house cost: 600 scenarios of 2160 hours, each step by itself.

Run ``python -m tests.benchmarks.open_house``. Aim: scenarios, indoor air and the date together
under one second of the processor; they, and with every limit, under AIM_PLAIN and AIM_EVERY times
what the usual libraries take for as many numbers drawn and followed. (A copy of one column, the
yardstick before, goes with the memory: a newer machine made it faster, the ratio worse.)
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np
from scipy.signal import lfilter

from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.scenarios import Scenarios, scenarios
from scheduler.planning.model.job import (
    Calendar,
    ExposureLimits,
    GroundLimits,
    GustLimits,
    Job,
    Site,
    WoodLimits,
)
from scheduler.planning.open_house.closein_date import closein_date
from scheduler.planning.open_house.open_house import breaches
from scheduler.planning.tables.hours import HourlyTable
from tests.benchmarks._timing import fastest

HOURS, COUNT, YEARS, AIM_S = 2160, 600, 30, 1.0
AIM_PLAIN, AIM_EVERY = 6.0, 60.0
NOW = datetime(2026, 10, 1, 5, tzinfo=UTC)


def job(*, every_limit: bool) -> Job:
    """Return a job with the indoor limit only, or with every limit there is."""
    limits = ExposureLimits()
    if every_limit:
        limits = ExposureLimits(
            water_lines_hang=True,
            wood=WoodLimits(at_most_pct=22.0, rain_inside_mm=20.0, mould_index=1.0),
            ground=GroundLimits(0.3, snow_counts=True),
            gusts=GustLimits(18.0, 14.0),
        )
    return Job(
        name="bench",
        site=Site("bench", 44.0, -75.0, 100.0, "America/New_York"),
        units="us",
        book="tms602-2016",
        calendar=Calendar(week=(None,) * 7),
        tasks=(),
        exposure=limits,
    )


def weather() -> tuple[HourlyTable, ClimateYears]:
    """Return a made week's forecast and made past years."""
    rng = np.random.default_rng(1)
    hour = np.arange(HOURS)

    def columns(rows: int) -> dict[str, np.ndarray]:
        level = np.repeat(rng.normal(0, 4, (rows, HOURS // 24)), 24, axis=1)
        swing = 5.0 * np.sin(2 * np.pi * (hour - 15) / 24)
        wet = rng.random((rows, HOURS)) < 0.06
        return {
            "air_temperature_c": 12.0 - 0.008 * hour + swing + level,
            "relative_humidity_pct": np.clip(rng.normal(75, 12, (rows, HOURS)), 20, 100),
            "wind_speed_ms": np.abs(rng.normal(3, 2, (rows, HOURS))),
            "wind_speed_of_gust_ms": np.abs(rng.normal(6, 3, (rows, HOURS))),
            "wind_from_direction_deg": rng.uniform(0, 360, (rows, HOURS)),
            "precipitation_amount_mm": np.where(wet, rng.exponential(1, (rows, HOURS)), 0.0),
            "snow_depth_mm": np.zeros((rows, HOURS)),
        }

    week = {name: values[0, :180] for name, values in columns(1).items()}
    start = np.datetime64("2026-10-01T05", "h") + np.arange(180)
    years = tuple(range(1990, 1990 + YEARS))
    return HourlyTable(start=start, columns=week), ClimateYears(NOW, years, columns(YEARS), "made")


def plain_way() -> None:
    """Do the least that such a step must, by the usual libraries: draw, follow, look.

    One normal number an hour and scenario (``numpy.random.Generator``), a first-order filter along
    the hours (``scipy.signal.lfilter``), and the first hour of each scenario below freezing.
    """
    drawn = np.random.default_rng(1).standard_normal((COUNT, HOURS)) - 0.008 * np.arange(HOURS)
    followed = lfilter([0.1], [1.0, -0.9], drawn, axis=-1)
    (followed < 0.0).argmax(axis=-1)


def main() -> int:
    """Print what each step takes; 1 where an aim is missed."""
    table, years = weather()
    temperature = {"air_temperature_c": table.columns["air_temperature_c"]}
    only = ClimateYears(
        NOW, years.years, {"air_temperature_c": years.columns["air_temperature_c"]}, "made"
    )

    def make(forecast: HourlyTable, climate: ClimateYears) -> Scenarios:
        return scenarios(
            forecast=forecast, climate=climate, now=NOW, until=NOW + timedelta(hours=HOURS),
            seed=1, count=COUNT, longitude_deg=-75.0,
        )  # fmt: skip

    bare = HourlyTable(start=table.start, columns=temperature)
    lean, whole = make(bare, only), make(table, years)
    plain, full = job(every_limit=False), job(every_limit=True)
    steps: dict[str, Callable[[], object]] = {
        "the plain way": plain_way,
        "scenarios, temperature only": lambda: make(bare, only),
        "scenarios, seven columns": lambda: make(table, years),
        "indoor air": lambda: breaches(plain, lean.table),
        "every limit (mould and snow marched)": lambda: breaches(full, whole.table),
        "date, indoor air only": lambda: closein_date(job=plain, weather=lean),
        "date, every limit": lambda: closein_date(job=full, weather=whole),
    }
    took = {name: fastest(step, 7) for name, step in steps.items()}
    for name, seconds in took.items():
        print(f"{name:<38} {seconds * 1000:8.1f} ms  {seconds / took['the plain way']:6.1f} times")
    chain = took["scenarios, temperature only"] + took["date, indoor air only"]
    every = took["scenarios, seven columns"] + took["date, every limit"]
    times, most = (one / took["the plain way"] for one in (chain, every))
    print(
        f"scenarios and date: {chain * 1000:.0f} ms, {times:.1f} times the plain way "
        f"(aim {AIM_PLAIN:.0f}); with every limit {every * 1000:.0f} ms, {most:.0f} times "
        f"(aim {AIM_EVERY:.0f})"
    )
    return int(chain > AIM_S or times > AIM_PLAIN or most > AIM_EVERY)


if __name__ == "__main__":
    sys.exit(main())
