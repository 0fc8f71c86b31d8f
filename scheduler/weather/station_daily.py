"""Daily station records: GHCN-Daily in its forms, and plain tables of days.

GHCN-Daily comes as fixed-width text (``.dly``), as one row for each element and day, and as one
row for each day. Elements have their own scale; a value that failed a quality check (its second
flag) is a gap; a trace is nothing that can be measured, told apart from a dry day.

References
----------
GHCN-Daily readme (NOAA NCEI), sections III and IV: elements, scales, flags, -9999.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.errors import Faults, WeatherFileFault
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding
from scheduler.weather.json_text import MOST_FAULTS
from scheduler.weather.records import HIGH, LOW, DailyRecord, Station, plausible
from scheduler.weather.station_table import (
    Table,
    chosen,
    days_of,
    in_house_unit,
    numbers_of,
    placed,
    unit_set,
)

ELEMENTS: Final = {  # element: (column, kind of value)
    "TMAX": (HIGH, "temperature"),
    "TMIN": (LOW, "temperature"),
    "PRCP": ("precipitation_amount_mm", "water"),
    "SNOW": ("snowfall_amount_mm", "snow"),
    "SNWD": ("snow_depth_mm", "snow"),
    "AWND": ("wind_speed_ms", "speed"),
    "WSFG": ("wind_speed_of_gust_ms", "speed"),
    "WSF5": ("wind_speed_of_gust_ms", "speed"),
}
PLAIN: Final = {  # other tables' names: element
    "temp_max": "TMAX",
    "temp_min": "TMIN",
    "precipitation": "PRCP",
    "wind": "AWND",
}
MISSING: Final = -9999
LONGEST_D: Final = 366 * 300
DLY_ROW: Final = 21 + 31 * 8
MORNING: Final = 1200  # an observer who reads at or before noon writes yesterday's high


@dataclass(frozen=True, slots=True)
class Values:
    """What one element says: a value for each row, and on which day."""

    element: str
    day: NDArray[np.datetime64]  # (rows,)
    value: FloatArray  # (rows,) as it stands in the file
    trace: int = 0  # rows that are a trace
    failed: int = 0  # rows that failed a quality check


def is_dly(text: str) -> bool:
    """Tell whether a text is fixed-width GHCN-Daily."""
    row = text.split("\n", 1)[0].rstrip("\r")
    return len(row) >= 29 and row[11:17].isdigit() and row[17:21].isalnum() and "," not in row[:21]


def read_dly(text: str, file: str, identity: str) -> DailyRecord:
    """Read a fixed-width file of one station.

    Raises
    ------
    Faults
        One for each row that cannot be read.
    """
    rows, faults = [], []
    for line, row in enumerate(text.splitlines(), start=1):
        if not row.strip():
            continue
        if not (row[11:17].isdigit() and 1 <= int(row[15:17]) <= 12):
            faults.append(_dly_fault(file, line, row[:21], "want station, year, month, element"))
        elif row[17:21] in ELEMENTS:
            rows.append((line, row.ljust(DLY_ROW)))
        if len(faults) >= MOST_FAULTS:
            break
    if not faults:
        values = _dly_values(rows, file, faults)
    if faults:
        raise Faults(faults)
    return _record(values, "tenths", Station(text[:11].strip(), identity=identity), file)


def _dly_fault(file: str, line: int, value: str, want: str) -> WeatherFileFault:
    return WeatherFileFault(file, "the row", value, want, line=line)


def _dly_values(
    rows: Sequence[tuple[int, str]], file: str, faults: list[WeatherFileFault]
) -> list[Values]:
    by_element: dict[str, list[tuple[np.datetime64, float, str, str]]] = {}
    for line, row in rows:
        month = np.datetime64(f"{row[11:15]}-{row[15:17]}", "M")
        first = month.astype("datetime64[D]")
        days = int(((month + 1).astype("datetime64[D]") - first).astype(np.int64))
        told = by_element.setdefault(row[17:21], [])
        for i in range(days):
            cell = row[21 + 8 * i : 29 + 8 * i]
            try:
                value = int(cell[:5]) if cell[:5].strip() else MISSING
            except ValueError:
                want = f"want a whole number for day {i + 1}"
                faults.append(_dly_fault(file, line, cell, want))
                break
            if value != MISSING:
                told.append((first + i, float(value), cell[5], cell[6]))
    return [
        _values(element, *zip(*told, strict=True)) for element, told in by_element.items() if told
    ]


def _values(
    element: str,
    day: Sequence[np.datetime64],
    value: Sequence[float],
    measured: Sequence[str],
    quality: Sequence[str],
) -> Values:
    failed = np.array([flag.strip() != "" for flag in quality])
    trace = np.array([flag.strip() == "T" for flag in measured]) & ~failed
    numbers = np.where(failed, np.nan, np.array(value, dtype=np.float64))
    return Values(element, np.array(day), numbers, int(trace.sum()), int(failed.sum()))


def is_long(table: Table) -> bool:
    """Tell whether a table has one row for each element and day."""
    lower = {head.lower() for head in table.heads}
    return {"date", "value"} <= lower and bool({"attr", "element", "datatype"} & lower)


def read_long(table: Table, identity: str, station: str) -> DailyRecord:
    """Read a table with one row for each element and day, values scaled as GHCN-Daily does.

    Raises
    ------
    Faults
        One for each cell that cannot be read.
    """
    named = {head.lower(): head for head in table.heads}
    stations = next((named[h] for h in ("id", "station") if h in named), None)
    if stations is not None:
        table = chosen(table, stations, station)
    element = np.array(
        table.texts(next(named[h] for h in ("attr", "element", "datatype") if h in named))
    )
    day = days_of(table, named["date"])
    value = numbers_of(table, named["value"])
    value[value == MISSING] = np.nan
    measured, quality, read_at = (_flag(table, named, names) for names in LONG_FLAGS)
    values = []
    for name in ELEMENTS:
        rows = np.flatnonzero(element == name)
        if rows.size:
            moved = _moved(name, day[rows], [read_at[i] for i in rows])
            flags = ([measured[i] for i in rows], [quality[i] for i in rows])
            values.append(_values(name, moved, value[rows], *flags))  # type: ignore[arg-type]
    name = station or (table.texts(stations)[0] if stations else table.file)
    record = _record(values, "tenths", Station(name, identity=identity), table.file)
    return _told_moved(record, read_at)


LONG_FLAGS: Final = (
    ("a", "mflag", "m_flag"),
    ("b", "qflag", "q_flag"),
    ("d", "obstime", "obs_time"),
)


def _flag(table: Table, named: Mapping[str, str], names: Sequence[str]) -> list[str]:
    head = next((named[name] for name in names if name in named), None)
    return [""] * len(table.rows) if head is None else table.texts(head)


def _in_morning(read_at: str) -> bool:
    return read_at.isdigit() and 0 < int(read_at) <= MORNING


def _moved(
    element: str, day: NDArray[np.datetime64], read_at: Sequence[str]
) -> NDArray[np.datetime64]:
    """Put highs and rain that a morning reading wrote down back to the day they were of."""
    if element not in {"TMAX", "PRCP", "SNOW"}:
        return day
    back = np.array([_in_morning(text) for text in read_at]).astype("timedelta64[D]")
    moved: NDArray[np.datetime64] = day - back
    return moved


def _told_moved(record: DailyRecord, read_at: Sequence[str]) -> DailyRecord:
    moved = sum(_in_morning(text) for text in read_at)
    if not moved:
        return record
    what = f"{moved} values were read in the morning; highs and rain go to the day before"
    return DailyRecord(
        record.station, record.day, record.columns, (*record.findings, Finding(HIGH, what))
    )


def is_wide(table: Table) -> bool:
    """Tell whether a table has one row for each day."""
    return table.has("DATE") and bool({"TMAX", "TMIN", "PRCP"} & set(table.heads))


def is_plain(table: Table) -> bool:
    """Tell whether a table has one row a day under everyday names."""
    return table.has("date", "temp_max", "temp_min")


def read_wide(table: Table, identity: str, station: str, units: str) -> DailyRecord:
    """Read a table with one row for each day.

    Raises
    ------
    Faults
        One for each cell that cannot be read; if units or station are open.
    """
    of = next((head for head in ("STATION", "location") if table.has(head)), None)
    if of is not None:
        table = chosen(table, of, station)
    day = days_of(table, "DATE" if table.has("DATE") else "date")
    heads = {PLAIN.get(head, head): head for head in table.heads}
    values: list[Values] = []
    for element in ELEMENTS:
        if element not in heads:
            continue
        told = numbers_of(table, heads[element], trace=0.0)
        flags = _attributes(table, f"{heads[element]}_ATTRIBUTES")
        values.append(_values(element, day, told, *flags))  # type: ignore[arg-type]
    highs = next((v.value for v in values if v.element == "TMAX"), np.array([np.nan]))
    found, finding = unit_set(highs, int(np.unique(day).size), units, table.file)
    record = _record(values, found, _station(table, of, station, identity), table.file)
    if finding is None:
        return record
    return DailyRecord(record.station, record.day, record.columns, (finding, *record.findings))


def _attributes(table: Table, head: str) -> tuple[list[str], list[str]]:
    """Return measurement and quality flag of each row from cells such as ``T,,W``."""
    if not table.has(head):
        blank = [""] * len(table.rows)
        return blank, blank
    parts = [text.split(",") for text in table.texts(head)]
    return [p[0] for p in parts], [p[1] if len(p) > 1 else "" for p in parts]


def _station(table: Table, of: str | None, station: str, identity: str) -> Station:
    def first(head: str) -> float | None:
        return float(numbers_of(table, head)[0]) if table.has(head) else None

    names = [table.texts(head)[0] for head in ("NAME", of or "") if table.has(head)]
    return Station(
        name=next((name for name in names if name), station or table.file),
        latitude_deg=first("LATITUDE"),
        longitude_deg=first("LONGITUDE"),
        elevation_m=first("ELEVATION"),
        identity=identity,
    )


def _record(values: Sequence[Values], units: str, station: Station, file: str) -> DailyRecord:
    """Lay the elements out over the days from the first to the last."""
    if not any(np.isfinite(v.value).any() for v in values):
        want = f"want at least one of {', '.join(ELEMENTS)}"
        raise Faults([WeatherFileFault(file, "elements", None, want)])
    first = min(v.day.min() for v in values)
    count = int((max(v.day.max() for v in values) - first).astype(np.int64)) + 1
    if count > LONGEST_D:
        want = "want a record of at most 300 years; mend the odd date"
        raise Faults([WeatherFileFault(file, "days", count, want)])
    columns: dict[str, FloatArray] = {}
    findings: list[Finding] = []
    for v in values:
        column, kind = ELEMENTS[v.element]
        at = (v.day - first).astype(np.int64)
        laid, twice = placed(at, in_house_unit(v.value, kind, units), count)
        findings += _told(column, v, twice)
        # A gust may come under two elements: the stronger of what is known counts.
        columns[column] = np.fmax(columns[column], laid) if column in columns else laid
    record = DailyRecord(station, first + np.arange(count), columns, tuple(findings))
    return plausible(record)


def _told(column: str, values: Values, twice: int) -> list[Finding]:
    told = []
    if values.failed:
        what = f"{values.failed} values of {values.element} failed a quality check; not used"
        told.append(Finding(column, what, 24 * values.failed))
    if values.trace:
        what = f"{values.trace} days of {values.element} are a trace, too little to measure"
        told.append(Finding(column, what))
    if twice:
        what = f"{twice} days have two values of {values.element}; neither is used"
        told.append(Finding(column, what, 24 * twice))
    return told
