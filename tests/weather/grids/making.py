"""GRIB2 messages written octet by octet, so that tests know what is in them.

Simple packing (template 5.0) with 24 bits; written from WMO-No. 306, volume I.2, with nothing of
the reader under test.
"""

from __future__ import annotations

import struct
from datetime import datetime, timedelta

import numpy as np

MISSING = 0xFFFFFFFF


def signed(value: int, bits: int = 32) -> int:
    return (1 << (bits - 1)) - value if value < 0 else value


def angle(degrees: float) -> bytes:
    return struct.pack(">I", signed(round(degrees * 1e6)))


def section(number: int, content: bytes) -> bytes:
    return struct.pack(">IB", len(content) + 5, number) + content


def earth(shape: int = 6, radius_m: int = 0, axes_m: tuple[int, int] = (0, 0)) -> bytes:
    return struct.pack(">BBIBIBI", shape, 0, radius_m, 0, axes_m[0], 0, axes_m[1])


def definition(template: int, points: int, content: bytes) -> bytes:
    return section(3, struct.pack(">BIBBH", 0, points, 0, 0, template) + content)


def latlon(rows: int, columns: int, lat: float, lon: float, step: float, scan: int = 0) -> bytes:
    """Lat-lon grid from its first point on; ``scan`` says which way."""
    last_lat = lat + (rows - 1) * step * (1 if scan & 0x40 else -1)
    last_lon = (lon + (columns - 1) * step * (-1 if scan & 0x80 else 1)) % 360
    content = earth() + struct.pack(">IIII", columns, rows, 0, MISSING)
    content += angle(lat) + angle(lon % 360) + b"\x30" + angle(last_lat) + angle(last_lon)
    return definition(0, rows * columns, content + angle(step) + angle(step) + bytes([scan]))


def lambert(
    rows: int, columns: int, lat: float, lon: float, step_m: float,
    *, centre_lon: float, parallels: tuple[float, float], flags: int = 8, scan: int = 0x40,
    shape: bytes = b"",
) -> bytes:  # fmt: skip
    content = (shape or earth()) + struct.pack(">II", columns, rows)
    content += angle(lat) + angle(lon % 360) + bytes([flags]) + angle(parallels[0])
    content += angle(centre_lon % 360) + struct.pack(">II", *[round(step_m * 1e3)] * 2)
    content += bytes([0, scan]) + angle(parallels[0]) + angle(parallels[1]) + angle(-90) + angle(0)
    return definition(30, rows * columns, content)


def polar(
    rows: int, columns: int, lat: float, lon: float, step_m: float,
    *, centre_lon: float, true_lat: float = 60.0, south: bool = False, scan: int = 0x40,
    flags: int = 8,
) -> bytes:  # fmt: skip
    content = earth() + struct.pack(">II", columns, rows) + angle(lat) + angle(lon % 360)
    content += bytes([flags]) + angle(true_lat) + angle(centre_lon % 360)
    content += struct.pack(">II", *[round(step_m * 1e3)] * 2) + bytes([0x80 if south else 0, scan])
    return definition(20, rows * columns, content)


def identification(reference: datetime, centre: int = 7) -> bytes:
    moment = struct.pack(">HBBBBB", *reference.timetuple()[:6])
    return section(1, struct.pack(">HHBBB", centre, 0, 2, 1, 1) + moment + b"\x00\x01")


def surfaces(level: tuple[int, float], second: int = 255) -> bytes:
    first = struct.pack(">BBI", level[0], 0, int(level[1]))
    return first + struct.pack(">BBI", second, 0xFF, MISSING)


def product(
    reference: datetime, parameter: tuple[int, int, int], level: tuple[int, float],
    *, lead: float, since: float | None = None, statistic: int = 1, unit: int = 1,
    member: tuple[int, int] | None = None, above_mm: float | None = None,
    derived: int | None = None, percentile: int | None = None, second: int = 255,
) -> bytes:  # fmt: skip
    """Section 4; ``lead`` and ``since`` in hours after the run, written in ``unit``."""
    per_hour = {0: 60, 1: 1}[unit]
    start = lead if since is None else since
    extra = b""
    template = 0
    if member is not None:
        template, extra = 1, bytes([member[0], member[1], 20])
    if derived is not None:
        template, extra = 2, bytes([derived, 20])
    if percentile is not None:
        template, extra = 6, bytes([percentile])
    if above_mm is not None:
        limit = struct.pack(">BI", 3, round(above_mm * 1000))
        template, extra = 5, bytes([0, 1, 1]) + struct.pack(">BI", 0xFF, MISSING) + limit
    interval = b""
    if since is not None:
        template = {0: 8, 1: 11, 2: 12, 5: 9, 6: 10}[template]
        end = reference + timedelta(hours=lead)
        interval = struct.pack(">HBBBBB", *end.timetuple()[:6]) + struct.pack(">BI", 1, 0)
        length = round((lead - since) * per_hour)
        interval += struct.pack(">BBBIBI", statistic, 2, unit, length, 255, 0)
    head = struct.pack(">HH", 0, template) + bytes([parameter[1], parameter[2], 2, 0, 0])
    head += struct.pack(">HBBI", 0, 0, unit, signed(round(start * per_hour)))
    return section(4, head + surfaces(level, second) + extra + interval)


def packed(stored: np.ndarray, decimals: int = 3) -> tuple[bytes, bytes, bytes]:
    """Sections 5, 6 and 7 of values in storage order; NaN becomes a gap of the bitmap."""
    known = np.isfinite(stored)
    scaled = np.round(stored[known] * 10**decimals)
    low = float(scaled.min()) if scaled.size else 0.0
    whole = (scaled - np.float32(low)).astype(np.int64)
    data = b"".join(int(number).to_bytes(3, "big") for number in whole)
    description = struct.pack(">IH", scaled.size, 0)
    description += struct.pack(">fHHBB", low, 0, signed(decimals, 16), 24, 0)
    bitmap = b"\xff" if known.all() else b"\x00" + np.packbits(known).tobytes()
    return section(5, description), section(6, bitmap), section(7, data)


def packed_octets(low: float, steps: np.ndarray, decimals: int) -> tuple[bytes, bytes, bytes]:
    """Sections 5 to 7 of values ``low + steps / 10**decimals``, one octet each: quick to make."""
    description = struct.pack(">IH", steps.size, 0)
    description += struct.pack(">fHHBB", low * 10**decimals, 0, signed(decimals, 16), 8, 0)
    return section(5, description), section(6, b"\xff"), section(7, steps.astype("u1").tobytes())


def message(*sections: bytes, discipline: int = 0) -> bytes:
    body = b"".join(sections)
    head = b"GRIB" + struct.pack(">HBBQ", 0, discipline, 2, 16 + len(body) + 4)
    return head + body + b"7777"


def field(
    reference: datetime, grid: bytes, values: np.ndarray | list[float],
    parameter: tuple[int, int, int], level: tuple[int, float],
    *, lead: float, centre: int = 7, decimals: int = 3, **how: object,
) -> bytes:  # fmt: skip
    """One message of one field; values in storage order."""
    stored = np.asarray(values, dtype=np.float64).ravel()
    return message(
        identification(reference, centre),
        grid,
        product(reference, parameter, level, lead=lead, **how),  # type: ignore[arg-type]
        *packed(stored, decimals),
        discipline=parameter[0],
    )
