"""Hourly station records in everyday tables: temperature, dew point, wind, gust, rain."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.errors import Faults, WeatherFileFault
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding, HourlyTable
from scheduler.weather.intervals import instant
from scheduler.weather.records import HourlyRecord, Station
from scheduler.weather.screen import screened
from scheduler.weather.station_table import (
    Table,
    chosen,
    each,
    in_house_unit,
    numbers_of,
    placed,
    unit_set,
)

TIME_HEADS: Final = ("time_hour", "valid_utc")
COLUMNS: Final = {  # head: (house column, kind of value)
    "temp": ("air_temperature_c", "temperature"),
    "dewp": ("dew_point_temperature_c", "temperature"),
    "humid": ("relative_humidity_pct", "share"),
    "wind_speed": ("wind_speed_ms", "speed"),
    "wind_gust": ("wind_speed_of_gust_ms", "speed"),
    "precip": ("precipitation_amount_mm", "water"),
}
STATIONS: Final = ("origin", "station", "STATION")
LONGEST_H: Final = 24 * 366 * 100


def is_station_hours(table: Table) -> bool:
    """Tell whether a table has one row for each hour under these names."""
    return any(table.has(head) for head in TIME_HEADS) and table.has("temp")


def read_station_hours(table: Table, identity: str, station: str, units: str) -> HourlyRecord:
    """Read a table with one row for each hour; hours without a row are gaps.

    Raises
    ------
    Faults
        One for each cell that cannot be read; if units or station are open.
    """
    of = next((head for head in STATIONS if table.has(head)), None)
    if of is not None:
        table = chosen(table, of, station)
    hour = _hours(table)
    first, count = int(hour.min()), int(hour.max() - hour.min()) + 1
    if count > LONGEST_H:
        want = "want a record of at most 100 years; mend the odd time"
        raise Faults([WeatherFileFault(table.file, "hours", count, want)])
    found, finding = unit_set(
        numbers_of(table, "temp"), int(np.unique(hour // 24).size), units, table.file
    )
    columns: dict[str, FloatArray] = {}
    findings = [] if finding is None else [finding]
    for head, (column, kind) in COLUMNS.items():
        if table.has(head):
            values = in_house_unit(numbers_of(table, head, trace=0.0), kind, found)
            columns[column], twice = placed(hour - first, values, count)
            if twice:
                what = f"{twice} hours have two values; neither is used"
                findings.append(Finding(column, what, twice))
    start = (first + np.arange(count)).astype("datetime64[h]")
    missing = count - np.unique(hour).size
    if missing:
        findings.append(Finding("", f"{missing} hours have no row", missing))
    kept, screening = screened(start, columns)
    name = station or (table.texts(of)[0] if of else table.file)
    return HourlyRecord(
        station=Station(name, identity=identity),
        table=HourlyTable(start=start, columns=kept),
        findings=(*findings, *screening),
    )


def _hours(table: Table) -> NDArray[np.int64]:
    head = next(head for head in TIME_HEADS if table.has(head))
    want = "want the beginning of an hour in UTC, e.g. 2013-01-01T06:00:00Z"
    return np.array(each(table, head, table.texts(head), _hour, want), dtype=np.int64)


def _hour(text: str) -> int:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)  # both heads say that they are in UTC
    return int(instant(moment.isoformat()).timestamp()) // 3600
