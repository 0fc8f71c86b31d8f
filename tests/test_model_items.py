"""Items of the plan's model from the job file to the hours of the plan, through the command."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from scheduler.cli import main
from tests.demo_job import DEMO, demo_job

COMMON = ["--weather", str(DEMO / "forecast.json"), "--climate", str(DEMO / "climate.csv")]
COMMON += ["--at", "2026-11-09T06:00", "--json"]
Hours = dict[str, tuple[datetime, datetime]]


def planned(folder: Path, capsys: pytest.CaptureFixture[str], *keys: tuple[str, str]) -> Hours:
    """Return the planned hours of the made job with keys added to its tasks."""
    job = demo_job(folder)
    text = job.read_text(encoding="utf-8")
    for task, line in keys:
        text = text.replace(f"  - id: {task}\n", f"  - id: {task}\n    {line}\n")
    job.write_text(text, encoding="utf-8")
    assert main(["plan", str(job), *COMMON]) == 0
    lines = json.loads(capsys.readouterr().out)["plan"]["tasks"]
    return {
        line["id"]: (datetime.fromisoformat(line["start"]), datetime.fromisoformat(line["finish"]))
        for line in lines
        if not line["done"] and line["start"]
    }


def length_h(hours: Hours, task: str) -> float:
    start, finish = hours[task]
    return (finish - start) / timedelta(hours=1)


def test_two_tasks_kept_apart_never_overlap(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    free = planned(tmp_path, capsys)
    assert free["dowels"][0] < free["lay"][1]
    assert free["lay"][0] < free["dowels"][1]  # they go on side by side as the job stands
    (tmp_path / "apart").mkdir()
    apart = planned(tmp_path / "apart", capsys, ("lay", "apart_from: [dowels]"))
    (first_start, first_end), (then_start, _) = sorted((apart["lay"], apart["dowels"]))
    assert then_start >= first_end > first_start


def test_set_up_and_cover_up_lie_inside_the_shift(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Five hours of drilling from 07:00: one hour more before it and one after it."""
    assert length_h(planned(tmp_path, capsys), "dowels") == 5.0
    (tmp_path / "more").mkdir()
    more = planned(
        tmp_path / "more", capsys, ("dowels", "set_up_h: 1"), ("dowels", "cover_up_h: 1")
    )
    assert length_h(more, "dowels") == 7.0
    assert more["dowels"][1].hour <= 16


def test_a_piece_that_no_shift_holds_is_not_begun(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Thirteen hours of laying go on over two shifts of nine; in pieces of ten they cannot."""
    free = planned(tmp_path, capsys)
    assert free["lay"][0].date() != free["lay"][1].date()
    (tmp_path / "long").mkdir()
    assert "lay" not in planned(tmp_path / "long", capsys, ("lay", "least_piece_h: 10"))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("apart_from: [dowel]", "no such task; did you mean dowels?"),
        ("set_up_h: -1", "set_up_h"),
        ("least_piece_h: 0", "least_piece_h"),
    ],
)
def test_what_cannot_be_is_one_line(
    line: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = demo_job(tmp_path)
    text = job.read_text(encoding="utf-8").replace("  - id: lay\n", f"  - id: lay\n    {line}\n")
    job.write_text(text, encoding="utf-8")
    assert main(["check", str(job)]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert len(err.splitlines()) == 1
