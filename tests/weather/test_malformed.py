"""Whatever is wrong with a forecast file, a person reads a line that says what to do."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from rules.errors import CloseinError, Faults, WeatherFileFault
from scheduler.weather.files import parse_weather, read_weather
from tests.weather.malformed import GOOD, SMALL, hostile

ROOT = Path(__file__).resolve().parents[2]


def test_the_file_the_others_are_spoilt_from_is_good() -> None:
    assert parse_weather(GOOD, "good").table.hours == 6


def test_there_are_more_than_forty() -> None:
    assert len(SMALL) > 40


@pytest.mark.parametrize("name", SMALL)
def test_a_malformed_file_is_refused_with_clear_lines(tmp_path: Path, name: str) -> None:
    path = tmp_path / "forecast.json"
    path.write_bytes(SMALL[name])
    with pytest.raises(CloseinError) as caught:
        read_weather(path)
    assert caught.value.exit_code in {2, 3}
    assert caught.value.lines()
    for line in caught.value.lines():
        assert line.startswith("forecast.json"), line
        assert len(line) < 400, line
        assert "\n" not in line, line
    if isinstance(caught.value, Faults):
        assert all(isinstance(fault, WeatherFileFault) for fault in caught.value.faults)


@pytest.mark.parametrize("missing", ["absent.json", "."])
def test_a_file_that_is_not_there_is_a_line(tmp_path: Path, missing: str) -> None:
    with pytest.raises(Faults) as caught:
        read_weather(tmp_path / missing)
    assert len(caught.value.lines()) == 1


MEASURE = """
import json, sys, time
from pathlib import Path
from rules.errors import CloseinError
from scheduler.weather.files import read_weather
began = time.process_time()
try:
    read_weather(Path(sys.argv[1]))
    told = []
except CloseinError as error:
    told = error.lines()
# VmHWM starts anew with the program; ru_maxrss would tell of the process that started it.
status = Path("/proc/self/status").read_text(encoding="utf-8")
peak = int(status.partition("VmHWM:")[2].split()[0]) * 1024
print(json.dumps({"lines": told[:3], "s": time.process_time() - began, "peak": peak}))
"""


def test_hostile_files_cost_neither_time_nor_memory(tmp_path: Path) -> None:
    for path in hostile(tmp_path):
        done = subprocess.run(
            [sys.executable, "-c", MEASURE, str(path)],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        )
        cost = json.loads(done.stdout)
        assert cost["lines"], path.name
        assert cost["s"] < 5.0, (path.name, cost)
        assert cost["peak"] < 500e6, (path.name, cost)
        path.unlink()
