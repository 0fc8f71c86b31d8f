"""Hours as CSV: ``time`` and one column for each house column, gaps empty.

A header names a column by its house name (``air_temperature_c``) or by CF name and unit
(``air_temperature [degF]``). Moments carry their offset; a column headed ``time [UTC]`` may leave
it out. Lines ``# key: value`` before the header may state issued_at, source, station,
wind_height_m and age_limit_h. What :func:`to_csv` writes reads back to the same values.
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Final, TypeVar

import numpy as np

from rules.columns import Column, columns
from rules.errors import Faults, OutOfRange, WeatherFileFault
from rules.units import UNITS, convert
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding, Forecast, HourlyTable, Provenance
from scheduler.weather.house_json import MOST_HOURS, column_named, unknown_column
from scheduler.weather.intervals import HOUR_S, instant
from scheduler.weather.json_text import LARGEST_BYTES, MOST_FAULTS, decoded
from scheduler.weather.screen import screened

ENOUGH_FAULTS: Final = 1000
MOST_LINES: Final = 1_000_000  # a century of hours
_HEAD: Final = re.compile(
    r"\s*(?P<name>[A-Za-z_0-9]+)\s*(?:[\[(]\s*(?P<unit>[^\])]+?)\s*[\])])?\s*"
)
Noted = TypeVar("Noted", datetime, float)
_NOTE_KEYS: Final = ("issued_at", "source", "station", "wind_height_m", "age_limit_h")


class CsvFaults:
    """The faults of one CSV file, in order; the first fifty are told, the rest counted."""

    def __init__(self, file: str) -> None:
        self.file = file
        self._told: list[WeatherFileFault] = []
        self._more = 0

    def add(self, line: int, field: str, value: object, want: str) -> None:
        """Note one fault."""
        if len(self._told) < MOST_FAULTS:
            self._told.append(WeatherFileFault(self.file, field, value, want, line=line))
        else:
            self._more += 1
        if self._more >= ENOUGH_FAULTS:
            self.refuse_faulty()  # nothing is to be learnt from the rest

    def refuse_faulty(self) -> None:
        """Raise all faults found so far.

        Raises
        ------
        Faults
            If there are any.
        """
        if self._more:
            told = f"{self._more} more"
            self._told.append(WeatherFileFault(self.file, "the file", told, "mend these too"))
        if self._told:
            raise Faults(self._told)


def read_hourly_csv(
    raw: bytes, file: str, *, most_hours: int = MOST_HOURS, most_bytes: int = LARGEST_BYTES
) -> Forecast:
    """Return the hours of a CSV file; hours without a row are gaps.

    Raises
    ------
    Faults
        One for each thing wrong: names, units, values, equal or unsorted times.
    """
    text = decoded(raw, file, most_bytes)
    faults = CsvFaults(file)
    lines = text.count("\n")
    if lines > MOST_LINES:
        faults.add(1, "the file", f"{lines} lines", f"want at most {MOST_LINES} hours")
        faults.refuse_faulty()
    notes, skipped, body = _notes(text, faults)
    rows = _rows(body, skipped, faults)
    line, head = next(rows, (skipped + 1, []))
    heads = _heads(line, head, faults)
    faults.refuse_faulty()  # without names no cell means anything
    hours, cells = _cells(rows, heads, faults, most_hours)
    faults.refuse_faulty()
    start, table, findings = _table(hours, cells, heads)
    kept, screening = screened(start, table)
    provenance = Provenance(
        source=notes.get("source", "file"),
        issued_at=_noted(notes, "issued_at", instant, faults),
        fetched_at=None,
        age_limit_h=_noted(notes, "age_limit_h", float, faults) or 12.0,
        place=notes.get("station", ""),
        wind_height_m=_noted(notes, "wind_height_m", float, faults) or 10.0,
        identity=hashlib.sha256(raw).hexdigest(),
        findings=(*findings, *screening),
    )
    faults.refuse_faulty()
    return Forecast(table=HourlyTable(start=start, columns=kept), provenance=provenance)


def to_csv(forecast: Forecast) -> str:
    """Return the table as CSV: time in UTC, house columns in the book's order, gaps empty.

    Values are written with as many digits as it takes to read back the same number.
    """
    table = forecast.table
    names = [name for name in columns() if name in table]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["time", *names])
    told = [[_cell(value) for value in table.columns[name]] for name in names]
    times = np.datetime_as_string(table.start, unit="m")
    for row in zip(times, *told, strict=True):
        writer.writerow([f"{row[0]}Z", *row[1:]])
    return out.getvalue()


def _cell(value: float) -> str:
    number = float(value)
    return "" if math.isnan(number) else str(int(number)) if _whole(number) else repr(number)


def _whole(number: float) -> bool:
    return number.is_integer() and abs(number) < 1e15


def _notes(text: str, faults: CsvFaults) -> tuple[dict[str, str], int, str]:
    """Return what the lines before the header state, how many they are, and the rest."""
    notes: dict[str, str] = {}
    skipped = 0
    while text.startswith("#"):
        line, _, text = text.partition("\n")
        skipped += 1
        key, colon, value = line[1:].partition(":")
        if colon and key.strip() in _NOTE_KEYS:
            notes[key.strip()] = value.strip()
        elif colon and key.strip().isidentifier():
            faults.add(skipped, key.strip(), value.strip(), f"want {', '.join(_NOTE_KEYS)}")
    return notes, skipped, text


def _noted(
    notes: dict[str, str], key: str, read: Callable[[str], Noted], faults: CsvFaults
) -> Noted | None:
    text = notes.get(key)
    if text is None:
        return None
    try:
        return read(text)
    except ValueError as error:
        faults.add(1, key, text, str(error))
        return None


def _rows(text: str, skipped: int, faults: CsvFaults) -> Iterator[tuple[int, list[str]]]:
    """Yield line number and cells of each row that is not blank."""
    reader = csv.reader(io.StringIO(text), strict=True)
    while True:
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            faults.add(skipped + reader.line_num, "the row", "", f"not CSV: {error}")
            return
        if any(cell.strip() for cell in row):
            yield skipped + reader.line_num, row


def _heads(line: int, head: list[str], faults: CsvFaults) -> list[tuple[Column | None, str]]:
    """Return for each column its house column and the unit its cells are in; time is None."""
    heads: list[tuple[Column | None, str]] = []
    for text in head:
        found = _HEAD.fullmatch(text)
        name, unit = (found["name"], found["unit"]) if found else (text, None)
        if name == "time":
            heads.append((None, unit or ""))
            continue
        column = column_named(name)
        if column is None:
            faults.add(line, "column", text, unknown_column(name))
            continue
        heads.append((column, _unit(line, text, unit, column, faults)))
    names = [column.name if column else "time" for column, _ in heads]
    if "time" not in names:
        faults.add(line, "the header", ",".join(head)[:60], "want a column named time")
    for name in sorted({name for name in names if names.count(name) > 1}):
        faults.add(line, "column", name, "give each column once")
    if len(names) == 1:
        faults.add(line, "the header", ",".join(head), "want at least one weather column")
    return heads


def _unit(line: int, text: str, unit: str | None, column: Column, faults: CsvFaults) -> str:
    if unit is None and text.strip() == column.name:
        return column.cf_unit
    kind = UNITS[column.cf_unit][0]
    if unit is None or UNITS.get(unit, ("",))[0] != kind:
        fit = ", ".join(known for known, row in UNITS.items() if row[0] == kind)
        faults.add(line, "column", text, f"want a unit of {kind} in brackets: {fit}")
        return column.cf_unit
    return unit


def _cells(
    rows: Iterator[tuple[int, list[str]]],
    heads: list[tuple[Column | None, str]],
    faults: CsvFaults,
    most_hours: int,
) -> tuple[list[int], list[list[float]]]:
    """Return the hour of each row, in hours since 1970, and its values column by column."""
    hours: list[int] = []
    values: list[list[float]] = [[] for _ in heads]
    at_time = next(i for i, (column, _) in enumerate(heads) if column is None)
    in_utc = heads[at_time][1] == "UTC"
    for line, row in rows:
        if len(row) != len(heads):
            faults.add(
                line, "the row", f"{len(row)} cells", f"want {len(heads)} as the header has"
            )
            continue
        hour = _hour(line, row[at_time], in_utc, faults)
        if hour is None:
            continue
        if hours and hour <= hours[-1]:
            want = "this hour is there already" if hour == hours[-1] else "sort the rows by time"
            faults.add(line, "time", row[at_time], want)
            continue
        hours.append(hour)
        for i, (column, _) in enumerate(heads):
            if column is not None:
                values[i].append(_value(line, column, row[i], faults))
    if not hours:
        faults.add(1, "the file", "no hours", "want a row for each hour")
    elif hours[-1] - hours[0] >= most_hours:
        faults.add(1, "time", f"{hours[-1] - hours[0]} hours", f"want at most {most_hours} hours")
    return hours, values


def _hour(line: int, text: str, in_utc: bool, faults: CsvFaults) -> int | None:
    try:
        moment = datetime.fromisoformat(text.strip())
        if moment.tzinfo is None and in_utc:
            moment = moment.replace(tzinfo=UTC)
        seconds = instant(moment.isoformat()).timestamp()
    except (ValueError, OverflowError) as error:
        want = str(error) if "offset" in str(error) else "want a moment, e.g. 2026-11-09T10:00Z"
        faults.add(line, "time", text, want)
        return None
    if seconds % HOUR_S:
        faults.add(line, "time", text, "want the beginning of a whole hour of UTC")
        return None
    return int(seconds) // HOUR_S


def _value(line: int, column: Column, text: str, faults: CsvFaults) -> float:
    if not text.strip():
        return math.nan
    try:
        number = float(text) if "_" not in text else math.nan
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        faults.add(line, column.name, text, "want a number, or nothing for a gap")
        return math.nan
    return number


def _table(
    hours: list[int], cells: list[list[float]], heads: list[tuple[Column | None, str]]
) -> tuple[np.ndarray, dict[str, FloatArray], tuple[Finding, ...]]:
    zero, count = hours[0], hours[-1] - hours[0] + 1
    at = np.array(hours) - zero
    table: dict[str, FloatArray] = {}
    for (column, unit), values in zip(heads, cells, strict=True):
        if column is None:
            continue
        spread = np.full(count, np.nan)
        spread[at] = _converted(np.array(values, dtype=np.float64), unit, column)
        table[column.name] = spread
    start = np.arange(zero, zero + count).astype("datetime64[h]")
    missing = count - len(hours)
    found = (Finding("", f"{missing} hours have no row", missing),) if missing else ()
    return start, table, found


def _converted(values: FloatArray, unit: str, column: Column) -> FloatArray:
    try:
        return np.asarray(convert(values, unit, column.cf_unit), dtype=np.float64)
    except OutOfRange as error:  # the header was checked, so this is ours to mend
        raise AssertionError(str(error)) from error
