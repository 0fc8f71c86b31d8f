"""Weather from now to the season's end, many times: forecast first, a past year after.

Every scenario is one hourly trace: the forecast with an error that grows with lead time, led over
a day and a half into the weather of one past year at the same place and season. An ensemble's
members are used as they are. Each scenario draws from its own random stream, so that scenario 17
of a seed is the same whether 20 or 600 are asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.columns import columns
from rules.verdict import FloatArray
from scheduler.planning.forecast import forecast_rain
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.forecast_error import KNOTS, LONGEST_LEAD_H, SIZES, errors
from scheduler.planning.forecast.forecast_rain import below
from scheduler.planning.tables.hours import HourArray, HourlyTable

FORECAST, BLENDED, CLIMATE, UNKNOWN = np.int8(0), np.int8(1), np.int8(2), np.int8(3)
FADE_H: Final = 36  # the forecast is led into the climate over its last hours (assumption)
LONGEST_BRIDGE_H: Final = 3  # a shorter gap of a past year is bridged straight, and said
# Under so many past years nothing is stated as a share or by a share: of n years the earliest is
# undercut by one more with chance 1 / (n + 1), a tenth with nine (David and Nagaraja, Order
# Statistics, section 7).
FEWEST_YEARS: Final = 9
TEMPERATURE: Final = "air_temperature_c"
RAIN: Final = "precipitation_amount_mm"
CHANCE: Final = "precipitation_probability_pct"
GUST_PER_WIND: Final = 1.5  # a gust errs this much more than the mean wind; common practice
# Columns that err as another one does.
ERRS_LIKE: Final = {
    "dew_point_temperature_c": TEMPERATURE,
    "wind_speed_of_gust_ms": "wind_speed_ms",
}
# Columns that are not states on a line: no mean of two of them means anything.
SWITCHED: Final = frozenset({"wind_from_direction_deg"})

OriginArray = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Scenarios:
    """Hourly traces from now on, and what stands behind each hour of them."""

    table: HourlyTable  # columns (scenarios, hours)
    origin: Mapping[str, OriginArray]  # by column, (hours,): forecast, blended, climate, unknown
    year: NDArray[np.int64]  # (scenarios,) past year of each; -1 where there is none
    forecast: HourlyTable  # the forecast itself from now on, NaN past its end
    past: HourlyTable | None  # the whole past years on the same hours, (years, hours)
    seed: int
    notes: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """Return the number of scenarios."""
        return int(self.year.size)

    @property
    def years(self) -> int:
        """Return how many different past years stand behind the scenarios."""
        return int(np.unique(self.year[self.year >= 0]).size)

    @property
    def carries_shares(self) -> bool:
        """Tell whether the past years are enough to state shares, and days by share, at all."""
        return self.years >= FEWEST_YEARS

    def counted(self, good: NDArray[np.bool_]) -> tuple[float | None, int | None]:
        """Return how often something is so: as a share, or in how many past years.

        Parameters
        ----------
        good : (scenarios,) or (1,)

        Returns
        -------
        share, years : float or None, int or None
            The share of scenarios where the past years carry one; else in how many of the years
            most scenarios have it, None without past years.
        """
        each = np.broadcast_to(good, self.year.shape)
        if self.carries_shares:
            return float(each.mean()), None
        found = np.unique(self.year[self.year >= 0])
        years = sum(bool(each[self.year == year].mean() > 0.5) for year in found)
        return None, years if found.size else None

    def first(self, count: int) -> Scenarios:
        """Return the first so many scenarios."""
        columns = {name: values[:count] for name, values in self.table.columns.items()}
        return replace(self, table=HourlyTable(self.table.start, columns), year=self.year[:count])

    def climate_from(self, column: str = TEMPERATURE) -> int:
        """Return the first hour in which a column leans on past years; the end where none."""
        leans = np.flatnonzero(self.origin[column] != FORECAST)
        return int(leans[0]) if leans.size else int(self.table.hours)


def few_years(years: int) -> str:
    """Return what is said where past years are too few for shares."""
    return f"{years} past years carry no percentages; from {FEWEST_YEARS} on they are told"


def scenarios(
    *,
    forecast: HourlyTable,
    climate: ClimateYears | None,
    now: datetime,
    until: datetime,
    seed: int,
    count: int,
    longitude_deg: float = 0.0,
) -> Scenarios:
    """Make ``count`` hourly traces from ``now`` up to ``until``.

    Parameters
    ----------
    forecast : HourlyTable
        One forecast ``(hours,)`` or an ensemble ``(members, hours)``; hours before now are cut.
    climate : ClimateYears or None
        Past years. None: hours past the forecast stay NaN, and a note says so.
    now, until : datetime
        UTC; the hour of ``now`` is the first, the hour of ``until`` is not in it.
    seed : int
        Same seed, same inputs, same traces.
    count : int
        Traces to make.
    longitude_deg : number
        Of the site, for the solar hour at which highs and lows lie. [degrees east]

    Returns
    -------
    Scenarios
        Columns that the forecast or the climate has, ``(count, hours)``.
    """
    start = _hours_between(now, until)
    ahead = _from_now(forecast, start)
    years, notes = _whole_years(climate, now, start.size)
    draws = _Draws.of(seed, count)
    names = [
        n
        for n in columns()
        if n == TEMPERATURE or n in ahead.columns or (years and n in years.columns)
    ]
    solar = (now.hour + longitude_deg / 15.0) % 24.0
    shifts = _shared_errors(ahead, draws, solar)
    made: dict[str, FloatArray] = {}
    origin: dict[str, OriginArray] = {}
    for name in names:
        led = _perturbed(name, ahead, shifts, draws, now.hour, years)
        rows = years.columns[name] if years and name in years.columns else None
        made[name], origin[name] = _led_over(name, led, rows, draws)
    if RAIN in made:
        made[CHANCE], origin[CHANCE] = _certain(made[RAIN], now.hour), origin[RAIN]
    table = HourlyTable(start=start, columns=_consistent(made))
    row = years.years[np.arange(count) % years.years.size] if years else np.full(count, -1)
    past = HourlyTable(start=start, columns=years.columns) if years else None
    return Scenarios(table, origin, row, ahead, past, seed, tuple(notes))


@dataclass(frozen=True, slots=True)
class _Years:
    """Whole past years cut to the hours that are planned."""

    years: NDArray[np.int64]
    columns: Mapping[str, FloatArray]  # (years, hours)


@dataclass(frozen=True, slots=True)
class _Draws:
    """Independent standard normals of every scenario, cut into their uses."""

    SIZE = 3 * KNOTS + 3 * forecast_rain.BLOCKS + 1
    normals: FloatArray  # (scenarios, SIZE)

    @classmethod
    def of(cls, seed: int, count: int) -> _Draws:
        streams = np.random.SeedSequence(seed).spawn(count)
        rows = [np.random.default_rng(s).standard_normal(cls.SIZE) for s in streams]
        return cls(np.array(rows).reshape(count, cls.SIZE))

    @property
    def count(self) -> int:
        return int(self.normals.shape[0])

    def knots(self, place: int) -> FloatArray:
        return self.normals[:, place * KNOTS : (place + 1) * KNOTS]

    def blocks(self, place: int) -> FloatArray:
        first = 3 * KNOTS + place * forecast_rain.BLOCKS
        return self.normals[:, first : first + forecast_rain.BLOCKS]

    @property
    def switch(self) -> FloatArray:
        """Return where in the fade a scenario changes over, 0 to 1."""
        return below(self.normals[:, -1])


def _hours_between(now: datetime, until: datetime) -> HourArray:
    if now.tzinfo is None or until.tzinfo is None:
        raise ValueError("now and until need a zone")
    if until <= now:
        raise ValueError("the season ends before now")
    first = np.datetime64(int(now.timestamp() // 3600), "h")
    last = np.datetime64(int(-(-until.timestamp() // 3600)), "h")
    return np.arange(first, last, dtype="datetime64[h]")


def _from_now(forecast: HourlyTable, start: HourArray) -> HourlyTable:
    """Return the forecast on the planned hours, NaN where it says nothing."""
    if forecast.hours == 0:
        return HourlyTable(start=start, columns={})
    offset = int((start[0] - forecast.start[0]).astype(np.int64))
    source = np.arange(start.size) + offset
    inside = (source >= 0) & (source < forecast.hours)
    cut = {}
    for name, values in forecast.columns.items():
        if np.isfinite(values[..., source[inside]]).any():
            cut[name] = np.full((*values.shape[:-1], start.size), np.nan)
            cut[name][..., inside] = values[..., source[inside]]
    return HourlyTable(start=start, columns=cut)


def _whole_years(
    climate: ClimateYears | None, now: datetime, hours: int
) -> tuple[_Years | None, list[str]]:
    """Return years with whole temperatures over the planned hours, and what was left out."""
    if climate is None:
        return None, ["no past years: nothing is known past the forecast"]
    offset = int((now.timestamp() - climate.start.timestamp()) // 3600)
    source = np.arange(hours) + offset
    inside = (source >= 0) & (source < climate.hours)
    cut = {}
    for name, values in climate.columns.items():
        cut[name] = np.full((values.shape[0], hours), np.nan)
        cut[name][:, inside] = values[:, source[inside]]
    if TEMPERATURE not in cut:
        return None, [f"{climate.station}: no temperatures, so no past years"]
    notes = []
    cut[TEMPERATURE], bridged = _bridged(cut[TEMPERATURE])
    whole = np.isfinite(cut[TEMPERATURE][:, inside]).all(axis=1) & inside.any()
    year = np.asarray(climate.years, dtype=np.int64)
    own = year == now.year
    if bridged:
        notes.append(f"{climate.station}: {bridged} single hours bridged in past years")
    if (~whole).any():
        notes.append(f"{climate.station}: {int((~whole).sum())} years have gaps and are left out")
    if (own & whole).any():
        notes.append(f"{climate.station}: the year that is planned is left out")
    keep = whole & ~own
    if not keep.any():
        return None, [*notes, f"{climate.station}: no whole past year for this season"]
    if not inside.all():
        notes.append(f"{climate.station}: past years end before the season does")
    return _Years(year[keep], {n: v[keep] for n, v in cut.items()}), notes


def _bridged(values: FloatArray) -> tuple[FloatArray, int]:
    """Bridge gaps of up to ``LONGEST_BRIDGE_H`` hours straight; return how many hours."""
    gap = np.isnan(values)
    if not gap.any():
        return values, 0
    hour = np.arange(values.shape[1])
    before = np.maximum.accumulate(np.where(gap, -1, hour), axis=1)
    after = np.minimum.accumulate(np.where(gap, values.shape[1], hour)[:, ::-1], axis=1)[:, ::-1]
    short = gap & (before >= 0) & (after < values.shape[1])
    short &= after - before - 1 <= LONGEST_BRIDGE_H
    row, column = np.nonzero(short)
    left, right = before[row, column], after[row, column]
    share = (column - left) / (right - left)
    out = values.copy()
    out[row, column] = (1.0 - share) * values[row, left] + share * values[row, right]
    return out, int(short.sum())


def _shared_errors(ahead: HourlyTable, draws: _Draws, solar: float) -> dict[str, FloatArray]:
    """Return the errors of the columns that have a published size, ``(scenarios, hours)``."""
    hours = max((_known_hours(values) for values in ahead.columns.values()), default=0)
    if hours == 0:
        return {}
    wanted = {ERRS_LIKE.get(name, name) for name in ahead.columns}
    return {
        name: errors(name, draws.knots(place), solar, hours)
        for place, name in enumerate(SIZES)
        if name in wanted
    }


def _perturbed(
    name: str,
    ahead: HourlyTable,
    shifts: Mapping[str, FloatArray],
    draws: _Draws,
    utc_hour: int,
    years: _Years | None,
) -> FloatArray:
    """Return a column's forecast for each scenario, with its error; NaN past its end."""
    if name not in ahead.columns:
        return np.full((draws.count, ahead.hours), np.nan)
    values = ahead.columns[name]
    if values.ndim > 1:  # an ensemble carries its own spread
        members: FloatArray = values[np.arange(draws.count) % values.shape[0]]
        return members
    if name == RAIN:
        return _rain(ahead, draws, utc_hour, years)
    error = shifts.get(ERRS_LIKE.get(name, name))
    led = np.broadcast_to(values, (draws.count, values.size)).copy()
    if error is None:
        return led
    factor = GUST_PER_WIND if name == "wind_speed_of_gust_ms" else 1.0
    led[:, : error.shape[1]] += factor * error
    column = columns()[name]
    return np.abs(led) if column.low == 0.0 and name != "relative_humidity_pct" else led


def _rain(ahead: HourlyTable, draws: _Draws, utc_hour: int, years: _Years | None) -> FloatArray:
    known = min(_known_hours(ahead.columns[RAIN]), int(LONGEST_LEAD_H))
    led = np.full((draws.count, ahead.hours), np.nan)
    if known == 0:
        return led
    base = forecast_rain.BASE_CHANCE
    if years and RAIN in years.columns:
        base = _wet_share(years.columns[RAIN], base)
    led[:, :known] = forecast_rain.rain(
        amount_mm=ahead.columns[RAIN][:known],
        probability_pct=ahead.column(CHANCE)[:known],
        first_utc_hour=utc_hour,
        base_chance=base,
        wet_normals=draws.blocks(0),
        amount_normals=draws.blocks(1),
        place_normals=draws.blocks(2),
    )
    return led


def _certain(amount_mm: FloatArray, utc_hour: int) -> FloatArray:
    """Return the chance of rain in a trace: 100 or 0 in each six hours, as its amounts say."""
    block = forecast_rain.blocks_of(utc_hour, amount_mm.shape[1])
    edges = np.flatnonzero(np.diff(block, prepend=-1))
    sums = np.add.reduceat(amount_mm, edges, axis=1)
    chance = np.where(sums >= forecast_rain.MEASURABLE_MM, 100.0, 0.0)
    return np.where(np.isnan(sums), np.nan, chance)[:, block]


def _wet_share(amount_mm: FloatArray, otherwise: float) -> float:
    whole = amount_mm.shape[1] // forecast_rain.BLOCK_H * forecast_rain.BLOCK_H
    sums = amount_mm[:, :whole].reshape(-1, forecast_rain.BLOCK_H).sum(axis=1)
    known = sums[np.isfinite(sums)]
    return float((known >= forecast_rain.MEASURABLE_MM).mean()) if known.size else otherwise


def _known_hours(values: FloatArray) -> int:
    """Return the hours up to the last one with a value, in any member."""
    known = np.flatnonzero(np.isfinite(values).reshape(-1, values.shape[-1]).any(axis=0))
    return int(known[-1]) + 1 if known.size else 0


def _led_over(
    name: str, led: FloatArray, past: FloatArray | None, draws: _Draws
) -> tuple[FloatArray, OriginArray]:
    """Lead a column from the forecast into the past years over the forecast's last hours.

    The mean runs straight over; the spread goes from the forecast's error to the years' own
    without a dip between (weights ``w`` and ``sqrt(1 - w^2)`` on the two departures from the
    season's mean).
    """
    hours, end = led.shape[1], _known_hours(led)
    if past is None:
        origin = np.full(hours, UNKNOWN, dtype=np.int8)
        origin[:end] = FORECAST
        return led, origin
    end = min(end, int(LONGEST_LEAD_H))
    begin = max(end - FADE_H, end // 2)
    origin = np.full(hours, CLIMATE, dtype=np.int8)
    origin[:begin], origin[begin:end] = FORECAST, BLENDED
    out = past[np.arange(draws.count) % past.shape[0]]
    if columns()[name].kind == "amount" or name in SWITCHED:
        change = begin + draws.switch[:, None] * (end - begin)
        return np.where(np.arange(hours) < change, led, out), origin
    out[:, :begin] = led[:, :begin]
    fade = slice(begin, end)
    weight = 0.5 + 0.5 * np.cos(np.pi * (np.arange(end - begin) + 0.5) / max(end - begin, 1))
    season = _season_mean(past)[fade]
    kept = weight * (led[:, fade] - season)
    out[:, fade] = season + kept + np.sqrt(1.0 - weight**2) * (out[:, fade] - season)
    return out, origin


def _season_mean(values: FloatArray, days: int = 21) -> FloatArray:
    """Return the mean over years and over three weeks of the same clock hour, ``(hours,)``."""
    hours = values.shape[1]
    known = np.isfinite(values)
    counts = known.sum(axis=0).astype(np.float64)
    sums = np.where(known, values, 0.0).sum(axis=0)
    pad = -hours % 24
    by_day = np.pad(np.stack([sums, counts]), ((0, 0), (0, pad))).reshape(2, -1, 24)
    running = np.cumsum(np.pad(by_day, ((0, 0), (days // 2 + 1, days // 2), (0, 0))), axis=1)
    total, count = running[:, days:] - running[:, :-days]
    with np.errstate(invalid="ignore", divide="ignore"):
        mean: FloatArray = (total / count).reshape(-1)[:hours]
    return mean


def _consistent(made: dict[str, FloatArray]) -> dict[str, FloatArray]:
    """Keep columns within what can be true: dew point under air, gust over wind."""
    for name, values in made.items():
        column = columns()[name]
        np.clip(values, column.low, column.high, out=values)
    if "dew_point_temperature_c" in made and TEMPERATURE in made:
        np.minimum(
            made["dew_point_temperature_c"], made[TEMPERATURE], out=made["dew_point_temperature_c"]
        )
    if "wind_speed_of_gust_ms" in made and "wind_speed_ms" in made:
        gust = made["wind_speed_of_gust_ms"]
        np.fmax(gust, made["wind_speed_ms"], out=gust, where=np.isfinite(gust))
    return made
