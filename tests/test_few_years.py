"""Nothing is stated as a share of past years, or by one, where they are too few to carry it.

Nine years are the fewest: of n exchangeable years one more falls before the earliest with chance
1 / (n + 1), a tenth with nine (H. A. David and H. N. Nagaraja, Order Statistics, section 7).
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scheduler.cli import main
from scheduler.planning.forecast.scenarios import FEWEST_YEARS, Scenarios
from scheduler.planning.tables.hours import HourlyTable
from tests.demo_job import DEMO, demo_job

AT = "2026-11-09T06:00"
RECORD = (DEMO / "climate.csv").read_text(encoding="utf-8").splitlines()
ASKED = re.compile(
    r"cannot support 90%|Finish 10 / 50 / 90 %|Not known: too few past years for 90%"
)
SHARE = re.compile(r"\d ?%")


def record_of(folder: Path, years: int, last: int = 2025) -> Path:
    """Write so many whole autumns of the demo's record, the last with the days after its end."""
    wanted = {str(last - n) for n in range(years)}
    path = folder / f"{years}.csv"
    rows = [r for r in RECORD[1:] if r[:4] in wanted or r.startswith(f"{last + 1}-01")]
    path.write_text("\n".join([RECORD[0], *rows, ""]), encoding="utf-8")
    return path


def run(
    capsys: pytest.CaptureFixture[str], command: str, job: Path, climate: Path | None, *more: str
) -> str:
    told = ["--weather", str(DEMO / "forecast.json"), "--at", AT, *more]
    told += ["--climate", str(climate)] if climate else []
    assert main([command, str(job), *told, "--store", str(job.with_name("few.db"))]) == 0
    return capsys.readouterr().out


def nothing(value: object) -> bool:
    """Tell whether a value of an answer says nothing."""
    return value is None or value in ([], {})


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CLOSEIN_SCENARIOS", "32")
    return demo_job(tmp_path)


@pytest.mark.parametrize("years", [FEWEST_YEARS - 1, 3])
def test_a_plan_on_few_years_has_no_chance_and_no_day_by_a_share(
    years: int, job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    climate = record_of(tmp_path, years)
    plan: dict[str, Any] = json.loads(run(capsys, "plan", job, climate, "--json"))["plan"]
    date = plan["date"]
    assert date["years"] == years
    assert 0 <= date["years_made"] <= years
    shares = [plan[f"{which}_close_in"] for which in ("early", "middle", "late")]
    shares += [date[key] for key in ("chance", "risk", "planned_on")]
    for limit in (date["overall"], *date["limits"]):
        shares += [limit["passes"], limit["share_passed"]]
    for line in plan["tasks"]:
        shares += [line[key] for key in ("early", "middle", "late", "chance", "critical")]
    assert all(nothing(value) for value in shares)
    assert plan["levers"] == plan["latest"] == []
    visits = [line for line in plan["tasks"] if line["appointment"] and not line["done"]]
    assert visits
    assert all(0 <= line["years_kept"] <= years for line in visits)
    text = run(capsys, "plan", job, climate)
    assert not SHARE.search(ASKED.sub("", text)), SHARE.search(ASKED.sub("", text))
    assert f"in {date['years_made']} of {years} past years" in " ".join(text.split())


def test_odds_on_few_years_count_years(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    climate = record_of(tmp_path, 5)
    odds: dict[str, Any] = json.loads(run(capsys, "odds", job, climate, "--json"))["odds"]
    for row in odds["freezes"]:
        assert (row["days"], row["by_week"]) == ({}, [])
        counts = [years for _, years in row["years_by_week"]]
        assert counts == sorted(counts)
        assert counts[-1] <= 5
    for row in odds["dry"]:
        assert row["from_day"] == row["by_day"] == []
    one = dict(odds["dry"][0]["years_from_day"])
    for day in (19, 21):  # past the forecast: as the record has it
        dry = [r for r in climate.read_text().splitlines() if f"-11-{day}," in r]
        assert len(dry) == 5
        assert one[f"2026-11-{day}"] == sum(float(r.split(",")[3]) < 0.254 for r in dry)
    assert all(row["chance"] is None for row in odds["windows"])
    assert any(row["years"] is not None for row in odds["windows"])
    assert all(row["hours"] == {} for row in odds["left"])
    text = run(capsys, "odds", job, climate)
    assert not SHARE.search(text)
    assert "of 5 years" in text


def test_work_whose_weather_past_years_lack_has_no_chance_but_what_is_not_known(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The demo's record has temperatures and rain; nobody knows the wind at the lowering."""
    climate = DEMO / "climate.csv"
    odds: dict[str, Any] = json.loads(run(capsys, "odds", job, climate, "--json"))["odds"]
    windows = {row["task"]: row for row in odds["windows"]}
    assert windows["lower"]["chance"] is None
    assert windows["lower"]["years"] is None
    assert {"wind_speed_ms", "wind_speed_of_gust_ms"} <= set(windows["lower"]["not_known"])
    assert windows["dowels"]["chance"] > 0.9  # this morning: the forecast has its wind
    assert windows["dowels"]["not_known"] == []
    left = {row["task"]: row for row in odds["left"]}
    assert left["lower"]["hours"] == {}
    assert "wind_speed_ms" in left["lower"]["not_known"]
    text = " ".join(run(capsys, "odds", job, climate).split())
    assert re.search(r"Lower the house not known: [a-z, ]*wind speed", text)


def test_nine_years_carry_shares(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    climate = record_of(tmp_path, FEWEST_YEARS)
    plan: dict[str, Any] = json.loads(run(capsys, "plan", job, climate, "--json"))["plan"]
    assert plan["date"]["chance"] is not None
    assert plan["date"]["years_made"] is None
    assert plan["middle_close_in"] is not None


def test_without_past_years_one_trace_is_no_chance(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan: dict[str, Any] = json.loads(run(capsys, "plan", job, None, "--json"))["plan"]
    assert plan["date"] is None
    assert plan["middle_close_in"] is None
    keys = ("early", "middle", "late", "chance", "critical", "years_kept")
    assert all(line[key] is None for line in plan["tasks"] for key in keys)


def test_levers_pictures_and_curing_say_why_they_state_no_share(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    climate = record_of(tmp_path, 4)
    assert "4 past years carry no percentages" in run(capsys, "levers", job, climate)
    told = ["--weather", str(DEMO / "forecast.json"), "--at", AT, "--climate", str(climate)]
    store = ["--store", str(job.with_name("few.db"))]
    assert main(["cure", str(job), "grout", *told, *store]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "Hours hold on the forecast and 4 past years, too few for a share" in text
    picture = ["--risk-picture", str(tmp_path / "risk.png")]
    assert main(["plan", str(job), *told, *store, *picture]) == 2
    assert "4 past years carry no percentages" in capsys.readouterr().err
    assert not (tmp_path / "risk.png").exists()


def made(years: list[int]) -> Scenarios:
    start = np.datetime64("2026-10-01T00", "h") + np.arange(2)
    table = HourlyTable(start, {"air_temperature_c": np.zeros((len(years), 2))})
    return Scenarios(table, {}, np.array(years), table, None, 1)


def test_a_year_counts_where_most_of_its_scenarios_do() -> None:
    three = made([2001, 2002, 2003, 2001, 2002, 2003, 2001, 2002, 2003])
    good = np.array([1, 1, 0, 1, 0, 0, 0, 0, 0], dtype=bool)
    assert three.counted(good) == (None, 1)
    assert three.counted(np.array([True])) == (None, 3)
    assert made([-1]).counted(np.array([True])) == (None, None)
    nine = made(list(range(2001, 2010)))
    assert nine.counted(np.arange(9) < 3) == (pytest.approx(1 / 3), None)
