"""Period forecasts of the National Weather Service: hours and half days in rounded numbers.

They hold no rain amounts and no gusts, so nothing is planned on them. They serve as a second
telling of the same grid: where the two disagree, one of them was read wrongly or spoilt on the
way, and that is told. The chance of rain of a whole half day comes from here as well.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from rules.columns import columns
from rules.errors import OutOfRange
from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding, HourlyTable, PeriodChance
from scheduler.weather.intervals import HOUR_S, instant
from scheduler.weather.json_text import JsonDocument, Path
from scheduler.weather.nws_grid import UNITS

HOUR: Final = timedelta(hours=1)
LONGEST: Final = timedelta(hours=24)
# Both tell the same grid; a whole degree Fahrenheit rounds by 0.28 K, one of Celsius by 0.5 K.
SAME_K: Final = 1.0
SAME_PCT: Final = 25.0
_WIND: Final = re.compile(r"(?:(?P<low>\d{1,3}) to )?(?P<high>\d{1,3}) (?P<unit>mph|km/h|kt)")


@dataclass(frozen=True, slots=True)
class Period:
    """One period of a period forecast, SI, NaN where it does not say."""

    start: datetime  # UTC
    end: datetime  # UTC
    air_temperature_c: float  # of an hour; of a half day its high or low
    wind_speed_ms: float  # the upper end where a range is given
    precipitation_probability_pct: float
    dew_point_temperature_c: float
    relative_humidity_pct: float
    words: str  # as the service puts it


def read_periods(document: JsonDocument) -> tuple[Period, ...]:
    """Return the periods of an answer in order of time; faults are noted in ``document``."""
    data = document.data if isinstance(document.data, dict) else {}
    inner = data.get("properties")
    base: Path = ("properties",) if isinstance(inner, dict) else ()
    rows = (inner if isinstance(inner, dict) else data).get("periods")
    if not isinstance(rows, list):
        document.fault((*base, "periods"), rows, "want a list of periods")
        return ()
    read = (_period(document, (*base, "periods", i), row) for i, row in enumerate(rows))
    return tuple(sorted((p for p in read if p is not None), key=lambda p: p.start))


def chances(periods: Sequence[Period]) -> tuple[PeriodChance, ...]:
    """Return the chance of rain of each period that states one."""
    return tuple(
        PeriodChance(p.start, p.end, p.precipitation_probability_pct)
        for p in periods
        if not math.isnan(p.precipitation_probability_pct)
    )


def disagreement(table: HourlyTable, periods: Sequence[Period]) -> tuple[Finding, ...]:
    """Compare the hours of a table with hourly periods of the same grid; tell where they differ.

    Periods longer than an hour are left out; so are hours that either does not tell.
    """
    hourly = [p for p in periods if p.end - p.start == HOUR]
    at = np.array([int(p.start.timestamp()) // HOUR_S for p in hourly], dtype=np.int64)
    place = at - (int(table.start[0].astype(np.int64)) if table.hours else 0)
    inside = (place >= 0) & (place < table.hours)
    found = []
    for column, same in (
        ("air_temperature_c", SAME_K),
        ("dew_point_temperature_c", SAME_K),
        ("precipitation_probability_pct", SAME_PCT),
    ):
        told = np.array([getattr(p, column) for p in hourly], dtype=np.float64)[inside]
        ours = table.column(column)[place[inside]]
        found += _differ(table, column, place[inside], ours, told, same)
    return tuple(found)


def _differ(
    table: HourlyTable,
    column: str,
    place: np.ndarray,
    ours: FloatArray,
    told: FloatArray,
    same: float,
) -> list[Finding]:
    with np.errstate(invalid="ignore"):
        apart = np.abs(ours - told)
        far = apart > same
    if not far.any():
        return []
    worst = int(np.nanargmax(apart))
    what = (
        f"the hourly answer says {told[worst]:.1f} at {table.start[place[worst]]}Z, "
        f"the grid {ours[worst]:.1f}"
    )
    return [Finding(column, what, int(far.sum()))]


def _period(document: JsonDocument, path: Path, row: object) -> Period | None:
    if not isinstance(row, dict):
        document.fault(path, row, "want an object with startTime and endTime")
        return None
    moments = [_moment(document, (*path, key), row.get(key)) for key in ("startTime", "endTime")]
    start, end = moments
    if start is None or end is None:
        return None
    if not timedelta(0) < end - start <= LONGEST:
        document.fault((*path, "endTime"), row.get("endTime"), "want an end within a day of start")
        return None
    temperature = _quantity(
        document, (*path, "temperature"), row, "temperature", "degC", row.get("temperatureUnit")
    )
    return Period(
        start=start,
        end=end,
        air_temperature_c=_possible(document, path, "air_temperature_c", temperature),
        wind_speed_ms=_wind(document, (*path, "windSpeed"), row.get("windSpeed")),
        precipitation_probability_pct=_quantity(
            document, path, row, "probabilityOfPrecipitation", "%"
        ),
        dew_point_temperature_c=_quantity(document, path, row, "dewpoint", "degC"),
        relative_humidity_pct=_quantity(document, path, row, "relativeHumidity", "%"),
        words=str(row.get("shortForecast") or ""),
    )


def _moment(document: JsonDocument, path: Path, value: object) -> datetime | None:
    try:
        if isinstance(value, str):
            return instant(value)
        document.fault(path, value, "want a moment with its offset")
    except ValueError as error:
        document.fault(path, value, str(error))
    return None


def _quantity(
    document: JsonDocument,
    path: Path,
    row: Mapping[str, object],
    key: str,
    to: str,
    unit: object = None,
) -> float:
    """Return a value given as a number with a unit beside it, or as an object with both."""
    given = row.get(key)
    if isinstance(given, dict):
        unit, given = given.get("unitCode"), given.get("value")
    if given is None:
        return math.nan
    code = str(unit).rpartition(":")[2]
    known = {"F": "degF", "C": "degC"}.get(code) or UNITS.get(code)
    try:
        number = float(given) if isinstance(given, int | float | str) else math.nan
        if known is None or isinstance(given, bool) or not math.isfinite(number):
            raise ValueError
        return convert(number, known, to)
    except (ValueError, OutOfRange):
        document.fault((*path, key), row.get(key), f"want a number with a unit such as {to}")
        return math.nan


def _possible(document: JsonDocument, path: Path, column: str, value: float) -> float:
    of = columns()[column]
    if of.low <= value <= of.high or math.isnan(value):
        return value
    document.fault(path, f"{value:.1f}", f"want {column} from {of.low:g} to {of.high:g}")
    return math.nan


def _wind(document: JsonDocument, path: Path, value: object) -> float:
    """Return the upper end of ``5 to 10 mph`` in m/s."""
    if value is None:
        return math.nan
    if isinstance(value, dict):
        upper = value.get("maxValue", value.get("value"))
        row = {"windSpeed": {"unitCode": value.get("unitCode"), "value": upper}}
        return _quantity(document, path[:-1], row, "windSpeed", "m/s")
    found = _WIND.fullmatch(value.strip()) if isinstance(value, str) else None
    if found is None:
        document.fault(path, value, "want a speed such as 5 to 10 mph")
        return math.nan
    return convert(float(found["high"]), found["unit"], "m/s")
