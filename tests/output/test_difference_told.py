"""What moved reads the same on the page as by the command, a later end too."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import scheduler.jobfile
from scheduler.output.difference_told import difference_told
from scheduler.output.log_table import moved_rows
from scheduler.planning.reports.difference import Change, Difference, Moved
from tests.demo_job import demo_job
from tests.service.made_job import utc


def test_a_task_that_ends_later_says_until_when(tmp_path: Path) -> None:
    path = demo_job(tmp_path)
    job = scheduler.jobfile.parse(scheduler.jobfile.load(path), file=str(path))
    start = utc(2026, 11, 9, 12)  # 07:00 on site
    ends = start + timedelta(hours=9)
    row = Moved("lay", "Lay", start, start, "rain", ended=start + timedelta(hours=5), ends=ends)
    none = Change(None, None)
    found = Difference((row,), (), (), (None, None), (None, None), none, none)
    wanted = [["Lay", "until Mon 9 Nov 12:00", "until Mon 9 Nov 16:00", "rain"]]
    assert difference_told(found, (), job, ends)["moved"] == moved_rows(found, job) == wanted
