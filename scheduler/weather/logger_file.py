"""Temperatures as a logger exports them: messy CSV in, probes by the hour out.

Handled: lines before the header, comma, semicolon, tab or bar between cells, decimal commas, one
or many probes, a running number before the time, date and time in two columns, °F or °C, local
time with the clock change, equal rows, rows out of order, gaps and words for a broken sensor.
What cannot be told apart (unit, day and month, a clock that did not change) is asked, not guessed.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.errors import Faults, WeatherFileFault
from rules.units import convert
from scheduler.planning.strength.measured import ProbeTrace
from scheduler.planning.tables.hours import Finding
from scheduler.weather.logger_clock import Clock, instants
from scheduler.weather.logger_times import is_time, time_columns, times_of

LARGEST_BYTES: Final = 32_000_000
MOST_HOURS: Final = 24 * 366 * 3
SEPARATORS: Final = (",", ";", "\t", "|")
LOOKED_AT: Final = 200  # rows from which the shape of the file is told
SENSOR_C: Final = (-60.0, 110.0)  # outside it a sensor is broken
LONGEST_BRIDGE_H: Final = 2  # two samples this near are joined by a line, and told
_NUMBER: Final = re.compile(r"\s*([+−-]?\d+(?:[.,]\d+)?)\s*(?:°|\*|deg\.?\s*)?\s*([CF])?\s*")
_UNIT: Final = re.compile(
    r"(?:°|º|\*|deg(?:rees)?\.?\s*|[\[(,\s_])\s*([CF])(?:elsius|ahrenheit)?\b", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class _Shape:
    """How the rows of one file are laid out."""

    rows: list[tuple[int, list[str]]]  # line number and cells of the rows with a time
    head: list[str]
    skipped: int  # lines before the header
    times: tuple[int, ...]  # columns of the time: one, or date and time
    probes: tuple[int, ...]


def read_logger(
    raw: bytes,
    file: str,
    *,
    time_zone: str,
    clock: Clock = Clock.LOCAL,
    unit: str | None = None,
) -> ProbeTrace:
    """Read a logger's export.

    Parameters
    ----------
    raw
        The file's bytes.
    file
        Its name, for faults.
    time_zone
        IANA name of the site's zone; moments without an offset are on its clock.
    clock
        Whether the logger's clock changes with the season, as a telephone's, or stays on standard
        time or UTC.
    unit
        ``degC`` or ``degF`` where the file does not say.

    Returns
    -------
    ProbeTrace
        Hours in UTC; gaps NaN; findings tell what was left out, joined or odd.

    Raises
    ------
    Faults
        One for each thing that cannot be read or told apart.
    """
    text = _text(raw, file)
    shape = _shape(text, file)
    zone = ZoneInfo(time_zone)
    local = times_of([[row[c] for c in shape.times] for _, row in shape.rows], file)
    moments, clock_findings = instants(local, zone, clock, file)
    degrees = _units(shape, file, unit)
    values = np.array(
        [[_celsius(row, column, degrees) for column in shape.probes] for _, row in shape.rows]
    ).reshape(len(shape.rows), len(shape.probes))
    names = tuple(_name(shape.head, column, n) for n, column in enumerate(shape.probes, 1))
    broken = (values < SENSOR_C[0]) | (values > SENSOR_C[1])
    values[broken] = np.nan
    trace = _by_hour(moments, values, names, file)
    findings = [*clock_findings, *trace.findings]
    if shape.skipped:
        findings.append(Finding("", f"{shape.skipped} lines before the header were left out"))
    if broken.any():
        findings.append(
            Finding("", f"{int(broken.sum())} samples no sensor can read were left out")
        )
    return ProbeTrace(trace.start, names, trace.mean_c, trace.least_c, tuple(findings))


def _text(raw: bytes, file: str) -> str:
    """Return the text of an export: UTF-8 or UTF-16 with or without mark, else Windows."""
    if len(raw) > LARGEST_BYTES:
        raise _fault(file, "the file", f"{len(raw)} bytes", f"want at most {LARGEST_BYTES}")
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return raw.decode("utf-16", errors="replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def _shape(text: str, file: str) -> _Shape:
    """Find separator, header, time and probes: the reading that leaves most rows of use."""
    lines = text.splitlines()
    tried = [_laid_out(lines, separator) for separator in SEPARATORS]
    found = max((shape for shape in tried if shape is not None), key=_use, default=None)
    if found is None:
        want = "want rows with a time and at least one temperature"
        raise _fault(file, "the file", lines[0][:60] if lines else "", want)
    return found


def _use(shape: _Shape) -> tuple[int, int]:
    return len(shape.rows), len(shape.probes)


def _laid_out(lines: Sequence[str], separator: str) -> _Shape | None:
    rows = list(_cells(lines, separator))
    looked = [row for _, row in rows[:LOOKED_AT]]
    times = time_columns(looked)
    if times is None:
        return None
    kept = [(n, row) for n, row in rows if _has_time(row, times)]
    if not kept:
        return None
    first = kept[0][0]
    before = [(n, row) for n, row in rows if n < first]
    head = before[-1][1] if before and len(before[-1][1]) > max(times) else []
    width = max(len(row) for _, row in kept[:LOOKED_AT])
    probes = tuple(
        column
        for column in range(max(times) + 1, width)
        if _is_probe(kept[:LOOKED_AT], head, column)
    )
    if not probes:
        return None
    return _Shape(kept, head, len(before) - bool(head), times, probes)


def _cells(lines: Sequence[str], separator: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO("\n".join(lines)), delimiter=separator)
    while True:
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error:
            continue
        if any(cell.strip() for cell in row):
            yield reader.line_num, row


def _has_time(row: Sequence[str], times: tuple[int, ...]) -> bool:
    return len(row) > max(times) and is_time([row[c] for c in times])


def _is_probe(rows: Sequence[tuple[int, list[str]]], head: Sequence[str], column: int) -> bool:
    """Tell whether a column holds temperatures: numbers, and no other quantity in its head."""
    named = head[column].lower() if column < len(head) else ""
    if any(word in named for word in ("humid", "rh", "%", "batt", "volt", "dew", "serial")):
        return False
    cells = [row[column] for _, row in rows if column < len(row) and row[column].strip()]
    read = [_NUMBER.fullmatch(cell) for cell in cells]
    return bool(read) and sum(found is not None for found in read) * 2 >= len(read)


def _units(shape: _Shape, file: str, unit: str | None) -> dict[int, str]:
    """Return each probe's unit: by its header, its cells, one for all, or as told."""
    said: dict[int, str] = {}
    for column in shape.probes:
        named = _UNIT.search(shape.head[column]) if column < len(shape.head) else None
        looked = [row for _, row in shape.rows[:LOOKED_AT] if column < len(row)]
        cells = (_NUMBER.fullmatch(row[column]) for row in looked)
        written = next((cell[2] for cell in cells if cell and cell[2]), None)
        letter = named[1] if named else written
        if letter is not None:
            said[column] = f"deg{letter.upper()}"
    common = set(said.values())
    for column in shape.probes:
        if column in said:
            continue
        if unit is not None:
            said[column] = unit
        elif len(common) == 1:
            said[column] = next(iter(common))
        else:
            name = _name(shape.head, column, 1)
            raise _fault(file, "unit", name, "the file does not say °F or °C; say which")
    return said


def _celsius(row: Sequence[str], column: int, units: dict[int, str]) -> float:
    found = _NUMBER.fullmatch(row[column]) if column < len(row) else None
    if found is None:
        return math.nan
    number = float(found[1].replace(",", ".").replace("−", "-"))
    return float(convert(number, units[column], "degC"))


def _name(head: Sequence[str], column: int, number: int) -> str:
    text = head[column].strip() if column < len(head) else ""
    plain = _UNIT.sub("", text).strip(" ()[],;:")
    return plain or f"probe {number}"


def _by_hour(
    moments: Sequence[datetime], values: np.ndarray, names: tuple[str, ...], file: str
) -> ProbeTrace:
    """Return means and least samples by the hour, equal moments told and the colder kept."""
    seconds = np.array([moment.timestamp() for moment in moments])
    order = np.argsort(seconds, kind="stable")
    findings = []
    if (np.diff(seconds) < 0).any():
        findings.append(Finding("", "rows were out of order and were sorted"))
    seconds, values = seconds[order], values[order]
    seconds, values, equal = _without_equal(seconds, values)
    if equal:
        findings.append(
            Finding("", f"{equal} rows had a time that was there; the colder was kept")
        )
    first = int(seconds[0] // 3600)
    hours = int(seconds[-1] // 3600) - first + 1
    if hours > MOST_HOURS:
        raise _fault(file, "time", f"{hours} hours", f"want at most {MOST_HOURS}")
    seconds, values, joined = _bridged(seconds, values)
    if joined:
        findings.append(
            Finding("", f"{joined} hours between two samples were joined by a line", joined)
        )
    mean, least = _means(seconds, values, first, hours)
    gaps = int(np.isnan(mean).all(axis=0).sum())
    if gaps:
        findings.append(Finding("", f"{gaps} hours have no sample", gaps))
    start = np.datetime64(first, "h") + np.arange(hours) * np.timedelta64(1, "h")
    return ProbeTrace(start, names, mean, least, tuple(findings))


def _without_equal(seconds: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray, int]:
    once, where = np.unique(seconds, return_inverse=True)
    held = np.full((once.size, values.shape[1]), np.inf)
    np.minimum.at(held, where, np.where(np.isnan(values), np.inf, values))
    return once, np.where(np.isinf(held), np.nan, held), int(seconds.size - once.size)


def _bridged(seconds: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray, int]:
    """Put samples on the half hours of hours that lie empty between two near samples."""
    apart = np.diff(seconds)
    near = np.flatnonzero((apart > 3600.0) & (apart <= LONGEST_BRIDGE_H * 3600.0))
    extra = []
    for at in near:
        hour = seconds[at] // 3600 + 1
        middle = hour * 3600.0 + 1800.0
        if hour < seconds[at + 1] // 3600:
            extra.append(middle)
    if not extra:
        return seconds, values, 0
    added = np.array(extra)
    lines = np.stack([np.interp(added, seconds, one) for one in values.T], axis=1)
    order = np.argsort(np.concatenate([seconds, added]), kind="stable")
    together = np.concatenate([values, lines])[order]
    return np.concatenate([seconds, added])[order], together, len(extra)


def _means(
    seconds: np.ndarray, values: np.ndarray, first: int, hours: int
) -> tuple[np.ndarray, np.ndarray]:
    at = (seconds // 3600).astype(np.int64) - first
    known = ~np.isnan(values)
    total, count = (np.zeros((hours, values.shape[1])) for _ in range(2))
    least = np.full((hours, values.shape[1]), np.inf)
    np.add.at(total, at, np.where(known, values, 0.0))
    np.add.at(count, at, known)
    np.minimum.at(least, at, np.where(known, values, np.inf))
    with np.errstate(invalid="ignore"):
        mean = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return mean.T, np.where(np.isinf(least), np.nan, least).T


def _fault(file: str, field: str, value: object, want: str) -> Faults:
    return Faults([WeatherFileFault(file, field, value, want)])
