"""Situations on a site in which one row of the book refuses, or lets go: made from the row.

What the row looks at is told the way people tell it: the job file, entries of the log, hours of a
forecast. Which band a value lies in is worked out here from the row's text alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import numpy as np

from rules.book_rows import Band, Condition, Row
from rules.quantities import computed, inputs_of, is_fact, weather_columns
from rules.units import UNITS, convert
from rules.words import site_quantities, words

NOW: Final = datetime(2026, 11, 9, 12, tzinfo=UTC)  # a Monday, 07:00 at the site
BACK_H, AHEAD_H = 96, 144
AGES: Final = {  # the work whose finish an age counts from
    "age_of_masonry": "lay_block", "age_of_grout": "place_grout",
    "age_of_concrete": "place_footing", "age_of_wall": "lay_block",
}  # fmt: skip
MILD: Final = {
    "air_temperature_c": 15.0, "dew_point_temperature_c": 6.0, "relative_humidity_pct": 55.0,
    "wind_speed_ms": 2.0, "wind_speed_of_gust_ms": 3.0, "precipitation_amount_mm": 0.0,
    "precipitation_probability_pct": 0.0, "cloud_area_fraction_pct": 40.0,
    "wind_from_direction_deg": 250.0, "snowfall_amount_mm": 0.0, "ice_accumulation_mm": 0.0,
    "thunderstorm_probability_pct": 0.0,
}  # fmt: skip
AIR_C: Final = (-35.0, -20.0, -8.0, -3.0, -1.0, 0.8, 3.0, 4.2, 8.0, 15.0, 27.0, 33.0, 39.0, 45.0)
WIND_MS: Final = (0.5, 3.0, 7.5, 12.0, 16.0, 25.0)
RAIN_MM: Final = (0.0, 0.3, 2.0, 8.0)
DAMP_PCT: Final = (15.0, 55.0, 90.0, 100.0)
READ_C: Final = (3.0, 8.0, 15.0, 30.0)
SLOPES: Final = (-0.05, 0.05)  # K an hour


@dataclass(frozen=True)
class Situation:
    """What is told: of the element, on the log, of work done before, and of the weather."""

    element: Mapping[str, Any] = field(default_factory=dict)
    entries: tuple[Mapping[str, Any], ...] = ()
    finished_h: Mapping[str, float] = field(default_factory=dict)  # work type: hours ago
    task: Mapping[str, Any] = field(default_factory=dict)
    columns: Mapping[str, float] = field(default_factory=dict)
    slope: float = 0.0
    on_hand: tuple[str, ...] = ()

    def and_(self, other: Situation) -> Situation:
        """Return both together."""
        return Situation(
            {**self.element, **other.element},
            (*self.entries, *other.entries),
            {**self.finished_h, **other.finished_h},
            {**self.task, **other.task},
            {**self.columns, **other.columns},
            self.slope or other.slope,
            (*self.on_hand, *other.on_hand),
        )

    def table(self) -> dict[str, np.ndarray]:
        """Return the columns by hour."""
        hours = np.arange(-BACK_H, AHEAD_H)
        made = {name: np.full(hours.size, v) for name, v in {**MILD, **self.columns}.items()}
        made["air_temperature_c"] = made["air_temperature_c"] + self.slope * hours
        if "dew_point_temperature_c" not in self.columns:
            made["dew_point_temperature_c"] = made["air_temperature_c"] - 9.0
        return made


def values_in(row: Row, band: Band) -> list[float]:
    """Return values that lie in a band, in the row's unit."""
    at = row.bands.index(band)
    low = row.bands[at - 1].up_to if at else None
    warm = row.unit and UNITS[row.unit][0] in {"temperature", "temperature difference"}
    return [v if warm else max(v, 0.0) for v in _between(low, band.up_to)]


def _between(low: float | None, high: float | None) -> list[float]:
    if low is not None and high is not None:
        return [(low + high) / 2, low + (high - low) / 10]
    if high is not None:
        return [high - max(abs(high) * part, 0.2) for part in (0.1, 0.9, 0.5)]
    if low is not None:
        return [low + max(abs(low) * part, 0.5) for part in (0.1, 1.0)]
    return [1.0]


def met(condition: Condition) -> list[float]:
    """Return values that meet a bound, in its unit."""
    low = condition.above if condition.above is not None else condition.at_least
    high = condition.below if condition.below is not None else condition.at_most
    return _between(low, high)


def told(what: str, value: Any, unit: str) -> Iterator[Situation]:
    """Yield the ways in which people tell a fact, a reading, an age or a size."""
    if what in AGES:
        yield Situation(finished_h={AGES[what]: float(convert(value, unit, "h"))})
    elif is_fact(what):
        yield from _as_fact(what, value, unit)
    elif what in site_quantities():
        own = site_quantities()[what].unit
        shown = bool(value) if own in {"yes_no", ""} else value
        yield Situation(entries=({
            "kind": "reading", "quantity": what, "value": shown, "unit": unit or own,
        },))  # fmt: skip


def _as_fact(what: str, value: Any, unit: str) -> Iterator[Situation]:
    element, _, key = what.partition(".")
    if element == "task":
        if key in {"load", "beside", "grouted"}:
            yield Situation(task={key: value})
            return
        kind = UNITS[unit][0] if unit else ""
        named = {"length": "in", "temperature": "f", "pressure": "psi"}.get(kind)
        if named is None:
            yield Situation(element={key: value})
        else:
            to = {"in": "in", "f": "degF", "psi": "psi"}[named]
            size = round(float(convert(value, unit, to)), 4)
            yield Situation(element={f"{key}_{named}": size})
        return
    names = [n for n, keys in words().elements.items() if key in keys] if element == "*" else []
    for name in names or [element]:
        entry = {"kind": "fact", "element": name, "condition": key, "value": value}
        yield Situation(entries=(entry | ({"unit": unit} if unit else {}),))


def of_condition(condition: Condition) -> list[Situation]:
    """Return ways to meet one condition."""
    if condition.is_ is not None:
        said = condition.is_ if isinstance(condition.is_, bool) else condition.is_[0]
        return list(told(condition.what, said, ""))
    found: list[Situation] = []
    for value in met(condition):
        if condition.what in weather_columns():
            found.append(_in_column(condition.what, value, condition.unit))
        else:
            found += told(condition.what, value, condition.unit)
    return found or [Situation()]


def _in_column(what: str, value: float, unit: str) -> Situation:
    column, own = weather_columns()[what]
    return Situation(columns={column: float(convert(value, unit, own))})


def of_band(row: Row, band: Band) -> list[Situation]:
    """Return ways to bring a row's quantity into a band."""
    if not row.quantity:
        return [Situation()]
    if band.is_ is not None or row.bands[0].is_ is not None:
        return list(told(row.quantity, _word(row, band), ""))
    if row.quantity in weather_columns() and not row.on_site:
        return _of_column(row, band)
    if computed(row.quantity) is not None:
        return _read_inputs(row)
    return [made for value in values_in(row, band) for made in told(row.quantity, value, row.unit)]


def _word(row: Row, band: Band) -> bool | str:
    if band.is_ is None:  # what no other band names
        return False if any(b.is_ is True for b in row.bands) else "other"
    return band.is_ if isinstance(band.is_, bool) else band.is_[0]


def _read_inputs(row: Row) -> list[Situation]:
    """Return readings of what a computed quantity takes from the site."""
    stems = [name.rpartition("_")[0] for name, _ in inputs_of(row.quantity)]
    read = [stem for stem in stems if stem in site_quantities()]
    found = [Situation()]
    for stem in read:
        if stem not in {"air_temperature", "wind_speed"}:
            found += [one for t in READ_C for one in told(stem, t, site_unit(stem, "degC"))]
    return found


def site_unit(stem: str, unit: str) -> str:
    """Return a unit where a quantity is of its kind, else the quantity's own."""
    own = site_quantities()[stem].unit
    return unit if UNITS[own][0] == UNITS[unit][0] else own


def _of_column(row: Row, band: Band) -> list[Situation]:
    found = []
    for value in values_in(row, band):
        shares = (1.0,) if row.taken_as != "sum" else (1.0, 1 / 4, 1 / 24, 1 / 48, 1 / 96)
        found += [_in_column(row.quantity, value * share, row.unit) for share in shares]
    return found


def situations(row: Row, band: Band | None) -> Iterator[Situation]:
    """Yield situations that may bring a row into a band, the likeliest first."""
    ways = [Situation()]
    for condition in row.when:
        ways = [way.and_(one) for way in ways for one in of_condition(condition)][:24]
    bands = [Situation()] if band is None else of_band(row, band)
    yield from (way.and_(one) for way in ways for one in bands)
    if reads_weather(row):
        for sky in skies():
            for way in ways[:2]:
                for one in bands[:1]:
                    made = way.and_(one)
                    yield replace(made, columns={**sky.columns}, slope=sky.slope)


def reads_weather(row: Row) -> bool:
    """Tell whether a row or a condition of it looks at the sky."""
    looked = [row.quantity, *(c.what for c in (*row.when, *row.unless))]
    return any(name in weather_columns() or inputs_of(name) for name in looked if name)


def skies() -> Iterator[Situation]:
    """Yield skies of every kind: cold and hot, calm and stormy, dry and wet, and changing."""
    for air in AIR_C:
        for wind in WIND_MS:
            for rain in RAIN_MM:
                for damp in DAMP_PCT:
                    columns = {
                        "air_temperature_c": air,
                        "dew_point_temperature_c": air - (100.0 - damp) / 5.0,
                        "relative_humidity_pct": damp,
                        "wind_speed_ms": wind,
                        "wind_speed_of_gust_ms": wind * 1.5,
                        "precipitation_amount_mm": rain,
                        "precipitation_probability_pct": 95.0 if rain else 0.0,
                    }
                    slope = SLOPES[(AIR_C.index(air) + WIND_MS.index(wind)) % 2]
                    yield Situation(columns=columns, slope=slope if damp == DAMP_PCT[0] else 0.0)


def hours_ago(hours: float) -> str:
    """Return a moment before now as people write it."""
    return (NOW - timedelta(hours=hours)).isoformat()
