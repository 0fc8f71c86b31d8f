"""What would buy chance and days: which changes are tried, alone and together."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

from scheduler.planning.levers.levers import Change, Kind, both, changes, not_tried
from scheduler.planning.model.frame import Frame, frame_of
from scheduler.planning.model.job import (
    Appointment,
    Calendar,
    Costs,
    Crew,
    ExposureLimits,
    Hire,
    Job,
    MeasureOffer,
    OpeningsToWind,
    Shift,
    Site,
    State,
    Task,
)
from scheduler.planning.model.log import Progress

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


def frame(**more: object) -> Frame:
    job = Job("house", Site("t", 44.0, 0.0, 100.0, "UTC"), "us", "tms602-2016", WEEK, TASKS, CREWS)
    job = replace(job, **more)  # type: ignore[arg-type]
    return frame_of(job, Progress(), hour_zero=NOW, hours=1000, now_hour=0)


def found(**more: object) -> dict[str, Change]:
    return {change.what: change for change in changes(frame(**more))}


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


def test_two_changes_together_are_found_whatever_comes_first() -> None:
    """A longer day moves the end of a Saturday too: it is still the same pair."""
    every = found()
    saturday, longer = every["Saturdays worked, 07:00-16:00"], every["each day 2 hours longer"]
    for one, other in ((saturday, longer), (longer, saturday)):
        pair = both(frame(), one, other)
        assert pair is not None
        assert {step.kind for step in pair.made_of} == {Kind.SATURDAY, Kind.OVERTIME}
        assert pair.job.calendar.week[5] == Shift(time(7), time(18))


def test_a_heated_enclosure_is_tried_only_where_the_plan_does_not_count_on_one() -> None:
    grout = Task("grout", "Grout", "place_grout", 5.0, crew=("men",))
    name = "heated enclosure over fresh work"
    tried = {change.what: change for change in changes(frame(tasks=(*TASKS, grout)), dear=True)}
    assert tried[name].strength
    assert "heated_enclosure" in tried[name].job.on_hand
    assert name not in {change.what for change in changes(frame(tasks=(*TASKS, grout)))}
    priced = Costs(heated_enclosure=Hire(190.0, 60.0))
    offered = (MeasureOffer("heated_enclosure", 24.0, 190.0),)
    with_one = frame(tasks=(*TASKS, grout), can_be_had=offered, costs=priced)
    assert name not in {change.what for change in changes(with_one, dear=True)}
    assert "on hand or offered" in not_tried(with_one)[0]
    assert "no fresh work is left" in not_tried(frame(costs=priced))[0]


def test_panels_that_are_priced_but_do_nothing_known_are_named() -> None:
    (said,) = not_tried(frame(costs=Costs(temporary_closing=Hire(once=350.0))))
    assert "exposure.openings" in said
