"""Typical years: TMY3 and EPW files, one made year of hours put together from real months.

Hours count from 01:00 to 24:00 local standard time, and months come from different years, so
that only month, day and hour count. What stands at a time was seen at that time; sun and rain are
of the hour (or the stated hours) before it. The year is taken as a ring: its last value, at 24:00
on 31 December, is the first of the year.

References
----------
Wilcox, S. and W. Marion (2008): Users Manual for TMY3 Data Sets, NREL/TP-581-43156.
EnergyPlus Auxiliary Programs, EnergyPlus Weather File (EPW) Data Dictionary.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from rules.errors import Faults, WeatherFileFault
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding, HourlyTable
from scheduler.weather.json_text import decoded
from scheduler.weather.records import HourlyRecord, Station
from scheduler.weather.screen import screened

LARGEST_BYTES: Final = 8_000_000  # a TMY3 file has 1.8 MB
MOST_FAULTS: Final = 5
RAIN: Final = "precipitation_amount_mm"
# house columns that are of the hour before the time they stand at
BEFORE: Final = frozenset({RAIN, "surface_downwelling_shortwave_flux_wm2"})
NOMINAL_YEAR: Final = {8760: 2001, 8784: 2000}  # any year of that length


@dataclass(frozen=True, slots=True)
class Value:
    """Where a house column stands in a row and how it is written."""

    at: int | str  # place in the row, or its head
    factor: float = 1.0
    missing: float = np.inf  # this and anything above it, or for TMY3 below -9000, is a gap


TMY3: Final[Mapping[str, Value]] = {
    "air_temperature_c": Value("Dry-bulb (C)"),
    "dew_point_temperature_c": Value("Dew-point (C)"),
    "relative_humidity_pct": Value("RHum (%)"),
    "surface_air_pressure_pa": Value("Pressure (mbar)", 100.0),
    "wind_from_direction_deg": Value("Wdir (degrees)"),
    "wind_speed_ms": Value("Wspd (m/s)"),
    "cloud_area_fraction_pct": Value("TotCld (tenths)", 10.0),
    "surface_downwelling_shortwave_flux_wm2": Value("GHI (W/m^2)"),
    RAIN: Value("Lprecip depth (mm)"),
}
EPW: Final[Mapping[str, Value]] = {  # places counted from 0; missing marks of the data dictionary
    "air_temperature_c": Value(6, 1.0, 99.9),
    "dew_point_temperature_c": Value(7, 1.0, 99.9),
    "relative_humidity_pct": Value(8, 1.0, 999.0),
    "surface_air_pressure_pa": Value(9, 1.0, 999999.0),
    "surface_downwelling_shortwave_flux_wm2": Value(13, 1.0, 9999.0),
    "wind_from_direction_deg": Value(20, 1.0, 999.0),
    "wind_speed_ms": Value(21, 1.0, 999.0),
    "cloud_area_fraction_pct": Value(22, 10.0, 99.0),
    "snow_depth_mm": Value(30, 10.0, 999.0),
    RAIN: Value(33, 1.0, 999.0),
}
TMY3_MISSING: Final = -9000.0  # the files write -9900
TMY3_RAIN_HOURS: Final = "Lprecip quantity (hr)"
EPW_RAIN_HOURS: Final = Value(34, 1.0, 99.0)
EPW_HEADS: Final = 8  # lines before the hours


def is_tmy3(text: str) -> bool:
    """Tell a TMY3 file by the heads of its second line."""
    lines = text[:4000].splitlines()
    return len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY),Time (HH:MM)")


def is_epw(text: str) -> bool:
    """Tell an EPW file by its first word."""
    return text.startswith("LOCATION,")


def read_typical_year(raw: bytes, file: str) -> HourlyRecord:
    """Read a TMY3 or EPW file.

    Raises
    ------
    Faults
        If hours are missing or out of order, or values cannot be read; one fault for each.
    """
    text = decoded(raw, file, LARGEST_BYTES)
    identity = hashlib.sha256(raw).hexdigest()
    try:
        rows = list(csv.reader(io.StringIO(text, newline="")))
    except csv.Error as error:
        raise Faults([WeatherFileFault(file, "the file", str(error), "want CSV")]) from error
    reader = _tmy3 if is_tmy3(text) else _epw
    return reader(rows, file, identity)


def _tmy3(rows: Sequence[Sequence[str]], file: str, identity: str) -> HourlyRecord:
    place, heads, hours = rows[0], [head.strip() for head in rows[1]], rows[2:]
    station = _station(file, place, name=(1, 2), number=0, at=(4, 5, 6), identity=identity)
    places = {
        name: Value(heads.index(str(value.at)), value.factor)
        for name, value in TMY3.items()
        if value.at in heads
    }
    when = [_tmy3_time(row) for row in hours]
    values = _values(hours, places, file, first_line=3, least=TMY3_MISSING)
    lasting = np.ones(len(hours))
    if TMY3_RAIN_HOURS in heads:
        quantity = {"hours": Value(heads.index(TMY3_RAIN_HOURS))}
        lasting = _values(hours, quantity, file, first_line=3, least=TMY3_MISSING)["hours"]
    return _record(file, station, _zone(file, place, 3), when, values, lasting, first_line=3)


def _epw(rows: Sequence[Sequence[str]], file: str, identity: str) -> HourlyRecord:
    place, hours = rows[0], [row for row in rows[EPW_HEADS:] if row]
    _hourly_only(file, rows)
    station = _station(file, place, name=(1, 2), number=5, at=(6, 7, 9), identity=identity)
    when = [_epw_time(row) for row in hours]
    first = EPW_HEADS + 1
    width = max((len(row) for row in hours), default=0)  # older files end before the rain
    places = {name: value for name, value in EPW.items() if int(value.at) < width}
    values = _values(hours, places, file, first_line=first)
    lasting = np.ones(len(hours))
    if int(EPW_RAIN_HOURS.at) < width:
        lasting = _values(hours, {"hours": EPW_RAIN_HOURS}, file, first_line=first)["hours"]
    return _record(file, station, _zone(file, place, 8), when, values, lasting, first_line=first)


def _hourly_only(file: str, rows: Sequence[Sequence[str]]) -> None:
    """Refuse EPW files with several records an hour, whose times would need another reading."""
    periods = next((row for row in rows[:EPW_HEADS] if row and row[0] == "DATA PERIODS"), None)
    if periods is None or len(periods) < 3 or periods[2].strip() != "1":
        told = ",".join(periods or ())[:60] or "absent"
        want = "want DATA PERIODS,1,1: one record an hour"
        raise Faults([WeatherFileFault(file, "DATA PERIODS", told, want)])


def _tmy3_time(row: Sequence[str]) -> tuple[int, int, int] | None:
    try:
        month, day, _ = (int(part) for part in row[0].split("/"))
        hour, minute = (int(part) for part in row[1].split(":"))
    except (ValueError, IndexError):
        return None
    return (month, day, hour) if minute == 0 else None


def _epw_time(row: Sequence[str]) -> tuple[int, int, int] | None:
    try:
        month, day, hour, minute = (int(float(part)) for part in row[1:5])
    except (ValueError, OverflowError):
        return None
    return (month, day, hour) if minute in (0, 60) else None


def _values(
    rows: Sequence[Sequence[str]],
    places: Mapping[str, Value],
    file: str,
    *,
    first_line: int,
    least: float = -np.inf,
) -> dict[str, FloatArray]:
    """Return columns of numbers in house units, gaps as NaN.

    Raises
    ------
    Faults
        One for each of the first few cells that are no numbers.
    """
    found: dict[str, FloatArray] = {}
    faults: list[WeatherFileFault] = []
    for name, value in places.items():
        at, numbers = int(value.at), np.full(len(rows), np.nan)
        for line, row in enumerate(rows):
            try:
                numbers[line] = float(row[at]) if row[at].strip() else np.nan
            except (ValueError, IndexError):
                told = row[at] if at < len(row) else "absent"
                where = first_line + line
                faults.append(WeatherFileFault(file, name, told, "want a number", line=where))
        if len(faults) > MOST_FAULTS:
            break
        gaps = (numbers >= value.missing) | (numbers <= least)
        found[name] = np.where(gaps, np.nan, numbers * value.factor)
    if faults:
        raise Faults(faults[:MOST_FAULTS])
    return found


def _record(
    file: str,
    station: Station,
    zone: float,
    when: Sequence[tuple[int, int, int] | None],
    values: Mapping[str, FloatArray],
    lasting: FloatArray,
    *,
    first_line: int,
) -> HourlyRecord:
    """Check that every hour is there, in order, and lay the values on the ring of the year."""
    count = len(when)
    if count not in NOMINAL_YEAR:
        want = "want every hour of a year, 8760 or 8784 of them"
        raise Faults([WeatherFileFault(file, "hours", count, want)])
    begins = np.datetime64(f"{NOMINAL_YEAR[count]}-01-01", "h")
    for line, (told, expected) in enumerate(zip(when, _calendar(begins, count), strict=True)):
        if told != expected:
            month, day, hour = expected
            want = f"want month {month}, day {day}, hour {hour}: every hour in order, 1 to 24"
            raise Faults([WeatherFileFault(file, "time", told, want, line=first_line + line)])
    findings: list[Finding] = []
    table = dict(values)
    if RAIN in table:
        table[RAIN], rain_findings = _rain(table[RAIN], lasting)
        findings += rain_findings
    ring = {name: v if name in BEFORE else np.roll(v, 1) for name, v in table.items()}
    shift = int(np.floor(zone))
    if shift != zone:
        what = f"its clock is {zone:+g} h from UTC; times are {zone - shift:g} h late"
        findings.append(Finding("", what))
    start = begins - np.timedelta64(shift, "h") + np.arange(count).astype("timedelta64[h]")
    kept, screen_findings = screened(start, ring)
    return HourlyRecord(
        station=station,
        table=HourlyTable(start=start, columns=kept),
        typical=True,
        findings=(*findings, *screen_findings),
    )


def _calendar(begins: np.datetime64, count: int) -> list[tuple[int, int, int]]:
    """Return month, day and hour (1 to 24) of each row."""
    stamps = (begins + np.arange(count).astype("timedelta64[h]")).tolist()
    return [(stamp.month, stamp.day, stamp.hour + 1) for stamp in stamps]


def _rain(depth: FloatArray, lasting: FloatArray) -> tuple[FloatArray, list[Finding]]:
    """Mend the unit where it shows, share sums out, and see through nothing but zeros."""
    findings = []
    if _hundredths_as_tenths(depth):
        depth = depth / 10.0
        what = "its rain is in tenths of a millimetre: the values are hundredths of an inch"
        findings.append(Finding(RAIN, what, int((depth > 0).sum())))
    if not np.nansum(depth) > 0.0:
        what = "no rain in the whole year: the file does not record it; not known, not dry"
        return np.full(depth.shape, np.nan), [Finding(RAIN, what, depth.size)]
    long = np.flatnonzero((lasting > 1) & (depth > 0))
    if not long.size:
        return depth, findings
    shared = depth.copy()
    shared[long] = 0.0
    for row in long:
        hours = min(int(lasting[row]), 24)
        shared[(row - np.arange(hours)) % depth.size] += depth[row] / hours
    what = "sums of several hours, the same for each of their hours"
    findings.append(Finding(RAIN, what, int(np.minimum(lasting[long], 24).sum())))
    return shared, findings


def _hundredths_as_tenths(depth: FloatArray) -> bool:
    """Tell rain in tenths of a millimetre under a head that says millimetres.

    US gauges are read in hundredths of an inch, 0.254 mm. Rounded to tenths of a millimetre they
    give 3, 5, 8, 10, 13, ... and hardly ever 1, 2, 4, 6, 7 or 9; rounded to millimetres they
    are 1 and 2 most of the time. Small values tell, and a few stray ones do not matter.
    """
    small = depth[(depth > 0) & (depth <= 30)]
    hundredths = np.maximum(np.round(small / 2.54), 1.0)
    fitting = np.abs(small - np.round(2.54 * hundredths)) < 1e-9
    return small.size >= 50 and bool(fitting.mean() > 0.95)


def _station(
    file: str,
    place: Sequence[str],
    *,
    name: tuple[int, int],
    number: int,
    at: tuple[int, int, int],
    identity: str,
) -> Station:
    lat, lon, height = (_placed(file, place, one) for one in at)
    if not (-90.0 <= lat <= 90.0 and -180.0 <= lon <= 180.0):
        want = "want latitude and longitude of the station"
        raise Faults([WeatherFileFault(file, "place", f"{lat:g}, {lon:g}", want, line=1)])
    words = [place[one].strip() for one in (*name, number)]
    return Station(" ".join(word for word in words if word), lat, lon, height, identity)


def _zone(file: str, place: Sequence[str], at: int) -> float:
    zone = _placed(file, place, at)
    if not -12.0 <= zone <= 14.0:
        want = "want the hours from UTC, -12 to 14"
        raise Faults([WeatherFileFault(file, "time zone", zone, want, line=1)])
    return zone


def _placed(file: str, place: Sequence[str], at: int) -> float:
    try:
        return float(place[at])
    except (ValueError, IndexError) as error:
        told = place[at] if at < len(place) else "absent"
        want = "want station, place, time zone and height"
        fault = WeatherFileFault(file, f"field {at + 1}", told, want, line=1)
        raise Faults([fault]) from error
