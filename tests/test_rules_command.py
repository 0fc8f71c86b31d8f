"""``closein rules``: the book by work, edition and source, and every verdict traced."""

from __future__ import annotations

import contextlib
import io
import json
from pathlib import Path
from typing import Any

import pytest

import scheduler.jobfile
from rules.book import editions, load_book, sources
from scheduler.cli import main
from tests.demo_job import DEMO, demo_job

AT = "2026-11-09T06:00"
WEATHER = ["--weather", str(DEMO / "forecast.json"), "--at", AT]
TASKS = [task.id for task in scheduler.jobfile.read(DEMO / "job.yaml").tasks]


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    code = main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """Return what the demo's morning says of each task."""
    written = io.StringIO()
    with contextlib.redirect_stdout(written):
        main(["today", str(demo_job(tmp_path_factory.mktemp("demo"))), *WEATHER, "--json"])
    return {answer["task"]: answer for answer in json.loads(written.getvalue())["tasks"]}


@pytest.mark.parametrize("task", TASKS)
def test_every_verdict_of_the_demo_is_traced_to_row_value_hour_and_source(
    tmp_path: Path,
    task: str,
    answers: dict[str, dict[str, Any]],
    capsys: pytest.CaptureFixture[str],
) -> None:
    job = demo_job(tmp_path)
    code, out, err = run(capsys, "rules", "--why", job, task, *WEATHER, "--json")
    if task not in answers:
        assert code == 2
        assert "nothing of it is still to be kept" in err
        return
    traced = json.loads(out)
    assert [row["limit"] for row in traced["limits"]] == answers[task]["limits"]
    papers = {"document", "job", "model", "gate"}  # no row of the book; their source is told
    for row in traced["limits"]:
        limit = row["limit"]
        assert limit["source"], limit
        if row["row"] is None:
            assert limit["rule"].split(":")[0] in papers or limit["rule"].startswith("order")
            continue
        assert row["row"]["id"] == limit["rule"]
        assert row["row"]["origin"]
        hours = {hour["at"]: hour["value"] for hour in row["hours"]}
        if limit["at"] in hours and limit["taken_as"] == "value":
            assert hours[limit["at"]] == pytest.approx(limit["value"], abs=0.06)


def test_a_walk_reads_like_a_check_by_hand(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "rules", "--why", demo_job(tmp_path), "lay", *WEATHER)
    assert code == 0
    assert "masonry.cold.laying" in out
    assert "TMS 602" in out
    assert "07:00 38.8 °F go with protection" in out
    assert "compare with the adopted edition" in out


@pytest.mark.parametrize("edition", editions())
def test_every_edition_prints_every_row(edition: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "rules", "--edition", edition, "--json")
    rows = json.loads(out)["rows"]
    assert code == 0
    assert [row["id"] for row in rows] == [row.id for row in load_book(edition).rows]
    assert all(row["origin"] and row["clause"] for row in rows)


def test_rows_of_one_work_and_one_source(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "rules", "--work-type", "place_grout", "--json")
    rows = json.loads(out)["rows"]
    assert rows
    assert all("place_grout" in row["work_types"] for row in rows)
    key = next(key for key in sources() if key.startswith("tms602"))
    _, out, _ = run(capsys, "rules", "--source", key, "--json")
    assert {row["source"] for row in json.loads(out)["rows"]} == {key}


def test_editions_set_against_each_other(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(
        capsys, "rules", "--against", "canada-nbc", "--work-type", "lay_block", "--json"
    )
    told = json.loads(out)["only_in"]
    assert code == 0
    assert told["tms602-2016"]
    assert told["canada-nbc"]
    code, out, _ = run(capsys, "rules", "--against", "canada-nbc", "--work-type", "lay_block")
    assert "rows only in tms602-2016" in out


@pytest.mark.parametrize(
    ("asked", "said"),
    [(["--work-type", "lay_blok"], "did you mean lay_block?"), (["--source", "nobody"], "source"),
     (["--edition", "tms"], "tms602-2016"), (["--why", str(DEMO / "job.yaml"), "ley"], "lay")],
)  # fmt: skip
def test_what_the_book_does_not_know_is_one_clear_line(
    asked: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = run(capsys, "rules", *asked, *WEATHER, "--store", ":memory:")
    assert code == 2
    assert len(err.splitlines()) == 1
    assert said in err
