"""How late a task may begin: the chance is kept to that day and lost the day after."""

from __future__ import annotations

from datetime import UTC, datetime, time

import numpy as np

from scheduler.planning.model.frame import Frame, frame_of
from scheduler.planning.model.job import Calendar, Job, Shift, Site
from scheduler.planning.model.log import Progress
from scheduler.planning.plan.latest_starts import latest_starts
from scheduler.planning.replay.replay import replay
from scheduler.planning.schedule.network import Placed, Plan, Problem, Status, Tie, Work
from scheduler.planning.tables.finish import NEVER, Effort, finish_table, ready_after
from scheduler.planning.tables.own_gates import OwnGates
from scheduler.planning.tables.work_hours import WorkHours

ZERO = datetime(2026, 11, 10, 5, tzinfo=UTC)
HOURS = 24 * 40
SCENARIOS = 20


def frame(confidence: float) -> Frame:
    site = Site("Heron Ferry", 44.3, -75.1, 125.0, "America/New_York")
    week = Calendar((Shift(time(7), time(16)),) * 7)
    job = Job("north", site, "us", "tms602-2016", week, (), confidence=confidence)
    return frame_of(job, Progress(), hour_zero=ZERO, hours=HOURS, now_hour=0)


def chain() -> tuple[Problem, Plan, dict[str, WorkHours]]:
    """Two tasks in a row, five hours each, every day fit in every scenario."""
    shift = (np.arange(HOURS) % 24 >= 7) & (np.arange(HOURS) % 24 < 17)
    fit = np.ones((SCENARIOS, HOURS), dtype=np.bool_)
    hours = {name: WorkHours(fit, shift, Effort(5)) for name in ("lay", "cap")}
    fair = finish_table(fit[0], shift, Effort(5))
    works = (Work("lay", fair), Work("cap", fair, closes=True))
    problem = Problem(HOURS, works, (Tie("lay", "cap", ready_after(HOURS, 0)),))
    plan = Plan(Status.PROVEN, (Placed("lay", 7, 12), Placed("cap", 12, 17)), 17, 17)
    return problem, plan, hours


def test_the_room_is_up_to_the_breach_that_confidence_allows() -> None:
    """Breaches on the evenings of days 10 to 29: one in ten may be passed, the third may not."""
    problem, plan, hours = chain()
    passed = 24 * np.arange(10, 10 + SCENARIOS) + 20
    found = latest_starts(frame(0.9), problem, plan, hours, OwnGates(), passed.astype(np.int64))
    room = {row.task: row.room_days for row in found.rows}
    assert room == {"lay": 12, "cap": 12}  # closed in on day 12, before 18 of 20 breaches
    assert (found.keeps, found.below) == (0.9, False)
    assert found.rows[0].latest == datetime(2026, 11, 22, 12, tzinfo=UTC)


def test_one_day_more_loses_it_and_each_day_up_to_it_keeps_it() -> None:
    problem, plan, hours = chain()
    rng = np.random.default_rng(5)
    passed = rng.integers(24 * 4, 24 * 30, SCENARIOS).astype(np.int64)
    found = latest_starts(frame(0.8), problem, plan, hours, OwnGates(), passed)
    starts = plan.starts()
    for row in found.rows:
        for more, kept in ((0, True), (24, False)):
            floors = np.zeros((1, 2), dtype=np.int32)
            at = [work.id for work in problem.tasks].index(row.task)
            floors[0, at] = starts[row.task] + 24 * row.room_days + more
            closed = replay(problem, plan, hours, floors=floors).close_in
            chance = float(((closed <= passed) & (closed < NEVER)).mean())
            assert (chance >= found.keeps - 1e-9) is kept


def test_where_the_chance_is_lower_already_the_starts_keep_what_there_is() -> None:
    problem, plan, hours = chain()
    passed = np.where(np.arange(SCENARIOS) < 10, 5, HOURS).astype(np.int64)
    found = latest_starts(frame(0.9), problem, plan, hours, OwnGates(), passed)
    assert (found.keeps, found.below) == (0.5, True)
    assert all(row.room_days > 30 for row in found.rows)


def test_many_questions_at_once_are_each_the_same_alone() -> None:
    problem, plan, hours = chain()
    floors = np.array([[0, 0], [60, 0], [0, 100]], dtype=np.int32)
    whole = replay(problem, plan, hours, floors=floors)
    for n in range(3):
        alone = replay(problem, plan, hours, floors=floors[n : n + 1])
        cut = slice(n * SCENARIOS, (n + 1) * SCENARIOS)
        assert (whole.start[cut] == alone.start).all()
        assert (whole.close_in[cut] == alone.close_in).all()
