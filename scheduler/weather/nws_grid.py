"""Gridpoint answers of the US National Weather Service, as raw layers of intervals.

Layers that the office does not fill come empty, without a unit, or not at all: three names of
"not forecast", and the table has no such column. A layer that is there but cannot be read, or
that holds null, gives gaps: nothing is ever taken as zero. Amounts usually end days before
temperatures do; from there on they are not known.

References
----------
api.weather.gov, gridpoint documentation and recorded answers of 2019 to 2026. Chance words:
NWS Instruction 10-503 (slight chance and isolated 20 %, chance and scattered 30 to 50 %, likely
and numerous 60 to 70 %, above that definite and the words of time and area), from memory; the
upper end of each class is taken.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Final, NamedTuple

import numpy as np

from rules.columns import columns
from rules.errors import OutOfRange
from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.tables.hours import Finding, Forecast, HourlyTable, Provenance
from scheduler.weather.intervals import (
    HOUR_S,
    MOST_HOURS,
    ByHour,
    Spans,
    amount_by_hour,
    instant,
    interval_s,
    repeats,
    state_by_hour,
)
from scheduler.weather.json_text import JsonDocument, Path
from scheduler.weather.screen import MOST_AT_ALL, MOST_IN_A_DAY, screened

SOURCE: Final = "nws"
AGE_LIMIT_H: Final = 12.0

LAYERS: Final = {  # layer: (house column, its unit)
    "temperature": ("air_temperature_c", "degC"),
    "dewpoint": ("dew_point_temperature_c", "degC"),
    "relativeHumidity": ("relative_humidity_pct", "%"),
    "windSpeed": ("wind_speed_ms", "m/s"),
    "windGust": ("wind_speed_of_gust_ms", "m/s"),
    "windDirection": ("wind_from_direction_deg", "degree"),
    "skyCover": ("cloud_area_fraction_pct", "%"),
    "probabilityOfPrecipitation": ("precipitation_probability_pct", "%"),
    "quantitativePrecipitation": ("precipitation_amount_mm", "mm"),
    "snowfallAmount": ("snowfall_amount_mm", "mm"),
    "iceAccumulation": ("ice_accumulation_mm", "mm"),
    "probabilityOfThunder": ("thunderstorm_probability_pct", "%"),
}
UNITS: Final = {  # what stands after the colon of a unit code: the house's unit
    "degC": "degC",
    "degF": "degF",
    "K": "K",
    "percent": "%",
    "m_s-1": "m/s",
    "km_h-1": "km/h",
    "mi_h-1": "mph",
    "kt": "kt",
    "degree_(angle)": "degree",
    "mm": "mm",
    "kg_m-2": "kg m-2",
    "cm": "cm",
    "m": "m",
    "in": "in",
}
UNIT_IS_UNDERSTOOD: Final = {"probabilityOfThunder": "%"}  # filled without a unit, always percent
WORST_IN_HOUR: Final = {  # an hour made of shorter intervals takes the largest of these
    "windGust": "max",
    "probabilityOfPrecipitation": "max",
    "probabilityOfThunder": "max",
}
THUNDER: Final = "thunderstorm_probability_pct"
THUNDER_CHANCE: Final = {
    "slight_chance": 20.0,
    "isolated": 20.0,
    "chance": 50.0,
    "scattered": 50.0,
    "likely": 70.0,
    "numerous": 70.0,
}


class Layer(NamedTuple):
    """One layer as read: its intervals in the column's unit."""

    name: str
    column: str
    spans: Spans


def looks_like_gridpoint(data: object) -> bool:
    """Tell whether a JSON value is a gridpoint answer, wrapped or bare."""
    inner = _properties(data)
    return any(isinstance(inner.get(name), dict) for name in (*LAYERS, "weather"))


def has_hours(data: object) -> bool:
    """Tell whether a gridpoint answer has values in any layer."""
    inner = _properties(data)
    layers = [inner.get(name) for name in (*LAYERS, "weather")]
    return any(isinstance(layer, dict) and bool(layer.get("values")) for layer in layers)


def read_gridpoint(document: JsonDocument) -> Forecast:
    """Return what a gridpoint answer forecasts; faults are noted in ``document``.

    A layer with a fault becomes a column of gaps, so whoever does not refuse a faulty file still
    sees nothing that was not said.
    """
    inner = _properties(document.data)
    base: Path = ("properties",) if inner is not document.data else ()
    layers = [
        layer
        for name in LAYERS
        if (layer := _layer(document, base, inner, name, _number)) is not None
    ]
    thunder = _layer(document, base, inner, "weather", _thunder)
    zero, hours = _extent(document, base, inner, [*layers, *([thunder] if thunder else [])])
    table, findings = _by_hour(document, base, layers, thunder, zero, hours)
    start = np.arange(zero, zero + hours).astype("datetime64[h]")
    kept, screening = screened(start, table)
    return Forecast(
        table=HourlyTable(start=start, columns=kept),
        provenance=_provenance(document, base, inner, (*findings, *screening)),
    )


def _properties(data: object) -> Mapping[str, object]:
    if not isinstance(data, dict):
        return {}
    inner = data.get("properties")
    return inner if isinstance(inner, dict) else data


def _layer(
    document: JsonDocument,
    base: Path,
    inner: Mapping[str, object],
    name: str,
    read: Callable[[object], float],
) -> Layer | None:
    """Read one layer; None where it is absent or empty."""
    layer = inner.get(name)
    if layer is None:
        return None
    path = (*base, name)
    if not isinstance(layer, dict):
        document.fault(path, layer, "want a layer with values")
        return Layer(name, _column(name), _no_spans())
    entries = layer.get("values")
    if entries is None or entries == []:
        return None
    if not isinstance(entries, list):
        document.fault((*path, "values"), entries, "want a list of intervals with values")
        return Layer(name, _column(name), _no_spans())
    rows = [
        row
        for i, entry in enumerate(entries)
        if (row := _entry(document, (*path, "values", i), entry, read)) is not None
    ]
    spans = _spans(rows)
    if name != "weather":
        spans = Spans(
            spans.start_s, spans.end_s, _converted(document, path, layer, name, spans.values)
        )
    return Layer(name, _column(name), spans)


def _entry(
    document: JsonDocument, path: Path, entry: object, read: Callable[[object], float]
) -> tuple[int, int, float] | None:
    if not isinstance(entry, dict) or not isinstance(entry.get("validTime"), str):
        document.fault(path, entry, "want an object with validTime and value")
        return None
    try:
        start, end = interval_s(entry["validTime"])
    except ValueError as error:
        document.fault((*path, "validTime"), entry["validTime"], str(error))
        return None
    if "value" not in entry:
        document.fault(path, entry, "has no value; null would be a gap")
        return start, end, math.nan
    try:
        return start, end, read(entry["value"])
    except ValueError as error:
        document.fault((*path, "value"), entry["value"], str(error))
        return start, end, math.nan


def _number(value: object) -> float:
    """Return a value as a number; some copies of answers hold numbers as strings."""
    if value is None:
        return math.nan
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError("want a number, or null for a gap")
    try:
        number = float(value) if "_" not in str(value) else math.nan
    except (ValueError, OverflowError) as error:
        raise ValueError("want a number, or null for a gap") from error
    if not math.isfinite(number):
        raise ValueError("want a finite number, or null for a gap")
    return number


def _thunder(value: object) -> float:
    """Return the chance of thunder that a list of weather words states, 0 where it has none."""
    if value is None:
        return math.nan
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise ValueError("want a list of weather, or null for a gap")
    chances = [
        THUNDER_CHANCE.get(str(item.get("coverage")), 100.0)
        for item in value
        if "thunder" in str(item.get("weather"))
    ]
    return max(chances, default=0.0)


def _converted(
    document: JsonDocument,
    path: Path,
    layer: Mapping[str, object],
    name: str,
    values: FloatArray,
) -> FloatArray:
    """Return values in the column's unit; all gaps, and a fault, where their unit is not known."""
    code = layer.get("uom", layer.get("unitCode"))
    if code is None and name in UNIT_IS_UNDERSTOOD:
        return values
    _, to = LAYERS[name]
    unit = UNITS.get(str(code).rpartition(":")[2]) if isinstance(code, str) else None
    try:
        if unit is not None:
            return np.asarray(convert(values, unit, to), dtype=np.float64)
    except OutOfRange:
        pass  # a unit of something else: told below like one that nobody knows
    want = f"want a unit of {name}, e.g. wmoUnit:{next(k for k, v in UNITS.items() if v == to)}"
    document.fault((*path, "uom") if code is not None else path, code, want)
    return np.full(values.shape, np.nan)


def _column(name: str) -> str:
    return THUNDER if name == "weather" else LAYERS[name][0]


def _spans(rows: list[tuple[int, int, float]]) -> Spans:
    return Spans(
        np.array([row[0] for row in rows], dtype=np.int64),
        np.array([row[1] for row in rows], dtype=np.int64),
        np.array([row[2] for row in rows], dtype=np.float64),
    )


def _no_spans() -> Spans:
    return _spans([])


def _extent(
    document: JsonDocument, base: Path, inner: Mapping[str, object], layers: list[Layer]
) -> tuple[int, int]:
    """Return the first hour since 1970 and the number of hours that anything is told for."""
    starts = [int(layer.spans.start_s.min()) for layer in layers if layer.spans.start_s.size]
    ends = [int(layer.spans.end_s.max()) for layer in layers if layer.spans.end_s.size]
    valid = inner.get("validTimes")
    if isinstance(valid, str):
        try:
            start, end = interval_s(valid)
            starts, ends = [*starts, start], [*ends, end]
        except ValueError as error:
            document.fault((*base, "validTimes"), valid, str(error))
    elif valid is not None:
        document.fault((*base, "validTimes"), valid, "want start/duration")
    if not starts:
        document.fault(base, sorted(inner)[:5], "want at least one layer with intervals")
        return 0, 0
    zero = min(starts) // HOUR_S
    hours = -(-max(ends) // HOUR_S) - zero
    if hours > MOST_HOURS:
        want = f"a forecast spans days, this one {hours / 24:.0f} days; mend the odd interval"
        document.fault(base, f"{hours} hours", want)
        return 0, 0
    return zero, hours


def _by_hour(
    document: JsonDocument,
    base: Path,
    layers: list[Layer],
    thunder: Layer | None,
    zero: int,
    hours: int,
) -> tuple[dict[str, FloatArray], list[Finding]]:
    table: dict[str, FloatArray] = {}
    findings: list[Finding] = []
    for layer in layers:
        table[layer.column], found = _laid_out(document, base, layer, zero, hours)
        findings += found
    if thunder is not None:
        said, found = _laid_out(document, base, thunder, zero, hours)
        findings += found
        chance = _in_percent(table.get(THUNDER))
        # Words may raise a stated chance; they never stand in for one that was lost.
        table[THUNDER] = (
            said if chance is None else np.where(np.isnan(chance), np.nan, np.fmax(chance, said))
        )
    return table, findings


def _in_percent(chance: FloatArray | None) -> FloatArray | None:
    """Return a chance with what is none as gaps, before words are laid beside it."""
    if chance is None:
        return None
    with np.errstate(invalid="ignore"):
        return np.where((chance >= 0.0) & (chance <= 100.0), chance, np.nan)


def _laid_out(
    document: JsonDocument, base: Path, layer: Layer, zero: int, hours: int
) -> tuple[FloatArray, list[Finding]]:
    findings: list[Finding] = []
    try:
        if columns()[layer.column].kind == "amount":
            told = amount_by_hour(_possible_amounts(layer, findings), zero, hours)
        else:
            worst = WORST_IN_HOUR.get(layer.name, "mean")
            told = state_by_hour(layer.spans, zero, hours, worst=worst)
    except ValueError as error:
        document.fault((*base, layer.name, "values"), layer.spans.values.size, str(error))
        told = ByHour(np.full(hours, np.nan), 0)
    if told.conflicts:
        what = f"{layer.name} tells two values for the same hour; neither is used"
        findings.append(Finding(layer.column, what, told.conflicts))
    again = repeats(layer.spans)
    if again:
        findings.append(Finding(layer.column, f"{layer.name} tells {again} intervals twice"))
    return told.values, findings


def _possible_amounts(layer: Layer, findings: list[Finding]) -> Spans:
    """Return the amounts with impossible totals as gaps; spread out, they might look possible."""
    spans = layer.spans
    days = np.maximum((spans.end_s - spans.start_s) / (24.0 * HOUR_S), 1.0)
    most = np.minimum(MOST_IN_A_DAY[layer.column] * days, MOST_AT_ALL[layer.column])
    with np.errstate(invalid="ignore"):
        wrong = (spans.values < 0.0) | (spans.values > most)
    if not wrong.any():
        return spans
    at = int(np.argmax(wrong))
    what = f"{layer.name} has {spans.values[at]:g} mm for {days[at] * 24:.0f} h; not used"
    findings.append(Finding(layer.column, what, int(wrong.sum())))
    return Spans(spans.start_s, spans.end_s, np.where(wrong, np.nan, spans.values))


def _provenance(
    document: JsonDocument,
    base: Path,
    inner: Mapping[str, object],
    findings: tuple[Finding, ...],
) -> Provenance:
    latitude, longitude = _middle(document.data)
    cell = (inner.get("gridX"), inner.get("gridY"))
    place = f"{inner.get('gridId') or 'cell'} {cell[0]},{cell[1]}" if None not in cell else ""
    return Provenance(
        source=SOURCE,
        issued_at=_issued(document, base, inner),
        fetched_at=None,
        age_limit_h=AGE_LIMIT_H,
        place=place,
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=_elevation(document, base, inner),
        identity=hashlib.sha256(document.text.encode()).hexdigest(),
        findings=findings,
    )


def _issued(document: JsonDocument, base: Path, inner: Mapping[str, object]) -> datetime | None:
    text = inner.get("updateTime")
    try:
        if isinstance(text, str):
            return instant(text)
    except ValueError as error:
        document.fault((*base, "updateTime"), text, str(error))
        return None
    document.fault((*base, "updateTime"), text, "want the moment of issue; age decides on trust")
    return None


def _elevation(document: JsonDocument, base: Path, inner: Mapping[str, object]) -> float | None:
    given = inner.get("elevation")
    if not isinstance(given, dict) or given.get("value") is None:
        return None
    unit = UNITS.get(str(given.get("unitCode")).rpartition(":")[2])
    try:
        return convert(_number(given["value"]), unit or "", "m")
    except (ValueError, OutOfRange):
        document.fault((*base, "elevation"), given, "want a height with its unit, e.g. wmoUnit:m")
        return None


def _middle(data: object) -> tuple[float | None, float | None]:
    """Return latitude and longitude of the cell's middle, None where no outline is given."""
    try:
        ring = data["geometry"]["coordinates"][0]  # type: ignore[index]
        corners = np.array(ring[:-1], dtype=np.float64)
        longitude, latitude = corners.mean(axis=0)
    except (KeyError, TypeError, ValueError, IndexError):
        return None, None
    within = abs(latitude) <= 90 and abs(longitude) <= 360
    return (float(latitude), float(longitude)) if within else (None, None)
