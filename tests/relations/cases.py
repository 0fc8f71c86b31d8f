"""Random situations on a site, and what makes one of them worse.

Each change is one that the trade holds to be worse in the range it is used in; what is left out is
named beside it with the reason.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from typing import Final

import numpy as np

from rules.book import measures
from scheduler.planning.model.job import (
    Calendar,
    Job,
    Link,
    MeasureOffer,
    Shift,
    Site,
    State,
    Task,
)
from scheduler.planning.model.log import Entry, EntryKind, Progress, Reading
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

NOW: Final = datetime(2026, 11, 9, 10, tzinfo=UTC)  # 05:00 at the site
BACK_H: Final = 72
HOURS: Final = 168
WORK: Final = (
    "lay_block", "place_grout", "place_footing", "place_slab", "raise_house", "lower_house",
    "backfill", "set_sill", "seal_joints", "flash_openings", "paint_exterior", "set_windows",
    "roofing", "sheathe", "open_ground", "infill_pockets", "adhesive_and_foam", "crane_work",
)  # fmt: skip
OPEN: Final = frozenset(WORK)


@dataclass(frozen=True)
class Case:
    """A job of one open task behind finished work, and the forecast it is asked with."""

    job: Job
    forecast: Forecast

    def with_columns(self, **columns: np.ndarray) -> Case:
        """Return the case with other columns."""
        table = self.forecast.table
        made = HourlyTable(table.start, {**table.columns, **columns})
        return replace(self, forecast=replace(self.forecast, table=made))

    def column(self, name: str) -> np.ndarray:
        """Return a copy of a column."""
        return self.forecast.table.columns[name].copy()


def case(rng: np.random.Generator) -> Case:
    """Return a random situation; rain and its chance agree."""
    hours = np.arange(HOURS)
    day = np.cos((hours - 14 - 10) / 24 * 2 * np.pi)
    air = rng.choice([-9.0, -3.0, 0.0, 3.0, 6.0, 9.0, 12.0]) + rng.uniform(1, 5) * day
    wet = np.zeros(HOURS, dtype=bool)
    for _ in range(rng.integers(0, 3)):
        begin = rng.integers(0, HOURS)
        wet[begin : begin + rng.integers(1, 8)] = True
    wind = rng.uniform(0.5, 7.0) * np.ones(HOURS) + rng.uniform(0, 1, HOURS)
    columns = {
        "air_temperature_c": air,
        "relative_humidity_pct": np.where(wet, 97.0, rng.uniform(35, 85)),
        "wind_speed_ms": wind,
        "wind_speed_of_gust_ms": wind * rng.uniform(1.2, 1.5),
        "precipitation_amount_mm": np.where(wet, rng.choice([0.5, 1.5, 4.0]), 0.0),
        "precipitation_probability_pct": np.where(wet, rng.uniform(65, 100), rng.uniform(0, 8)),
        "thunderstorm_probability_pct": np.where(wet, rng.choice([0.0, 15.0, 50.0]), 0.0),
    }
    issued = NOW - timedelta(hours=float(rng.uniform(0.5, 6)))
    start = np.datetime64(NOW.replace(tzinfo=None), "h") - BACK_H + hours
    forecast = Forecast(HourlyTable(start, columns), Provenance("grid", issued, issued))
    return Case(_job(rng), forecast)


def _job(rng: np.random.Generator) -> Job:
    done = NOW - timedelta(hours=float(rng.choice([10, 30, 60, 100, 300, 900])))
    kind = str(rng.choice(["place_grout", "lay_block", "place_footing"]))
    before = Task(
        "before", "before", kind, 3.0, state=State.DONE,
        started_at=done - timedelta(hours=3), finished_at=done,
    )  # fmt: skip
    begin = NOW + timedelta(hours=float(rng.integers(2, 30)))
    length = float(rng.integers(2, 7))
    task = Task(
        "task", "task", str(rng.choice(WORK)), length, after=(Link("before"),),
        booked=begin, until=begin + timedelta(hours=length),
        element={"grouted": bool(rng.random() < 0.5), "unbalanced_height_m": 0.9},
    )  # fmt: skip
    # Kit only: an offer of store goods may state a longer notice than a yard has.
    names = sorted(measures())
    had = tuple(name for name in names if rng.random() < 0.5)
    offered = tuple(
        MeasureOffer(name, float(rng.choice([2, 12, 40])))
        for name in names
        if name not in had and measures()[name].kind == "kit" and rng.random() < 0.3
    )
    return Job(
        name="made",
        site=Site("Fern Lot", 44.0, -75.0, 100.0, "America/New_York"),
        units="us",
        book="tms602-2016",
        calendar=Calendar(week=(Shift(time(6), time(18)),) * 7),
        tasks=(before, task),
        on_hand=had,
        can_be_had=offered,
    )


READ: Final[Mapping[str, tuple[str, tuple[float, ...]]]] = {
    "unit_core_temperature": ("degF", (15.0, 25.0, 38.0, 60.0)),
    "masonry_temperature": ("degF", (25.0, 34.0, 45.0, 60.0)),
    "grout_temperature": ("degF", (36.0, 65.0, 95.0, 125.0)),
    "mortar_temperature": ("degF", (34.0, 65.0, 125.0)),
    "surface_temperature": ("degF", (20.0, 36.0, 55.0)),
    "trench_bottom_temperature": ("degF", (28.0, 36.0, 50.0)),
    "air_temperature": ("degF", (18.0, 33.0, 45.0)),
    "gust_at_wall": ("mph", (6.0, 22.0, 40.0)),
    "wind_speed_of_gust": ("mph", (6.0, 22.0, 40.0)),
    "crib_settlement": ("in", (0.0, 0.1, 0.5)),
    "surface_dry": ("yes_no", (0.0, 1.0)),
    "wood_moisture": ("%", (12.0, 24.0)),
}


def log(rng: np.random.Generator) -> Progress:
    """Return a few readings of the last two days, at the work and beside it."""
    made = []
    for _ in range(rng.integers(0, 4)):
        quantity = str(rng.choice(sorted(READ)))
        unit, values = READ[quantity]
        at = NOW - timedelta(minutes=float(rng.choice([10, 55, 200, 900, 2600])))
        place = str(rng.choice(["", "north wall", "N side", "yard"]))
        value: float | bool = float(rng.choice(values))
        value = bool(value) if unit == "yes_no" else value
        made.append((at, Reading(quantity, value, unit, place, at)))
    return Progress(tuple(
        Entry(number, at, at, EntryKind.READING, reading=reading)
        for number, (at, reading) in enumerate(sorted(made, key=lambda m: m[0]), start=1)
    ))  # fmt: skip


# what makes a case worse


def column_gone(rng: np.random.Generator, one: Case) -> Case:
    """Take a column away.

    Not the gust or the chance: the book names the mean wind and the amount in their place.
    """
    columns = dict(one.forecast.table.columns)
    names = columns.keys() - {"wind_speed_of_gust_ms", "precipitation_probability_pct"}
    del columns[str(rng.choice(sorted(names - {"thunderstorm_probability_pct"})))]
    table = HourlyTable(one.forecast.table.start, columns)
    return replace(one, forecast=replace(one.forecast, table=table))


def hour_gone(rng: np.random.Generator, one: Case) -> Case:
    """Take one coming hour out of every column."""
    at = int(rng.integers(BACK_H, HOURS - 30))
    columns = {name: one.column(name) for name in one.forecast.table.columns}
    for values in columns.values():
        values[at] = np.nan
    return one.with_columns(**columns)


def older(_: np.random.Generator, one: Case) -> Case:
    """Have the forecast issued two days earlier."""
    of = one.forecast.provenance
    old = NOW - timedelta(hours=48)
    return replace(one, forecast=replace(one.forecast, provenance=replace(of, issued_at=old)))


def elsewhere(_: np.random.Generator, one: Case) -> Case:
    """Have the forecast made for a place 400 km away."""
    of = replace(one.forecast.provenance, distance_km=400.0)
    return replace(one, forecast=replace(one.forecast, provenance=of))


def shorter(rng: np.random.Generator, one: Case) -> Case:
    """End the forecast earlier."""
    keep = int(rng.integers(BACK_H + 2, HOURS))
    table = one.forecast.table
    cut = {name: values[:keep] for name, values in table.columns.items()}
    return replace(one, forecast=replace(one.forecast, table=HourlyTable(table.start[:keep], cut)))


def fewer_means(rng: np.random.Generator, one: Case) -> Case:
    """Take some of what is on hand or offered away."""
    had = tuple(name for name in one.job.on_hand if rng.random() < 0.5)
    offered = tuple(offer for offer in one.job.can_be_had if rng.random() < 0.5)
    return replace(one, job=replace(one.job, on_hand=had, can_be_had=offered))


def later_arrival(_: np.random.Generator, one: Case) -> Case:
    """Have what is offered arrive two days later."""
    offered = tuple(replace(o, notice_h=o.notice_h + 48.0) for o in one.job.can_be_had)
    return replace(one, job=replace(one.job, can_be_had=offered))


def younger(rng: np.random.Generator, one: Case) -> Case:
    """Have the finished work end later."""
    before, task = one.job.tasks
    end = before.finished_at or NOW
    moved = end + (NOW - end) * float(rng.uniform(0.2, 0.95))
    return replace(one, job=replace(one.job, tasks=(replace(before, finished_at=moved), task)))


def undated(_: np.random.Generator, one: Case) -> Case:
    """Have nobody say when the finished work was done."""
    before, task = one.job.tasks
    bare = replace(before, finished_at=None, started_at=None)
    return replace(one, job=replace(one.job, tasks=(bare, task)))


def gustier(rng: np.random.Generator, one: Case) -> Case:
    """Raise wind and gust in coming hours."""
    by = float(rng.uniform(1.1, 2.5))
    names = ("wind_speed_ms", "wind_speed_of_gust_ms")
    return one.with_columns(**{name: one.column(name) * by for name in names})


def wetter(rng: np.random.Generator, one: Case) -> Case:
    """Add rain, and its chance, to some coming hours."""
    at = int(rng.integers(BACK_H - 20, HOURS - 30))
    rain, chance = (
        one.column("precipitation_amount_mm"),
        one.column("precipitation_probability_pct"),
    )
    rain[at : at + 5] += float(rng.choice([0.4, 2.0, 8.0]))
    chance[at : at + 5] = np.maximum(chance[at : at + 5], 80.0)
    return one.with_columns(precipitation_amount_mm=rain, precipitation_probability_pct=chance)


def colder(rng: np.random.Generator, one: Case) -> Case:
    """Take hours below 10 °C (50 °F) down by some degrees; above that hot-weather rows ease."""
    air = one.column("air_temperature_c")
    by = float(rng.uniform(0.5, 8.0))
    return one.with_columns(air_temperature_c=np.where(air < 10.0, air - by, air))


Change = Callable[[np.random.Generator, Case], Case]
CHANGES: Final[tuple[Change, ...]] = (
    column_gone, hour_gone, older, elsewhere, shorter, fewer_means, later_arrival, younger,
    undated, gustier, wetter, colder,
)  # fmt: skip
