"""Several sources of one job: asked in order, told apart, planned on the worse side, replayed."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from rules.errors import CloseinError
from scheduler.cli import main
from scheduler.interfaces.records import KeptForecast
from scheduler.jobfile import parse
from scheduler.planning.forecast.ensemble_line import members_of, planned_line
from scheduler.planning.model.job import SOURCES
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance
from scheduler.runs.desk import kept_sets
from scheduler.weather.grids.public_models import models
from tests.demo_job import DEMO, demo_job

AT = "2026-11-09T06:00"


def house_file(path: Path, *, issued: str = "2026-11-09T04:00-05:00", **columns: float) -> None:
    """Write a forecast of 72 hours with the same values in each."""
    units = {"air_temperature": "degC", "wind_speed_of_gust": "m s-1"}
    told = {name: {"unit": units[name], "values": value} for name, value in columns.items()}
    hours = {"start": "2026-11-09T05:00-05:00", "step_h": 1, "hours": 72, "columns": told}
    text = {"format": "closein-weather/1", "source": path.stem, "issued_at": issued}
    path.write_text(json.dumps({**text, "hours": hours}), encoding="utf-8")


def job_with(folder: Path, sources: str) -> Path:
    path = demo_job(folder)
    path.write_text(f"{path.read_text(encoding='utf-8')}\nsources:\n{sources}", encoding="utf-8")
    return path


def weather(capsys: pytest.CaptureFixture[str], *arguments: object) -> Mapping[str, object]:
    code = main(["weather", *map(str, arguments), "--json"])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    return json.loads(out)


def findings(read: Mapping[str, object]) -> str:
    return json.dumps(read["provenance"]["findings"])  # type: ignore[index]


def test_the_worse_side_of_two_sources_is_planned_on_and_the_difference_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    house_file(tmp_path / "one.json", air_temperature=6.0, wind_speed_of_gust=4.0)
    house_file(tmp_path / "two.json", air_temperature=1.0, wind_speed_of_gust=3.0)
    job = job_with(tmp_path, "  - file: one.json\n  - file: two.json\n")
    read = weather(capsys, job, "--at", AT)
    assert read["provenance"]["source"] == "one + two"  # type: ignore[index]
    assert set(read["columns"]["air_temperature_c"]) == {1.0}  # type: ignore[index]
    assert set(read["columns"]["wind_speed_of_gust_ms"]) == {4.0}  # type: ignore[index]
    assert "sources differ, most at 2026-11-09T10Z: one 6.0, two 1.0" in findings(read)


def test_a_fallback_is_asked_only_where_nothing_fresh_came(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    house_file(tmp_path / "one.json", air_temperature=6.0)
    house_file(tmp_path / "two.json", air_temperature=1.0)
    job = job_with(tmp_path, "  - file: one.json\n  - {file: two.json, use: fallback}\n")
    assert weather(capsys, job, "--at", AT)["provenance"]["source"] == "one"  # type: ignore[index]
    house_file(tmp_path / "one.json", issued="2026-11-08T04:00-05:00", air_temperature=6.0)
    read = weather(capsys, job, "--at", AT)
    assert read["provenance"]["source"] == "two"  # type: ignore[index]
    assert "one is too old and left out: 26 h, limit 12 h" in findings(read)


def test_a_source_that_fails_is_told_beside_the_others(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    house_file(tmp_path / "two.json", air_temperature=1.0)
    job = job_with(tmp_path, "  - file: gone.json\n  - file: two.json\n")
    read = weather(capsys, job, "--at", AT)
    assert read["provenance"]["source"] == "two"  # type: ignore[index]
    assert "gone.json" in findings(read)


def test_no_source_at_all_is_exit_3(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = job_with(tmp_path, "  - file: gone.json\n  - file: lost.json\n")
    assert main(["today", str(job), "--at", AT]) == 3
    err = capsys.readouterr().err
    assert "gone.json" in err
    assert "lost.json" in err


def test_an_age_limit_of_the_job_makes_a_source_not_known(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "one.json").write_bytes((DEMO / "forecast.json").read_bytes())  # 2 h old at AT

    def outcomes(limit_h: float) -> dict[str, str]:
        job = job_with(tmp_path, f"  - {{file: one.json, age_limit_h: {limit_h}}}\n")
        store = str(tmp_path / f"{limit_h}.db")
        main(["today", str(job), "--at", AT, "--store", store, "--json"])
        answer = json.loads(capsys.readouterr().out)
        assert answer["weather"]["age_limit_h"] == limit_h
        return {task["task"]: task["outcome"] for task in answer["tasks"]}

    fresh, stale = outcomes(2.5), outcomes(1.5)
    assert fresh["lay"] == "go_with_protection"
    assert stale["lay"] == "not_known"


def test_what_both_sources_said_is_kept_and_replayed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    house_file(tmp_path / "one.json", air_temperature=6.0, wind_speed_of_gust=4.0)
    house_file(tmp_path / "two.json", air_temperature=1.0, wind_speed_of_gust=3.0)
    job = job_with(tmp_path, "  - file: one.json\n  - file: two.json\n")
    main(["today", str(job), "--at", AT, "--json"])
    first = capsys.readouterr().out
    for name in ("one.json", "two.json"):
        (tmp_path / name).unlink()
    main(["today", str(job), "--at", AT, "--weather", "kept", "--json"])
    assert capsys.readouterr().out == first


def test_an_unknown_source_is_a_line_with_the_nearest() -> None:
    text = demo_text("sources: [hrr]")
    with pytest.raises(CloseinError, match="hrrr"):
        parse(text)


def test_a_source_is_named_or_a_file() -> None:
    with pytest.raises(CloseinError, match="give source or file"):
        parse(demo_text("sources: [{use: fallback}]"))


def test_sources_of_the_job_file_are_those_there_are() -> None:
    assert set(SOURCES) == {"nws", *models()}
    job = parse(demo_text("sources: [nws, {source: gfs, use: fallback, cells: bilinear}]"))
    assert [(s.name, s.fallback, s.cells) for s in job.sources] == [
        ("nws", False, "nearest"),
        ("gfs", True, "bilinear"),
    ]


def demo_text(more: str) -> str:
    return f"{(DEMO / 'job.yaml').read_text(encoding='utf-8')}\n{more}\n"


def kept(source: str, issued: int, received: int) -> KeptForecast:
    moments = (datetime(2026, 11, 9, hour, tzinfo=UTC) for hour in (issued, received))
    return KeptForecast(f"{source}{issued}", "weather", source, *moments)


def test_what_stood_side_by_side_is_one_of_each_source() -> None:
    rows = [kept("a", 1, 3), kept("b", 2, 3), kept("a", 5, 8), kept("b", 6, 8), kept("hand", 7, 9)]
    sets = kept_sets(rows, ["a", "b"])
    assert [[row.identity for row in one] for one in sets] == [
        ["hand7"],
        ["a5", "b6"],
        ["a1", "b2"],
    ]


def test_a_source_that_did_not_come_again_stands_as_it_was() -> None:
    rows = [kept("a", 1, 3), kept("b", 2, 3), kept("a", 5, 8)]
    sets = kept_sets(rows, ["a", "b"])
    assert [[row.identity for row in one] for one in sets] == [["a5", "b2"], ["a1", "b2"]]


def test_an_ensemble_is_planned_on_its_worse_tenth_and_kept_whole() -> None:
    start = np.array(["2026-11-09T05", "2026-11-09T06"], dtype="datetime64[h]")
    cold = np.stack([np.arange(11.0), np.full(11, np.nan)], axis=1)
    cold[:3, 1] = [1.0, 2.0, 3.0]
    table = HourlyTable(start, {"air_temperature_c": cold, "wind_speed_ms": cold})
    line = planned_line(Forecast(table, Provenance("made", None, None)))
    assert line.table.column("air_temperature_c")[0] == 1.0, "ten of eleven are not colder"
    assert line.table.column("wind_speed_ms")[0] == 9.0, "ten of eleven do not blow harder"
    assert np.isnan(line.table.column("air_temperature_c")[1]), "most members do not know it"
    assert members_of(line) is table


def test_a_site_thermometer_that_reads_colder_four_times_lowers_the_forecast_and_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = demo_job(tmp_path)
    weather = ["--weather", str(DEMO / "forecast.json")]
    later = ["--at", "2026-11-10T01:30"]
    assert main(["today", str(job), *weather, "--at", "2026-11-09T06:00"]) == 0
    for count, hour in enumerate(("09T07", "09T13", "09T19", "10T01"), start=1):
        told = ["--reading", "air_temperature", "25", "degF", "--when", f"2026-11-{hour}:00"]
        assert main(["log", str(job), *told, "--no-plan", *later]) == 0
        capsys.readouterr()
        assert main(["today", str(job), *weather, *later]) == 0
        assert ("site thermometer: 4 readings" in capsys.readouterr().out) is (count == 4)
