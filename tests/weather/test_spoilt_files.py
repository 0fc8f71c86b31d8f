"""Spoilt copies of recorded files of every kind: a line that refuses, or a table, and no more."""

from __future__ import annotations

import os

import pytest

from tests.recorded_data import recorded_files
from tests.weather_spoil import spoilt_and_read

FILES = recorded_files("nws", "*.json")


@pytest.mark.skipif(not FILES, reason="recorded data is absent; set CLOSEIN_DATA to its folder")
def test_spoilt_files_of_every_kind_end_in_a_line_or_a_table() -> None:
    ends, complaints = spoilt_and_read(FILES[0].parents[1], 200, seed=3)
    assert complaints == []
    assert ends["refused"] > 50
    assert ends["read"] > 5


@pytest.mark.soak
@pytest.mark.skipif("CLOSEIN_SOAK" not in os.environ, reason="long; set CLOSEIN_SOAK to run it")
@pytest.mark.skipif(not FILES, reason="recorded data is absent; set CLOSEIN_DATA to its folder")
def test_four_thousand_spoilt_files() -> None:
    assert spoilt_and_read(FILES[0].parents[1], 4_000, seed=5)[1] == []
