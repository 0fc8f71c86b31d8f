"""The house weather file, ``closein-weather/1``: a forecast or a record as JSON.

``hours`` holds a start, a step and columns; ``periods``, ``daily`` and ``alerts`` what does not
fit into hours; ``ensemble``, ``climate``, ``source_status`` and ``forecast_check`` are handed on
as they are. Columns go by their CF name with a ``unit``, or by their house name, which says it.
A list has one value for each step and ``null`` for a gap; one number stands for all steps.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from datetime import date, datetime
from difflib import get_close_matches
from typing import Final

import numpy as np

from rules.columns import Column, columns
from rules.errors import OutOfRange
from rules.units import UNITS, convert
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import (
    Alert,
    DailyRow,
    Finding,
    Forecast,
    HourlyTable,
    PeriodChance,
    Provenance,
)
from scheduler.weather.intervals import HOUR_S, Spans, amount_by_hour, instant, state_by_hour
from scheduler.weather.json_text import JsonDocument, Path
from scheduler.weather.screen import screened

FORMAT: Final = "closein-weather/1"
MOST_HOURS: Final = 24 * 366 * 3  # a record of observations may be longer than a forecast
TOP_KEYS: Final = (
    "format", "source", "issued_at", "age_limit_h", "wind_height_m", "station", "latitude",
    "longitude", "elevation_m", "hours", "periods", "daily", "alerts",
)  # fmt: skip
PLAIN: Final = {  # numbers about the whole file, and what can be meant
    "age_limit_h": (0.0, 240.0),
    "wind_height_m": (0.5, 200.0),
    "latitude": (-90.0, 90.0),
    "longitude": (-180.0, 360.0),
    "elevation_m": (-450.0, 9000.0),
}
EXTRAS: Final = ("ensemble", "climate", "source_status", "forecast_check")
HOURS_KEYS: Final = ("start", "step_h", "hours", "columns")
WORST_IN_HOUR: Final = (
    "wind_speed_of_gust_ms", "precipitation_probability_pct", "thunderstorm_probability_pct",
)  # fmt: skip
DAILY_SUFFIX: Final = {  # kind of value: ending of its house name, and the unit that says
    "temperature": ("_c", "degC"),
    "speed": ("_ms", "m/s"),
    "length": ("_mm", "mm"),
    "share": ("_pct", "%"),
}


def is_house_json(data: object) -> bool:
    """Tell whether a JSON value bears the house's format mark, of any version."""
    return isinstance(data, dict) and str(data.get("format", "")).startswith("closein-weather/")


def read_house_json(document: JsonDocument) -> Forecast:
    """Return what the file holds; faults are noted in ``document``."""
    data = document.data
    if not isinstance(data, dict):
        document.fault((), data, "want an object")
        data = {}
    if data.get("format") != FORMAT:
        document.fault(("format",), data.get("format"), f"want {FORMAT!r}")
    _known_keys(document, (), data, (*TOP_KEYS, *EXTRAS))
    if not any(data.get(key) is not None for key in ("hours", "daily", "alerts", *EXTRAS)):
        document.fault((), "no weather", "want hours, daily or alerts")
    start, given = _hours(document, data.get("hours"))
    kept, findings = screened(start, given)
    return Forecast(
        table=HourlyTable(start=start, columns=kept),
        provenance=_provenance(document, data, findings),
        periods=tuple(_periods(document, data.get("periods"))),
        daily=tuple(_daily(document, data.get("daily"))),
        alerts=_alerts(document, data.get("alerts")) if "alerts" in data else None,
        extras={key: _rows(document, (key,), data[key]) for key in EXTRAS if key in data},
    )


def _known_keys(
    document: JsonDocument, path: Path, given: Mapping[str, object], known: tuple[str, ...]
) -> None:
    for key in given:
        if key not in known:
            near = get_close_matches(key, known, n=1)
            want = f"no such key; {near[0]!r} perhaps?" if near else f"want {', '.join(known)}"
            document.fault((*path, key), key, want)


def _provenance(
    document: JsonDocument, data: Mapping[str, object], findings: tuple[Finding, ...]
) -> Provenance:
    plain = {
        key: _number(document, (key,), data[key]) for key in PLAIN if data.get(key) is not None
    }
    for key, value in plain.items():
        low, high = PLAIN[key]
        if not low <= value <= high and not math.isnan(value):
            document.fault((key,), value, f"want {low:g} to {high:g}")
    return Provenance(
        source=_text(document, data, "source") or "file",
        issued_at=_moment(document, ("issued_at",), data.get("issued_at")),
        fetched_at=None,
        age_limit_h=plain.get("age_limit_h", 12.0),
        place=_text(document, data, "station"),
        latitude_deg=plain.get("latitude"),
        longitude_deg=plain.get("longitude"),
        elevation_m=plain.get("elevation_m"),
        wind_height_m=plain.get("wind_height_m", 10.0),
        identity=hashlib.sha256(document.text.encode()).hexdigest(),
        findings=findings,
    )


def _hours(document: JsonDocument, hours: object) -> tuple[np.ndarray, dict[str, FloatArray]]:
    """Return the beginnings of the hours and the columns, both empty where there are none."""
    nothing = np.array([], dtype="datetime64[h]")
    if hours is None:
        return nothing, {}
    path: Path = ("hours",)
    if not isinstance(hours, dict):
        document.fault(path, hours, "want an object with start, step_h and columns")
        return nothing, {}
    _known_keys(document, path, hours, HOURS_KEYS)
    start = _moment(document, (*path, "start"), hours.get("start"), must=True)
    step = _number(document, (*path, "step_h"), hours.get("step_h", 1))
    given = hours.get("columns")
    if not isinstance(given, dict) or not given:
        document.fault((*path, "columns"), given, "want columns by name")
        return nothing, {}
    if not (math.isfinite(step) and 1 / 60 <= step <= 24):
        document.fault((*path, "step_h"), hours.get("step_h"), "want hours, up to 24")
        return nothing, {}
    steps = _steps(document, hours, given)
    if start is None or not steps or steps * step > MOST_HOURS:
        if steps * step > MOST_HOURS:
            document.fault(path, f"{steps} steps", f"want at most {MOST_HOURS} hours")
        return nothing, {}
    return _laid_out(document, start, round(step * HOUR_S), steps, given)


def _steps(
    document: JsonDocument, hours: Mapping[str, object], given: Mapping[str, object]
) -> int:
    """Return the number of steps: as stated, else the length of the first list."""
    stated = hours.get("hours")
    if stated is not None and (isinstance(stated, bool) or not isinstance(stated, int)):
        document.fault(("hours", "hours"), stated, "want a whole number of steps")
        stated = None
    lengths = {name: len(v) for name, c in given.items() if isinstance(v := _values(c), list)}
    if stated is None and not lengths:
        document.fault(("hours",), "no list", "state 'hours', since every column is one number")
        return 0
    steps = int(stated) if isinstance(stated, int) else next(iter(lengths.values()))
    if steps <= 0:
        document.fault(("hours",), f"{steps} steps", "want at least one step")
        return 0
    for name, length in lengths.items():
        if length != steps:
            want = f"want {steps} values as the others have; null for a gap"
            document.fault(("hours", "columns", name), f"{length} values", want)
    return steps


def _values(column: object) -> object:
    return column.get("values") if isinstance(column, dict) else None


def _laid_out(
    document: JsonDocument,
    start: datetime,
    step_s: int,
    steps: int,
    given: Mapping[str, object],
) -> tuple[np.ndarray, dict[str, FloatArray]]:
    begin = int(start.timestamp()) + step_s * np.arange(steps, dtype=np.int64)
    zero = int(begin[0]) // HOUR_S
    hours = -(-(int(begin[-1]) + step_s) // HOUR_S) - zero
    table: dict[str, FloatArray] = {}
    for name, column in given.items():
        path = ("hours", "columns", name)
        found = _house_column(document, path, name, column)
        if found is None:
            continue
        house, unit = found
        values = _list(document, (*path, "values"), _values(column), steps)
        spans = Spans(begin, begin + step_s, _in_house_unit(document, path, values, unit, house))
        if house.name in table:
            document.fault(path, name, f"{house.name} is given twice")
        elif house.kind == "amount":
            table[house.name] = amount_by_hour(spans, zero, hours).values
        else:
            worst = "max" if house.name in WORST_IN_HOUR else "mean"
            table[house.name] = state_by_hour(spans, zero, hours, worst=worst).values
    return np.arange(zero, zero + hours).astype("datetime64[h]"), table


def _house_column(
    document: JsonDocument, path: Path, name: str, column: object
) -> tuple[Column, str] | None:
    """Return the house column and the unit its values are in."""
    if not isinstance(column, dict):
        document.fault(path, column, "want an object with unit and values")
        return None
    _known_keys(document, path, column, ("unit", "values"))
    found = column_named(name)
    if found is None:
        document.fault(path, name, unknown_column(name))
        return None
    unit = column.get("unit")
    if unit is None and name == found.name:
        return found, found.cf_unit
    if not isinstance(unit, str):
        document.fault((*path, "unit"), unit, f"want a unit, e.g. {found.cf_unit!r}")
        return None
    return found, unit


def column_named(name: str) -> Column | None:
    """Return the house column of that house or CF name."""
    known = columns()
    if name in known:
        return known[name]
    return next((column for column in known.values() if column.cf == name), None)


def unknown_column(name: str) -> str:
    """Return what a person should write instead of a column name nobody knows."""
    names = [*columns(), *(column.cf for column in columns().values())]
    near = get_close_matches(name, names, n=1)
    return f"no such column; {near[0]!r} perhaps?" if near else "no such weather column"


def _in_house_unit(
    document: JsonDocument, path: Path, values: FloatArray, unit: str, house: Column
) -> FloatArray:
    try:
        return np.asarray(convert(values, unit, house.cf_unit), dtype=np.float64)
    except OutOfRange:
        kind = UNITS[house.cf_unit][0]
        fit = ", ".join(name for name, row in UNITS.items() if row[0] == kind)
        document.fault((*path, "unit"), unit, f"want a unit of {kind}: {fit}")
        return np.full(values.shape, np.nan)


def _list(document: JsonDocument, path: Path, values: object, steps: int) -> FloatArray:
    """Return one value for each step, NaN for null and for what is no number."""
    if not isinstance(values, list):
        return np.full(steps, _number(document, path, values))
    kept = np.full(steps, np.nan)
    for i, value in enumerate(values[:steps]):
        if value is not None:
            kept[i] = _number(document, (*path, i), value)
    return kept


def _number(document: JsonDocument, path: Path, value: object) -> float:
    """Return a number; NaN, and a fault, for anything else."""
    if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e300:
        return float(value)
    document.fault(path, value, "want a number, or null for a gap in a list")
    return math.nan


def _text(document: JsonDocument, data: Mapping[str, object], key: str) -> str:
    value = data.get(key, "")
    if value is None or isinstance(value, str):
        return value or ""
    document.fault((key,), value, "want a text")
    return ""


def _moment(
    document: JsonDocument, path: Path, value: object, *, must: bool = False
) -> datetime | None:
    if value is None and not must:
        return None
    try:
        if isinstance(value, str):
            return instant(value)
        document.fault(path, value, "want a moment, e.g. 2026-11-09T05:00-05:00")
    except ValueError as error:
        document.fault(path, value, str(error))
    return None


def _rows(document: JsonDocument, path: Path, value: object) -> tuple[Mapping[str, object], ...]:
    """Return the objects of a list; a fault for each that is none."""
    if value is None:
        return ()
    if not isinstance(value, list):
        document.fault(path, value, "want a list of objects")
        return ()
    for i, row in enumerate(value):
        if not isinstance(row, dict):
            document.fault((*path, i), row, "want an object")
    return tuple(row for row in value if isinstance(row, dict))


def _periods(document: JsonDocument, value: object) -> list[PeriodChance]:
    kept = []
    for i, row in enumerate(_rows(document, ("periods",), value)):
        path: Path = ("periods", i)
        _known_keys(document, path, row, ("from", "until", "precipitation_probability"))
        start = _moment(document, (*path, "from"), row.get("from"), must=True)
        end = _moment(document, (*path, "until"), row.get("until"), must=True)
        where = (*path, "precipitation_probability")
        chance = _number(document, where, row.get("precipitation_probability"))
        if not 0 <= chance <= 100 and not math.isnan(chance):
            document.fault(where, chance, "want 0 to 100, in percent")
        elif start is not None and end is not None and end <= start:
            document.fault((*path, "until"), row["until"], "want an end after the start")
        elif start is not None and end is not None:
            kept.append(PeriodChance(start, end, chance))
    return kept


def _alerts(document: JsonDocument, value: object) -> tuple[Alert, ...] | None:
    if value is None:
        return None  # nobody asked, or nobody answered
    kept = []
    for i, row in enumerate(_rows(document, ("alerts",), value)):
        path: Path = ("alerts", i)
        _known_keys(document, path, row, ("event", "from", "until", "headline", "source"))
        kept.append(
            Alert(
                event=str(row.get("event") or "unnamed warning"),
                start=_moment(document, (*path, "from"), row.get("from")),
                end=_moment(document, (*path, "until"), row.get("until")),
                headline=str(row.get("headline") or ""),
                source=str(row.get("source") or ""),
            )
        )
    return tuple(kept)


def _daily(document: JsonDocument, value: object) -> list[DailyRow]:
    kept = []
    for i, row in enumerate(_rows(document, ("daily",), value)):
        path: Path = ("daily", i)
        day = row.get("date")
        try:
            named = date.fromisoformat(str(day)).isoformat()
        except ValueError:
            document.fault((*path, "date"), day, "want a day, e.g. 2026-11-17")
            continue
        kept.append(_daily_row(document, path, named, row))
    return kept


def _daily_row(
    document: JsonDocument, path: Path, day: str, row: Mapping[str, object]
) -> DailyRow:
    """Sort what a day's row says into values with a unit, moments, and yes or no."""
    values: dict[str, float] = {}
    moments: dict[str, datetime | None] = {}
    flags: dict[str, bool] = {}
    for key, given in row.items():
        if key == "date":
            continue
        if key.endswith(("_from", "_until")):
            moments[key] = _moment(document, (*path, key), given)
        elif isinstance(given, bool):
            flags[key] = given
        else:
            name, value = _daily_value(document, (*path, key), key, given)
            values[name] = value
    return DailyRow(date=day, values=values, moments=moments, flags=flags)


def _daily_value(document: JsonDocument, path: Path, key: str, given: object) -> tuple[str, float]:
    """Return the house name of a daily value and the value, NaN for null."""
    if not isinstance(given, dict):
        number = math.nan if given is None else _number(document, path, given)
        if given is not None and not key.endswith(tuple(end for end, _ in DAILY_SUFFIX.values())):
            document.fault(path, given, "want an object with unit and value")
        return key, number
    value = given.get("value")
    number = math.nan if value is None else _number(document, (*path, "value"), value)
    unit = str(given.get("unit"))
    dimension = UNITS.get(unit, ("", 0.0, 0.0))[0]
    if dimension not in DAILY_SUFFIX:
        document.fault((*path, "unit"), given.get("unit"), f"want one of {', '.join(UNITS)}")
        return key, math.nan
    ending, house = DAILY_SUFFIX[dimension]
    return f"{key}{ending}", convert(number, unit, house)
