"""Pieces of work: no crew is sent up for the last hour of a shift. Common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.planning.evidence.known import Known, known
from scheduler.planning.evidence.shifts import first_working, starts_on
from scheduler.planning.model.job import Task
from scheduler.planning.model.log import Progress
from tests.planning.evidence.made import NOW, job, mild

LAY = Task(id="lay", name="Lay", work_type="lay_block", duration_h=13.0, may_pause=True)
NIGHT = timedelta(hours=15)


def asked(task: Task, later_h: float) -> Known:
    """Return what is known so many hours after 07:00, in a shift until 16:00."""
    return known(job(task), mild(), None, Progress(), NOW + timedelta(hours=later_h))


@pytest.mark.parametrize(
    ("task", "last_h"),
    [
        (LAY, 7),  # 14:00: two hours are left
        (replace(LAY, least_piece_h=4.0), 5),
        (replace(LAY, least_piece_h=1.0), 8),
        (replace(LAY, duration_h=1.0), 8),  # all of it fits into the last hour
    ],
)
def test_the_last_start_of_a_shift_leaves_a_useful_piece(task: Task, last_h: int) -> None:
    here = asked(task, 0.0)
    assert starts_on(here, task, here.local_day(NOW))[-1] == NOW + timedelta(hours=last_h)


def test_in_the_last_hour_the_next_start_is_tomorrow() -> None:
    for later_h in (7.01, 8.0, 8.99):
        here = asked(LAY, later_h)
        assert first_working(here, LAY, here.now) == NOW + timedelta(hours=9) + NIGHT
