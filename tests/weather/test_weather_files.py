"""The table of files: every recorded file is read or refused with one clear reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.recorded_data import data_folder
from tests.weather.malformed import SMALL
from tests.weather_files import report


def test_every_recorded_file_is_read_or_refused(capsys: pytest.CaptureFixture[str]) -> None:
    folder = data_folder()
    if folder is None:
        pytest.skip("recorded data is absent; set CLOSEIN_DATA to its folder")
    lines: list[str] = []
    for part in ("nws", "obs", "idx", "grib2"):
        assert report(folder / part, lines.append) == 0
    with capsys.disabled():
        print("\n" + "\n".join(lines))
    verdicts = {line.split()[0]: line for line in lines}
    for name, line in verdicts.items():
        if "gridpoint" in name or "hourly-" in name or "forecast12h" in name:
            assert " read" in line or "normals" in name, line
    assert " read" in verdicts["ghcnd-usc00411885.dly"]
    assert "refused" in verdicts["nws-http-403-html-2021-02-04.json"]


def test_files_nobody_can_read_are_refused(tmp_path: Path) -> None:
    for i, raw in enumerate(SMALL.values()):
        (tmp_path / f"{i:02d}").write_bytes(raw)
    lines: list[str] = []
    assert report(tmp_path, lines.append) == 0
    read = [line for line in lines[1:] if "refused" not in line]
    assert len(read) == 1, "only the list of alerts is something else that can be read"
    assert "list of alerts" in read[0]
