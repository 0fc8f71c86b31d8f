"""Bytes become fields, or one clear line."""

from __future__ import annotations

import gzip
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.errors import WeatherFileFault
from scheduler.weather.grids.framing import fields_of
from tests.recorded_data import recorded, recorded_files
from tests.weather.grids import making

RUN = datetime(2026, 11, 20, 6, tzinfo=UTC)
GRID = making.latlon(2, 3, 44.0, -93.0, 1.0)
AIR = making.field(RUN, GRID, [1, 2, 3, 4, 5, 6], (0, 0, 0), (103, 2), lead=1)


def wind_in_one_message(second_bitmap: bytes = b"") -> bytes:
    """Both parts of the wind in one message: sections 4 to 7 twice."""
    u, v = (making.product(RUN, (0, 2, n), (103, 10), lead=1) for n in (2, 3))
    first = making.packed(np.array([1.0, np.nan, 3, 4, 5, 6]))
    second = making.packed(np.array([11.0, 13, 14, 15, 16]))
    bitmap = second_bitmap or making.section(6, b"\xfe")
    return making.message(
        making.identification(RUN), GRID, u, *first, v, second[0], bitmap, second[2]
    )


def test_messages_follow_each_other_with_headings_between() -> None:
    content = b"****0000012345****\nYGUZ98 KWBN 200600\r\r\n" + AIR + b"\r\r\n\x03" + AIR
    assert [field.number for field in fields_of(content, "x")] == ["1", "2"]


def test_a_field_alone_is_a_message_again() -> None:
    assert fields_of(AIR, "x")[0].message() == AIR


def test_fields_inside_one_message_each_stand_alone() -> None:
    fields = fields_of(wind_in_one_message(), "x")
    assert [field.number for field in fields] == ["1", "1.2"]
    assert fields[0].product[9:11] == b"\x02\x02"
    assert fields[1].product[9:11] == b"\x02\x03"
    assert fields[1].grid == fields[0].grid
    assert fields[1].bitmap == fields[0].bitmap, "it refers to the bitmap before it"


def test_a_bitmap_that_is_kept_at_the_producer_is_refused() -> None:
    with pytest.raises(WeatherFileFault, match="bitmap 1"):
        fields_of(wind_in_one_message(making.section(6, b"\x01")), "x")


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "empty"),
        (b"\0" * 40, "empty"),
        (b"<html><body>Service unavailable", "text that begins '<html>"),
        (b'{"title": "Not Found"}', "text that begins"),
        (gzip.compress(AIR), "gzip"),
        (b"BZh91AY", "bzip2"),
        (b"\x89HDF\r\n\x1a\n", "NetCDF or HDF5"),
        (b"CDF\x01\0\0", "classic NetCDF"),
        (b"\x01\x02\x03\x04", "bytes that begin 01 02 03 04"),
        (b"GRIB" + AIR[4:7] + b"\x01" + AIR[8:], "edition 1"),
        (AIR[:-4] + b"7778", "7777"),
        (AIR + b"GRIB", "cut off at 4 of 16"),
    ],
)
def test_what_is_no_grib_file_is_told_in_one_line(content: bytes, what: str) -> None:
    with pytest.raises(WeatherFileFault, match=what) as refused:
        fields_of(content, "field.grib2")
    (line,) = refused.value.lines()
    assert line.startswith("field.grib2: ")
    assert "\n" not in line


@pytest.mark.parametrize("cut", range(1, len(AIR)))
def test_a_file_cut_off_anywhere_is_refused(cut: int) -> None:
    with pytest.raises(WeatherFileFault):
        fields_of(AIR + AIR[:cut] if cut > 3 else AIR[:cut], "x")


@given(st.lists(st.tuples(st.integers(0, len(AIR) - 1), st.integers(0, 255)), max_size=8))
def test_a_garbled_file_is_read_or_refused_but_never_a_traceback(
    changes: list[tuple[int, int]],
) -> None:
    content = bytearray(AIR)
    for place, value in changes:
        content[place] = value
    try:
        fields = fields_of(bytes(content), "x")
    except WeatherFileFault:
        return
    assert all(field.data for field in fields)


@pytest.mark.parametrize("path", recorded_files("grib2", "*.grib2"), ids=lambda p: p.name)
def test_every_recorded_file_is_framed(path) -> None:
    content = path.read_bytes()
    fields = fields_of(content, path.name)
    assert sum(len(field.data) for field in fields) < len(content)


def test_wind_of_the_global_model_comes_two_to_a_message() -> None:
    path = recorded("grib2", "gfs-2p5deg-2011011012-f120.grib2")
    numbers = [field.number for field in fields_of(path.read_bytes(), path.name)]
    assert len([n for n in numbers if "." not in n]) == 307, "messages, as its README counts them"
    assert len(numbers) == 343, "fields, as ecCodes counts them with multi-field support"
