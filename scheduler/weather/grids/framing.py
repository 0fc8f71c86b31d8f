"""GRIB2 framing: from bytes to single fields, checked before any decoder sees them.

A file is a run of messages, ``GRIB`` ... ``7777``, each a list of numbered sections; sections 2
to 7 may repeat inside a message, each section 7 closing one field. What is cut off, garbled or
of another format is told here in one line.

References
----------
WMO-No. 306, Manual on Codes, volume I.2, FM 92 GRIB edition 2: sections 0 to 8, code table 6.0.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace

from rules.errors import WeatherFileFault

INDICATOR = struct.Struct(">4s2xBBQ")  # GRIB, discipline, edition, total length
SECTION = struct.Struct(">IB")
OTHER_FORMATS = {
    b"\x89HDF\r\n\x1a\n": "a NetCDF or HDF5 file",
    b"CDF": "a classic NetCDF file",
    b"\x1f\x8b": "packed with gzip; unpack it first",
    b"BZh": "packed with bzip2; unpack it first",
    b"PK\x03\x04": "packed with zip; unpack it first",
    b"\xfd7zXZ": "packed with xz; unpack it first",
    b"BUFR": "a BUFR file",
}
Bytes = bytes | memoryview  # large parts are views of the file's content
FOLLOWS = {1: {2, 3}, 2: {3}, 3: {4}, 4: {5}, 5: {6}, 6: {7}, 7: {2, 3, 4}}
BITMAP_HERE, BITMAP_BEFORE, BITMAP_NONE = 0, 254, 255


@dataclass(frozen=True, slots=True)
class RawField:
    """One field as it came: its sections, and where in the file its message starts."""

    number: str  # "3", or "3.2" for the second field of one message
    offset: int
    discipline: int
    identification: bytes  # section 1
    grid: bytes  # section 3
    product: bytes  # section 4
    packing: bytes  # section 5
    bitmap: Bytes  # section 6
    data: Bytes  # section 7
    whole: Bytes = b""  # the message, where it holds no other field

    def message(self) -> Bytes:
        """Return a message that holds this field alone; nothing is copied where it does."""
        if self.whole:
            return self.whole
        body = b"".join(
            (self.identification, self.grid, self.product, self.packing, self.bitmap, self.data)
        )
        total = INDICATOR.size + len(body) + 4
        return INDICATOR.pack(b"GRIB", self.discipline, 2, total) + body + b"7777"


def fields_of(content: bytes, name: str) -> list[RawField]:
    """Split a GRIB2 file into its fields.

    Parameters
    ----------
    content : bytes
        The whole file; bulletin headings between messages are passed over.
    name : str
        The file's name for messages.

    Raises
    ------
    WeatherFileFault
        If there is no message, one is cut off or garbled, or the format is another one.
    """
    fields: list[RawField] = []
    at, count = content.find(b"GRIB"), 0
    if at < 0:
        raise WeatherFileFault(
            name, "content", _looks_like(content), "want GRIB edition 2 messages"
        )
    while at >= 0:
        count += 1
        length = _message_length(content, at, name, count)
        fields += _fields_of_message(memoryview(content)[at : at + length], at, name, count)
        at = content.find(b"GRIB", at + length)
    return fields


def _looks_like(content: bytes) -> str:
    if not content.strip(b"\0 \r\n\t"):
        return "empty"
    for mark, what in OTHER_FORMATS.items():
        if content.startswith(mark):
            return what
    if content.lstrip()[:1] in (b"<", b"{"):
        return f"text that begins {content.lstrip()[:20].decode('ascii', 'replace')!r}"
    return f"bytes that begin {content[:8].hex(' ')}"


def _message_length(content: bytes, at: int, name: str, count: int) -> int:
    if len(content) - at < INDICATOR.size:
        raise _cut_off(name, count, at, len(content) - at, INDICATOR.size)
    _, _, edition, length = INDICATOR.unpack_from(content, at)
    if edition != 2:
        raise WeatherFileFault(
            name, f"message {count}", f"GRIB edition {edition}", "only edition 2 is read"
        )
    if at + length > len(content):
        raise _cut_off(name, count, at, len(content) - at, length)
    if length < INDICATOR.size + 4 or content[at + length - 4 : at + length] != b"7777":
        raise WeatherFileFault(
            name,
            f"message {count}",
            f"{length} bytes at {at}",
            "it does not end with 7777; damaged",
        )
    return int(length)


def _cut_off(name: str, count: int, at: int, have: int, want: int) -> WeatherFileFault:
    return WeatherFileFault(
        name, f"message {count}", f"cut off at {have} of {want} bytes", f"it starts at byte {at}"
    )


def _fields_of_message(message: memoryview, at: int, name: str, count: int) -> list[RawField]:
    """Walk the sections of one message; each section 7 closes a field."""
    now: dict[int, Bytes] = {}
    bitmap: Bytes = b""
    fields: list[RawField] = []
    for number, section in _sections(message, name, count):
        now[number] = section if number in (6, 7) else bytes(section)
        if number == 6:
            now[6] = _bitmap(section, bitmap, name, count)
            bitmap = now[6] if now[6][5] == BITMAP_HERE else bitmap
        if number == 7:
            part = f"{count}.{len(fields) + 1}" if fields else f"{count}"
            one, grid, product, packing = (bytes(now[k]) for k in (1, 3, 4, 5))
            fields.append(
                RawField(part, at, message[6], one, grid, product, packing, now[6], section)
            )
    if not fields:
        raise WeatherFileFault(name, f"message {count}", "no data section", "damaged")
    return [replace(fields[0], whole=message)] if len(fields) == 1 else fields


def _sections(message: memoryview, name: str, count: int) -> Iterator[tuple[int, memoryview]]:
    place, end = INDICATOR.size, len(message) - 4
    allowed = {1}
    while place < end:
        length, number = SECTION.unpack_from(message, place) if end - place >= 5 else (0, 0)
        if number not in allowed or length < SECTION.size or place + length > end:
            raise WeatherFileFault(
                name, f"message {count}", f"section {number} of {length} bytes", "damaged"
            )
        yield number, message[place : place + length]
        place += length
        allowed = FOLLOWS[number]
    if allowed != FOLLOWS[7]:
        raise WeatherFileFault(name, f"message {count}", "no data section", "damaged")


def _bitmap(section: memoryview, before: Bytes, name: str, count: int) -> Bytes:
    """Return the bitmap section to use; one field may refer to the bitmap of the one before."""
    indicator = section[5] if len(section) > 5 else -1
    if indicator == BITMAP_BEFORE and before:
        return before
    if indicator not in (BITMAP_HERE, BITMAP_NONE):
        raise WeatherFileFault(
            name, f"message {count}", f"bitmap {indicator}", "a bitmap that is not in the file"
        )
    return section
