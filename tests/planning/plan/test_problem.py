"""From job and log to what is left to plan."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest

from scheduler.planning.model.job import (
    Appointment,
    Calendar,
    Crew,
    Job,
    Link,
    LinkKind,
    RentedEquipment,
    Shift,
    Site,
    State,
    StrengthGate,
    Task,
)
from scheduler.planning.model.log import Entry, EntryKind, Progress
from scheduler.planning.model.standing import lost_hours, standings
from scheduler.planning.plan.problem import Tables, build_problem
from scheduler.planning.schedule.network import Problem, Rent
from scheduler.planning.schedule.solve import solve

ZERO = datetime(2026, 11, 9, tzinfo=UTC)  # a Monday
HOURS = 14 * 24
WEEK = Calendar(week=(Shift(time(7), time(16)),) * 5 + (None, None))
SITE = Site("Heron Ferry", 44.3, -75.1, 125.0, "UTC")


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return ZERO + timedelta(days=day, hours=hour, minutes=minute)


def job_of(*tasks: Task, **more: object) -> Job:
    crews = (Crew("masons", "Masons"), Crew("lifter", "Lifter"))
    return Job("job", SITE, "us", "book", WEEK, tasks, crews=crews, **more)


def entry(kind: EntryKind, moment: datetime, task: str = "", hours: float | None = None) -> Entry:
    return Entry(seq=1, at=moment, entered_at=moment, kind=kind, task=task, hours=hours)


def build(job: Job, *entries: Entry, now: int = 0, **more: object) -> Problem:
    workable = {task.id: np.ones(HOURS, bool) for task in job.tasks}
    tables = Tables(**{"workable": workable, "ready": {}, **more})
    progress = Progress(tuple(entries))
    return build_problem(job, progress, hour_zero=ZERO, hours=HOURS, tables=tables, now_hour=now)


LAY = Task("lay", "Lay", "lay_block", 13, crew=("masons",), may_pause=True)


def test_a_task_to_do_takes_its_hours_over_two_shifts() -> None:
    problem = build(job_of(LAY))
    assert solve(problem).finishes() == {"lay": 24 + 7 + 4}


def test_the_log_wins_over_the_file_and_counts_down() -> None:
    job = job_of(replace(LAY, state=State.DONE))
    started = entry(EntryKind.STARTED, at(0, 7), "lay")
    now = at(0, 12)
    standing = standings(job, Progress((started,)), now=now)["lay"]
    assert (standing.state, standing.hours_left) == (State.UNDER_WAY, 8)
    lost = replace(entry(EntryKind.LOST, now, hours=2), seq=2)
    standing = standings(job, Progress((started, lost)), now=now)["lay"]
    assert standing.hours_left == 10
    told = replace(entry(EntryKind.PROGRESS, at(0, 11), "lay", hours=4), seq=3)
    assert standings(job, Progress((started, told)), now=now)["lay"].hours_left == 3
    done = replace(entry(EntryKind.FINISHED, at(0, 12), "lay"), seq=4)
    assert standings(job, Progress((started, done)), now=now)["lay"].state is State.DONE


def test_a_task_overdue_still_has_half_an_hour_left() -> None:
    started = entry(EntryKind.STARTED, at(0, 7), "lay")
    standing = standings(job_of(LAY), Progress((started,)), now=at(4, 12))["lay"]
    assert standing.hours_left == 0.5


@pytest.mark.parametrize(
    ("told", "hours", "first", "last"),
    [
        (at(0, 7, 5), 9, at(0, 7), at(0, 15)),  # in the morning: the day ahead
        (at(0, 16), 9, at(0, 7), at(0, 15)),  # in the evening: the day behind
        (at(0, 12), 3, at(0, 9), at(0, 11)),
        (at(0, 12), 7, at(0, 7), at(0, 13)),  # all of the morning, and on
        (at(4, 12), 15, at(4, 7), at(7, 12)),  # Friday and on into Monday
    ],
)
def test_lost_hours_lie_in_the_shift_of_their_day(told, hours, first, last) -> None:
    gone = lost_hours(entry(EntryKind.LOST, told, hours=hours), WEEK, "UTC")
    assert (gone[0], gone[-1], len(gone)) == (first, last, hours)


def test_lost_hours_ahead_are_not_planned_in() -> None:
    lost = entry(EntryKind.LOST, at(0, 7), hours=9)
    assert solve(build(job_of(LAY), lost, now=7)).starts() == {"lay": 24 + 7}


def test_done_work_binds_its_successors() -> None:
    done = replace(LAY, state=State.DONE, finished_at=at(-1, 10, 30))
    link = Link("lay", wait_h=24, within_h=30)
    grout = Task("grout", "Grout", "place_grout", 4, crew=("masons",), after=(link,))
    problem = build(job_of(done, grout))
    assert [work.id for work in problem.tasks] == ["grout"]
    assert problem.tasks[0].not_before == 11
    assert np.flatnonzero(problem.tasks[0].finish < HOURS).tolist() == list(range(7, 13))
    late = build(job_of(done, replace(grout, after=(Link("lay", wait_h=48, within_h=30),))))
    assert solve(late).status == "infeasible"


def test_waits_of_work_done_at_a_time_nobody_told_count_from_now() -> None:
    done = replace(LAY, state=State.DONE)
    grout = Task("grout", "Grout", "place_grout", 4, after=(Link("lay", wait_h=24),))
    assert build(job_of(done, grout), now=8).tasks[0].not_before == 32


def test_working_waits_count_shifts_past_and_ahead() -> None:
    link = Link("lay", wait_working_h=12)
    next_ = Task("next", "Next", "lay_block", 2, after=(link,))
    done = replace(LAY, state=State.DONE, finished_at=at(-3, 10))  # Friday, six hours to go
    assert build(job_of(done, next_)).tasks[0].not_before == 13
    plan = solve(build(job_of(replace(LAY, duration_h=9), next_)))
    assert plan.starts()["next"] == 48 + 10


def test_start_start_links_count_from_the_start() -> None:
    link = Link("lay", kind=LinkKind.START_START, wait_h=4)
    next_ = Task("next", "Next", "lay_block", 2, after=(link,))
    assert solve(build(job_of(LAY, next_))).starts()["next"] == 11
    started = entry(EntryKind.STARTED, at(0, 7, 30), "lay")
    assert build(job_of(LAY, next_), started, now=9).tasks[1].not_before == 12


def test_gates_open_by_their_table_and_not_before_their_wait() -> None:
    gate = StrengthGate(share=0.5, wait_h=72)
    lower = Task("lower", "Lower", "lower_house", 6, after=(Link("grout", gate=gate),))
    grout = Task("grout", "Grout", "place_grout", 4, crew=("masons",))
    early = np.arange(HOURS + 1, dtype=np.int32) + 50
    plan = solve(build(job_of(grout, lower), ready={("lower", "grout"): early}))
    assert plan.starts()["lower"] == 4 * 24 + 7  # Thursday 11:00 is too late for six hours
    late = np.arange(HOURS + 1, dtype=np.int32) + 150
    plan = solve(build(job_of(grout, lower), ready={("lower", "grout"): late}))
    assert plan.starts()["lower"] == 7 * 24 + 7
    done = replace(grout, state=State.DONE, finished_at=at(-1, 12))
    ready = {("lower", "grout"): np.array(80, np.int32)}
    assert build(job_of(done, lower), ready=ready).tasks[0].not_before == 80
    with pytest.raises(KeyError):
        build(job_of(grout, lower))


def test_appointments_keep_their_slots_and_notice() -> None:
    visit = Appointment("lifter", at(1, 7), notice_h=48, slots=(at(2, 7), at(3, 7)))
    lower = Task("lower", "Lower", "lower_house", 5, crew=("lifter",), appointment=visit)
    assert solve(build(job_of(lower))).moved == ()
    wet = np.ones(HOURS, bool)
    wet[24:48] = False
    plan = solve(build(job_of(lower), workable={"lower": wet}, now=8))
    assert plan.starts() == {"lower": 72 + 7}  # Wednesday is less than 48 h away
    assert plan.moved == ("lower",)


def test_an_appointment_on_a_day_off_is_worked() -> None:
    visit = Appointment("lifter", at(5, 7))  # Saturday
    lower = Task("lower", "Lower", "lower_house", 5, crew=("lifter",), appointment=visit)
    assert solve(build(job_of(lower))).starts() == {"lower": 5 * 24 + 7}


def test_work_that_may_not_pause_goes_on_now() -> None:
    pour = Task("pour", "Pour", "place_concrete", 6, crew=("masons",))
    other = Task("a", "Other", "lay_block", 2, crew=("masons",))
    started = entry(EntryKind.STARTED, at(0, 8), "pour")
    plan = solve(build(job_of(pour, other), started, now=10))
    assert plan.starts() == {"a": 14, "pour": 10}


def test_days_offered_bind_and_tasks_keep_apart() -> None:
    a = replace(LAY, id="a", crew=(), duration_h=4, apart_from=("b",))
    b = Task("b", "B", "lay_block", 4, days=(date(2026, 11, 10),))
    plan = solve(build(job_of(a, b)))
    assert plan.starts()["b"] == 24 + 7
    c = replace(b, days=(date(2026, 11, 9),))
    plan = solve(build(job_of(a, c)))
    assert sorted(plan.starts().values()) == [7, 11]


def test_rented_equipment_is_paid_by_the_day() -> None:
    rented = RentedEquipment("heater", ("lay",), 60.0, since=at(-2, 8))
    problem = build(job_of(LAY, rented=(rented,)))
    assert problem.rents == (Rent("heater", ("lay",), 60, -40),)
    assert solve(problem).cost == 120
