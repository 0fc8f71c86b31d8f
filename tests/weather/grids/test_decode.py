"""The decoder is a process of its own: what goes wrong there is one line here."""

from __future__ import annotations

import importlib.util
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from rules.errors import BadInput
from scheduler.weather.grids import decode
from scheduler.weather.grids.decode import DecodeFault, Decoder
from scheduler.weather.grids.framing import fields_of
from tests.recorded_data import recorded
from tests.weather.grids import making

RUN = datetime(2026, 11, 20, 6, tzinfo=UTC)
GRID = making.latlon(2, 3, 44.0, -93.0, 1.0)
needs_extra = pytest.mark.skipif(
    importlib.util.find_spec("eccodes") is None, reason="the grids extra is not installed"
)


def air(values: list[float]) -> bytes:
    return making.field(RUN, GRID, values, (0, 0, 0), (103, 2), lead=1)


@needs_extra
def test_values_come_back_in_stored_order_and_gaps_as_nan() -> None:
    message = air([1.5, 2.25, np.nan, 9999.0, 5, 6])
    with Decoder() as decoder:
        assert decoder.values(message) == pytest.approx(
            [1.5, 2.25, np.nan, 9999.0, 5, 6], nan_ok=True
        )
        picked = decoder.values(message, np.array([[2, 0], [3, 3]]))
    assert np.isnan(picked[0, 0])
    assert picked[0, 1] == pytest.approx(1.5)
    assert picked[1].tolist() == [9999.0, 9999.0], "a true 9999 is a value"


@needs_extra
@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("hrrr-conus-cfrzr-allzero-2023072206-f001.grib2", 0.0),
        ("gfs-0p25-rh70pa-constant-2023010418-f186.grib2", 0.0),
    ],
)
def test_a_field_without_data_bits_is_its_reference_everywhere(name: str, value: float) -> None:
    path = recorded("grib2", name)
    (field,) = fields_of(path.read_bytes(), path.name)
    with Decoder() as decoder:
        assert set(np.unique(decoder.values(field.message()))) == {value}


@needs_extra
def test_a_field_that_cannot_be_decoded_costs_that_field_only() -> None:
    good = air([1, 2, 3, 4, 5, 6])
    description, bitmap, data = making.packed(np.arange(6.0))
    broken = making.message(
        making.identification(RUN),
        GRID,
        making.product(RUN, (0, 0, 0), (103, 2), lead=1),
        description[:9] + b"\x00\xfd" + description[11:],  # a packing that does not exist
        bitmap,
        data,
    )
    with Decoder() as decoder:
        assert decoder.values(good, np.array([0])).tolist() == [1.0]
        with pytest.raises(DecodeFault) as refused:
            decoder.values(broken, np.array([0]))
        assert decoder.values(good, np.array([5])).tolist() == [6.0]
    assert len(refused.value.lines()) == 1


def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    """Put another program in the decoder's place."""
    path = tmp_path / "program.py"
    path.write_text(text, encoding="utf-8")
    monkeypatch.setattr(decode, "PROGRAM", path)
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: name)


def test_a_crash_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program(tmp_path, monkeypatch, "import os, sys\nsys.stdin.buffer.read(16)\nos.abort()\n")
    with Decoder() as decoder, pytest.raises(DecodeFault, match="stopped the decoder"):
        decoder.values(b"GRIB" * 50_000, np.array([0]))


def test_a_hang_ends_in_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program(tmp_path, monkeypatch, "import time\ntime.sleep(60)\n")
    with (
        Decoder(patience_s=0.3) as decoder,
        pytest.raises(DecodeFault, match=r"took longer than 0\.3 s"),
    ):
        decoder.values(b"GRIB", np.array([0]))


def test_half_an_answer_is_no_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = (
        "import struct, sys\n"
        "sys.stdout.buffer.write(struct.pack('<BQ', 0, 16) + bytes(8))\n"
        "sys.stdout.flush()\n"
    )
    program(tmp_path, monkeypatch, text)
    with Decoder() as decoder, pytest.raises(DecodeFault, match="stopped the decoder"):
        decoder.values(b"GRIB", np.array([0, 1]))


def test_without_the_extra_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with Decoder() as decoder, pytest.raises(BadInput, match=r"pip install 'closein\[grids\]'"):
        decoder.values(air([1, 2, 3, 4, 5, 6]), np.array([0]))


@needs_extra
def test_the_library_never_comes_into_this_process() -> None:
    with Decoder() as decoder:
        decoder.values(air([1, 2, 3, 4, 5, 6]), np.array([0]))
    assert "eccodes" not in sys.modules
    assert "gribapi" not in sys.modules
