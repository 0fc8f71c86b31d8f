"""The commands of the open house as a person runs them: lists, season, stop, pictures."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from scheduler.planning.model.steps import OF_A_PLAN
from tests.demo_job import demo_job
from tests.test_command import AT, CLIMATE, WEATHER, run


@pytest.fixture(autouse=True)
def fewer_scenarios(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each past year of the demo four times: what is said is said faster."""
    monkeypatch.setenv("CLOSEIN_SCENARIOS", "96")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return demo_job(tmp_path)


def test_tonight_lists_what_to_do_and_who_is_on_call(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "tonight", job, "--weather", WEATHER, "--at", AT)
    text = " ".join(out.split())
    assert code == 0
    assert "drain: water lines: shut the main" in text
    assert "19.4 °F, Tue 10 Nov 06:00" in text
    assert "Before the days off (Sat 14 Nov to Sun 15 Nov)" in text
    assert "not known: do it" in text
    assert "on call: Site lead" in text
    assert "people under or near a raised house" in text


def test_tonight_as_json_has_its_version_and_keys(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(capsys, "tonight", job, "--weather", WEATHER, "--at", AT, "--json")
    answer = json.loads(out)
    assert answer["version"] == "closein-tonight/1"
    tonight, weekend = answer["leaves"]
    assert tonight["away"]["days_off"] == []
    assert weekend["away"]["days_off"] == ["2026-11-14", "2026-11-15"]
    assert all(line["source"] for leave in answer["leaves"] for line in leave["lines"])


def test_the_brief_says_what_to_do_before_leaving(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(
        capsys, "brief", job, "--weather", WEATHER, "--climate", CLIMATE, "--at", AT,
        "--out", tmp_path / "out",
    )  # fmt: skip
    text = (tmp_path / "out" / "brief.txt").read_text(encoding="utf-8")
    page = (tmp_path / "out" / "brief.html").read_text(encoding="utf-8")
    assert "Before you leave: Tonight" in text
    assert "Before you leave: Tonight" in page


SEASON = (
    "--climate",
    CLIMATE,
    "--at",
    "2026-08-20T06:00",
    "--from",
    "2026-09-08",
    "--every",
    "14",
)


@pytest.fixture
def fresh(job: Path) -> Path:
    """The demo's job before anything was done or rented."""
    text = job.read_text(encoding="utf-8")
    for done in ("2026-11-04T15:00", "2026-11-06T15:00"):
        text = text.replace(f"    state: done\n    finished: {done}\n", "    may_pause: true\n")
    job.write_text(text.replace(", since: 2026-11-03", ""), encoding="utf-8")
    return job


def test_season_says_the_last_sensible_start_the_cost_and_what_is_not_counted(
    fresh: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture, table = tmp_path / "season.svg", tmp_path / "season.csv"
    code, out, _ = run(
        capsys, "season", fresh, *SEASON, "--until", "2026-12-15", "--picture", picture,
        "--csv", table,
    )  # fmt: skip
    text = " ".join(out.split())
    assert code == 0
    assert "Last sensible start: Tue 3 Nov (90%)" in text
    assert "cribbing $60 a day" in text
    assert "Not counted, no price given: heat: costs.heat_per_kwh" in text
    assert "last sensible" in picture.read_text(encoding="utf-8")
    assert len(table.read_text(encoding="utf-8").splitlines()) == 9


def test_season_as_json_has_its_version_and_a_bill_for_each_start(
    fresh: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(capsys, "season", fresh, *SEASON, "--until", "2026-10-06", "--json")
    answer = json.loads(out)
    assert answer["version"] == "closein-season/1"
    assert answer["season"]["advice"] == "any"
    first = answer["season"]["starts"][0]
    assert first["chance"] == 1.0
    assert first["bill"]["lines"][0]["what"] == "cribbing"
    assert answer["totals"][0] == pytest.approx(sum(x["total"] for x in first["bill"]["lines"]))


def test_a_day_that_is_none_and_days_the_wrong_way_round_are_told(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = run(capsys, "season", job, *SEASON[:4], "--from", "soon")
    assert (code, "is no day" in err) == (2, True)
    code, _, err = run(
        capsys, "season", job, *SEASON[:4], "--from", "2026-10-01", "--until", "2026-09-01"
    )
    assert (code, "comes before" in err) == (2, True)


PLANNED = ("--weather", WEATHER, "--climate", CLIMATE, "--at", AT)


def test_the_winter_stop_is_printed_when_it_applies_and_when_it_is_asked_for(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(capsys, "plan", job, *PLANNED)
    assert "for the winter" not in out.lower()
    _, out, _ = run(capsys, "plan", job, *PLANNED, "--stop")
    text = " ".join(out.split())
    assert "If work stops for the winter" in text
    assert "by Mon 9 Nov: drain: water lines" in text
    assert "not begun any more" not in text
    stopping = job.read_text(encoding="utf-8").replace("units: us", "units: us\nstop_under: 0.99")
    job.write_text(stopping, encoding="utf-8")
    run(capsys, "brief", job, *PLANNED, "--out", tmp_path / "out")
    brief = (tmp_path / "out" / "brief.txt").read_text(encoding="utf-8")
    assert "STOP FOR THE WINTER" in brief
    _, out, _ = run(capsys, "plan", job, *PLANNED, "--json")
    assert json.loads(out)["plan"]["stop"]["applies"] is True


def test_today_carries_the_date_as_planned_now_or_as_kept_last(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(capsys, "today", job, "--weather", WEATHER, "--at", AT)
    assert "no plan is kept yet" in out
    _, out, _ = run(capsys, "today", job, *PLANNED)
    text = " ".join(out.split())
    assert "latest safe Thu 10 Dec (indoor air decides); margin 7 days; chance " in text
    run(capsys, "plan", job, *PLANNED)
    _, out, _ = run(capsys, "today", job, "--weather", WEATHER, "--at", "2026-11-09T06:30")
    assert "(as planned Mon 9 Nov 06:00)" in " ".join(out.split())
    _, out, _ = run(capsys, "today", job, "--weather", WEATHER, "--at", AT, "--json")
    line = json.loads(out)["close_in"]
    assert line["lever"] == "house lifter free to come as soon as Lower the house can begin"
    assert (line["latest_safe"], line["margin_days"], line["binding"]) == (
        "2026-12-10", 7, "indoor_air",
    )  # fmt: skip


def test_plan_says_the_spread_and_what_each_source_alone_says_and_draws_both_pictures(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    risk, exposure = tmp_path / "risk.svg", tmp_path / "exposure.png"
    code, out, _ = run(
        capsys, "plan", job, *PLANNED, "--risk-picture", risk, "--exposure-picture", exposure
    )
    text = " ".join(out.split())
    assert code == 0
    assert "a limit is passed by (10 / 50 / 90 %): Sat 12 Dec" in text
    assert "on the forecast alone: no limit passed within it; on past years alone:" in text
    assert "A day of delay costs: $200" in text
    buys = "house lifter free to come as soon as Lower the house can begin,"
    assert f"What buys most: {buys}" in text
    assert "chance up 8 points" in text
    assert "Open: beam pockets until Tue 1 Dec 12:00" in text
    assert "latest safe" in risk.read_text(encoding="utf-8")
    assert exposure.read_bytes().startswith(b"\x89PNG")


def test_without_past_years_there_is_no_risk_to_draw(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / "risk.svg"
    code, _, err = run(
        capsys, "plan", job, "--weather", WEATHER, "--at", AT, "--risk-picture", picture
    )
    assert (code, "give --climate" in err, picture.exists()) == (2, True, False)


def test_timings_show_the_share_of_each_step_and_leave_the_answer_alone(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run(capsys, "plan", job, *PLANNED, "--timings", "--json")
    assert code == 0
    assert json.loads(out)["version"] == "closein-plan/1"
    for step in OF_A_PLAN:
        assert step in err


def test_the_briefs_list_for_the_days_off_comes_two_days_before_them(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for at, told in (("2026-11-09T06:00", False), ("2026-11-12T06:00", True)):
        run(capsys, "brief", job, "--weather", WEATHER, "--at", at, "--out", tmp_path / at[8:10])
        text = (tmp_path / at[8:10] / "brief.txt").read_text(encoding="utf-8")
        assert ("Before the days off" in text) is told
