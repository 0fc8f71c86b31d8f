"""What would buy chance: which changes are tried, and how they are ranked."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from rules.exposure import NEVER
from scheduler.planning.job import (
    Appointment,
    Calendar,
    Crew,
    ExposureLimits,
    Job,
    OpeningsToWind,
    Shift,
    Site,
    State,
    Task,
)
from scheduler.planning.levers import LEAST_GAIN, Change, changes, ranked
from scheduler.planning.log import Progress
from scheduler.planning.problem import frame_of

NOW = datetime(2026, 11, 2, tzinfo=UTC)  # a Monday
WEEK = Calendar((*[Shift(time(7), time(16))] * 5, None, None))
VISIT = Appointment("house_lifter", NOW + timedelta(days=9))
TASKS = (
    Task("raise", "raise", "raise_house", 8.0, state=State.DONE, finished_at=NOW),
    Task("lay", "Lay", "lay_block", 8.0, crew=("men",)),
    Task("frame", "Frame", "framing", 8.0, crew=("men",)),
    Task("lower", "Lower", "lower_house", 8.0, crew=("lifter",), appointment=VISIT),
    Task("windows", "Windows", "set_windows", 8.0, not_before=NOW + timedelta(days=14)),
)
CREWS = (Crew("men", "Block crew"), Crew("lifter", "Lifter"))


def found(**more: object) -> dict[str, Change]:
    job = Job("house", Site("t", 44.0, 0.0, 100.0, "UTC"), "us", "tms602-2016", WEEK, TASKS, CREWS)
    job = replace(job, **more)  # type: ignore[arg-type]
    frame = frame_of(job, Progress(), hour_zero=NOW, hours=1000, now_hour=0)
    return {change.what: change for change in changes(frame)}


def test_what_can_be_tried_on_a_job() -> None:
    assert list(found()) == [
        "one more crew: Block crew",  # the lifter has one task only: a second would not help
        "Saturdays worked, 07:00-16:00",
        "each day 2 hours longer",
        "house lifter free to come as soon as Lower can begin",
        "Windows a week sooner, as if delivered sooner",
    ]


def test_each_change_changes_just_that() -> None:
    every = found()
    crew = every["one more crew: Block crew"].job
    assert [one.size for one in crew.crews] == [2, 1]
    saturday = every["Saturdays worked, 07:00-16:00"]
    assert saturday.hours
    assert saturday.job.calendar.week[5] == Shift(time(7), time(16))
    assert saturday.job.calendar.week[6] is None
    assert every["each day 2 hours longer"].job.calendar.week[0] == Shift(time(7), time(18))
    free = every["house lifter free to come as soon as Lower can begin"].job
    assert free.task("lower").appointment is None
    sooner = every["Windows a week sooner, as if delivered sooner"].job
    assert sooner.task("windows").not_before == NOW + timedelta(days=7)


def test_saturdays_that_are_worked_already_are_not_offered() -> None:
    six = Calendar((*[Shift(time(7), time(16))] * 6, None))
    assert not any("Saturday" in what for what in found(calendar=six))


def test_openings_are_covered_only_where_the_job_says_what_they_do() -> None:
    open_ = ExposureLimits(openings=OpeningsToWind(6.0, 9000.0, 50.0))
    change = found(exposure=open_)["openings covered for the time with panels"]
    assert change.house
    assert change.job.exposure.openings is None
    assert change.job.exposure.time_constant_h == 50.0


def test_the_one_that_buys_most_comes_first_and_what_buys_nothing_is_left_out() -> None:
    passed = np.array([10, 20, 30, 40])
    late = np.array([15, 25, 25, 25])  # made in two of four
    little = np.array([15, 18, 25, 25])  # three
    much = np.array([5, 5, 5, 5])  # four
    none = np.array([15, 25, 25, NEVER])
    job = next(iter(found().values())).job
    tried = [
        (Change(name, job), passed, closed)
        for name, closed in (("little", little), ("none", none), ("much", much))
    ]
    levers = ranked(0.48, (passed, late), tried)
    assert [(one.what, one.chance_gain) for one in levers] == [("much", 0.5), ("little", 0.25)]
    assert levers[0].chance == pytest.approx(0.98)
    assert all((one.chance_gain or 0.0) >= LEAST_GAIN for one in levers)
