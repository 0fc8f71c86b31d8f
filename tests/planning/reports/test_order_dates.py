"""Order dates by hand: the evening before the work, less the days it takes, on a workday."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

import scheduler.jobfile
from scheduler.cli import main
from scheduler.output.orders_table import order_rows
from scheduler.planning.plan.plan_answer import PlanLine
from scheduler.planning.reports import order_dates as module
from tests.mild_weather import mild_forecast, mild_years

JOB = """\
closein: 1
name: orders
site: {name: here, latitude: 44.0, longitude: -75.0, elevation_m: 100, time_zone: America/New_York}
units: us
season_end: 2026-10-31
hours: {mon-fri: "07:00-16:00", sat: off, sun: off}
tasks:
  - {id: done, work_type: framing, state: done, finished: 2026-09-11T12:00}
  - {id: a, name: Frame, work_type: framing, duration_h: 8, not_before: 2026-09-16, closes: [w]}
  - {id: b, name: Sheathe, work_type: sheathe, duration_h: 4, after: a, not_before: 2026-09-28}
orders:
  - {what: studs, amount: 90, unit: each, for_task: a, lead_days: 0}
  - {what: "=boards", amount: 40, unit: each, for_task: b, lead_days: 7, from: yard}
  - {what: trusses, amount: 9, unit: each, for_task: b, lead_days: 21}
  - {what: old, amount: 1, unit: each, for_task: done, lead_days: 2}
"""
# Frame begins Wed 16 Sep: studs by Tue 15. Sheathe on Mon 28 Sep: the evening before is Sun 27,
# less 7 days Sun 20: the workday before is Fri 18; less 21 days Sun 6 Sep, Fri 4 Sep: late on the
# 14th.
BY_HAND = {"studs": "2026-09-15", "=boards": "2026-09-18", "trusses": "2026-09-04"}


@pytest.fixture
def asked(tmp_path: Path) -> list[str]:
    job = tmp_path / "job.yaml"
    job.write_text(JOB, encoding="utf-8")
    weather = mild_forecast(tmp_path, "2026-09-14T00:00-04:00")
    climate = mild_years(tmp_path)
    return ["orders", str(job), "--weather", str(weather), "--climate", str(climate),
            "--at", "2026-09-14T06:00", "--store", ":memory:"]  # fmt: skip


def test_order_dates_by_hand(asked: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*asked, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    rows = {row["what"]: row for row in document["orders"]}
    assert {what: row["order_by"] for what, row in rows.items()} == BY_HAND
    assert [row["what"] for row in document["orders"]] == ["trusses", "studs", "=boards"]
    assert {what for what, row in rows.items() if row["late"]} == {"trusses"}


def test_the_first_cold_night_is_told(
    asked: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """The made years fall to freezing late in October: by hand from the sine, day 300 or so."""
    assert main([*asked, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["first_cold_night"]
    assert abs(date.fromisoformat(told) - date(2026, 10, 27)) <= timedelta(days=7)


def test_csv_opens_as_text(
    asked: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "orders.csv"
    assert main([*asked, "--csv", str(table)]) == 0
    out = capsys.readouterr().out
    assert "LATE" in out
    text = table.read_text(encoding="utf-8")
    assert "'=boards" in text
    assert ",=boards" not in text


def test_a_job_without_orders_says_so(
    asked: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    job = Path(asked[1])
    job.write_text(JOB.split("orders:", maxsplit=1)[0], encoding="utf-8")
    assert main(asked) == 2
    assert "has no orders" in capsys.readouterr().err


def test_the_day_is_that_of_the_earliest_start_in_one_of_ten_scenarios(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """By hand: sheathing planned on Mon 28 Sep could begin on Wed 23.

    The evening before is Tue 22, less 7 days Tue 15, less 21 days Tue 1 Sep.
    """
    monkeypatch.setattr(module, "first_cold_night", lambda *_: None)
    job = scheduler.jobfile.parse(JOB, file="made")
    start = datetime(2026, 9, 28, 11, tzinfo=UTC)
    lines = [
        PlanLine(task.id, task.name, task.work_type, start, start, None, done=task.id == "done")
        for task in job.tasks
    ]
    found = module.order_dates(
        job,
        lines,
        None,  # the weather is looked at for the first cold night alone
        early={"b": datetime(2026, 9, 23, 11, tzinfo=UTC)},
        hour_zero=start,
        now=datetime(2026, 9, 14, 10, tzinfo=UTC),
    )
    rows = {row.order.what: row for row in found.rows}
    assert rows["=boards"].order_by == date(2026, 9, 15)
    assert rows["trusses"].order_by == date(2026, 9, 1)
    assert "as early as" in order_rows(found, job)[0][4]
