"""``closein cure`` and ``closein log --temps`` as a person runs them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from scheduler.cli import main
from tests.demo_job import DEMO, demo_job

AT = "2026-11-09T06:00"
COMMON = ["--weather", str(DEMO / "forecast.json"), "--climate", str(DEMO / "climate.csv")]


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    code = main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out, err


def test_protections_are_compared_with_a_picture(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, picture = demo_job(tmp_path), tmp_path / "cure.svg"
    asked = ["--finish", "2026-11-12T15:00", "--picture", picture, *COMMON, "--at", AT]
    code, out, _ = run(capsys, "cure", job, "grout", *asked)
    assert code == 0
    for word in ("bare", "weather resistive", "insulating blankets", "heated enclosure"):
        assert word in out.lower()
    assert picture.read_text(encoding="utf-8").lstrip().startswith("<?xml")
    code, out, _ = run(capsys, "cure", job, "grout", *asked[:2], *COMMON, "--at", AT, "--json")
    options = {option["name"]: option for option in json.loads(out)["answer"]["options"]}
    assert options["enclosure"]["coldest_c"] > options["bare"]["coldest_c"]
    _, kept, _ = run(capsys, "kept", job)
    assert "cure" in kept


@pytest.mark.parametrize(
    ("task", "said"), [("lay", "places no grout or concrete"), ("grot", "the job has no task")]
)
def test_what_cannot_cure_is_one_clear_line(
    tmp_path: Path, task: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = run(capsys, "cure", demo_job(tmp_path), task, *COMMON, "--at", AT)
    assert code == 2
    assert said in err


LOGGER = """\
Logger;north wall
Time;Probe 1 (F);Probe 2 (F)
2026-11-08 14:00;50,0;48,2
2026-11-08 14:30;50,0;46,4
2026-11-08 15:00;44,6;41,0
"""


def test_a_logger_s_export_becomes_readings_the_coldest_probe_s(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By hand: probe 2 reads 48.2 and 46.4 F in the first hour: 47.3 F, 8.5 °C."""
    job, file = demo_job(tmp_path), tmp_path / "logger.csv"
    file.write_text(LOGGER, encoding="utf-8")
    told = ["--temps", file, "--task", "grout", "--place", "north", "--no-plan", "--at", AT]
    code, out, err = run(capsys, "log", job, *told, "--json")
    assert code == 0, err
    readings = [entry["reading"] for entry in json.loads(out)["entries"]]
    assert {reading["quantity"] for reading in readings} == {"masonry_temperature"}
    assert {reading["place"] for reading in readings} == {"north"}
    assert readings[0]["value"] == pytest.approx(8.5, abs=0.3)
    assert min(reading["value"] for reading in readings) == pytest.approx(5.0, abs=0.1)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "--temps needs --task"),
        (["--task", "grout", "--logger-clock", "moon"], "logger-clock"),
    ],
)
def test_temps_without_what_they_need(
    tmp_path: Path, options: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    job, file = demo_job(tmp_path), tmp_path / "logger.csv"
    file.write_text(LOGGER, encoding="utf-8")
    code, _, err = run(capsys, "log", job, "--temps", file, *options, "--no-plan", "--at", AT)
    assert code == 2
    assert said in err
