"""The weather-day record, by hand: what is lost, what counts, by when notice is due."""

from __future__ import annotations

import json
from pathlib import Path

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import scheduler.jobfile
from scheduler.cli import main
from scheduler.planning.contract.critical_tasks import critical_tasks
from tests.mild_weather import mild_forecast

JOB = """\
closein: 1
name: days
site: {name: here, latitude: 44.0, longitude: -75.0, elevation_m: 100, time_zone: America/New_York}
units: us
season_end: 2026-10-31
hours: {mon-fri: "07:00-15:00", sat: off, sun: off}
tasks:
  - {id: lay, work_type: lay_block, duration_h: 40, may_pause: true}
  - {id: grout, work_type: place_grout, duration_h: 6, after: lay}
  - {id: trim, work_type: framing, duration_h: 4}
documents:
  - {id: terms, kind: contract, month: 2026-09, anticipated_days: 1, notice_days: 10,
     counted_when_lost_share_at_least: 0.5, workdays: [mon, tue, wed, thu, fri]}
"""
# Lost hours as written down. By hand, of 8 h a day: Mon 14, 2 + 3 = 5 h: counts. Tue 15, 3 h: less
# than half. Wed 16, trim alone, which has float: not critical. Thu 17, access: no weather. Fri 18,
# 8 h: counts, the second where one was foreseen: beyond, notice by 28 Sep. Sat 19: no workday.
LOST = [
    ("2026-09-14T15:00", 2, "rain", "lay"),
    ("2026-09-14T15:00", 3, "wind", "lay"),
    ("2026-09-15T15:00", 3, "rain", "lay"),
    ("2026-09-16T15:00", 8, "rain", "trim"),
    ("2026-09-17T15:00", 8, "access", "lay"),
    ("2026-09-18T15:00", 8, "cold", "grout"),
    ("2026-09-19T15:00", 4, "rain", "lay"),
]
COUNTS = {"2026-09-14": True, "2026-09-15": False, "2026-09-16": False, "2026-09-17": False,
          "2026-09-18": True, "2026-09-19": False}  # fmt: skip


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "job.yaml"
    path.write_text(JOB, encoding="utf-8")
    entries = [
        {"kind": "lost", "when": when, "hours": hours, "cause": cause, "task": task}
        for when, hours, cause, task in LOST
    ]
    log = tmp_path / "lost.json"
    log.write_text(json.dumps(entries), encoding="utf-8")
    assert (
        main(["log", str(path), "--entries", str(log), "--no-plan", "--at", "2026-09-20T08:00"])
        == 0
    )
    return path


def record(
    job: Path, capsys: pytest.CaptureFixture[str], *options: str, at: str = "2026-09-20T08:00"
) -> dict[str, object]:
    capsys.readouterr()
    assert main(["weather-days", str(job), "--at", at, "--json", *options]) == 0
    found: dict[str, object] = json.loads(capsys.readouterr().out)["contracts"][0]
    return found


def test_days_counted_by_hand(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = record(job, capsys)
    assert {day["date"]: day["counted"] for day in found["days"]} == COUNTS
    first = found["days"][0]
    assert (first["lost_h"], first["cause"], first["scheduled_h"]) == (5.0, "wind", 8.0)
    assert (found["counted"], found["beyond"]) == (2, 1)
    assert (found["first_beyond"], found["notice_by"]) == ("2026-09-18", "2026-09-28")


@pytest.mark.parametrize(
    ("at", "said"),
    [("2026-09-20T08:00", "open"), ("2026-09-21T08:00", "near"), ("2026-09-28T20:00", "near"),
     ("2026-09-29T00:30", "past")],
)  # fmt: skip
def test_the_notice_alarm(
    job: Path, at: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert record(job, capsys, at=at)["notice"] == said


def test_only_named_tasks_count_where_the_contract_names_them(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job.write_text(JOB.replace("kind: contract,", "kind: contract, for_task: grout,"), "utf-8")
    counted = [day["date"] for day in record(job, capsys)["days"] if day["counted"]]
    assert counted == ["2026-09-18"]


def test_forecast_as_issued_and_observation_stand_beside_the_day(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The forecast kept before the day began is shown, not one that came later."""
    weather = mild_forecast(tmp_path, "2026-09-16T00:00-04:00")
    asked = ["--weather", str(weather), "--at", "2026-09-16T06:00", "--json"]
    assert main(["today", str(job), *asked]) == 0
    seen = tmp_path / "seen.csv"
    hours = [f"2026-09-{18 + h // 24}T{h % 24:02d}:00-04:00" for h in range(24)]
    rain = [f"{hour},{'1.5' if n < 10 else '0'},{3 + n % 5}" for n, hour in enumerate(hours)]
    header = "time,precipitation_amount_mm,air_temperature_c"
    seen.write_text("\n".join([header, *rain]) + "\n", encoding="utf-8")
    days = {d["date"]: d for d in record(job, capsys, "--observed", str(seen))["days"]}
    assert days["2026-09-16"]["forecast"] is None
    told = days["2026-09-18"]["forecast"]
    assert (told["rain_mm"], told["low_c"]) == (0.0, 16.0)
    assert told["issued_at"].startswith("2026-09-16T00:00")
    assert days["2026-09-18"]["observed"]["rain_mm"] == pytest.approx(15.0)
    assert days["2026-09-18"]["observed"]["low_c"] == pytest.approx(3.0)
    assert days["2026-09-17"]["observed"] is None


def test_no_advice_is_given(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert main(["weather-days", str(job), "--at", "2026-09-29T08:00"]) == 0
    out = capsys.readouterr().out
    assert "No legal advice" in out
    assert "PAST" in out


def test_a_job_without_a_contract_says_what_is_missing(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job.write_text(JOB.split("documents:", maxsplit=1)[0], encoding="utf-8")
    assert main(["weather-days", str(job), "--at", "2026-09-29T08:00"]) == 2
    assert "anticipated_days" in capsys.readouterr().err


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.integers(1, 9), st.integers(0, 30)), min_size=2, max_size=9), st.data()
)
def test_the_critical_chain_is_the_longest_path(
    rows: list[tuple[int, int]], data: st.DataObject
) -> None:
    """Against networkx's longest path: every task on one is critical, and only such tasks."""
    lines, graph = [], nx.DiGraph()
    graph.add_node("end")
    for number, (hours, wait) in enumerate(rows):
        name = f"t{number}"
        before = data.draw(st.sets(st.integers(0, number - 1), max_size=2)) if number else set()
        links = ", ".join(f"{{task: t{b}, wait_h: {wait}}}" for b in sorted(before))
        lines.append(
            f"  - {{id: {name}, work_type: framing, duration_h: {hours}, after: [{links}]}}"
        )
        graph.add_edge(name, "end", length=hours)
        for b in before:
            graph.add_edge(f"t{b}", name, length=rows[b][0] + wait)
    text = JOB.split("tasks:", maxsplit=1)[0] + "tasks:\n" + "\n".join(lines) + "\n"
    job = scheduler.jobfile.parse(text, file="made")
    longest = nx.dag_longest_path_length(graph, weight="length")
    on_one = set()
    for name in (f"t{n}" for n in range(len(rows))):
        into = graph.subgraph(nx.ancestors(graph, name) | {name})
        out = graph.subgraph(nx.descendants(graph, name) | {name})
        through = nx.dag_longest_path_length(into, weight="length") + nx.dag_longest_path_length(
            out, weight="length"
        )
        if through == longest:
            on_one.add(name)
    assert critical_tasks(job) == on_one
