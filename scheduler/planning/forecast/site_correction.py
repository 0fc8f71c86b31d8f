"""What the site's own thermometer says of the forecast: its bias by hour of day, shrunk.

A hollow is colder at dawn than the grid cell and a wall warmer at noon. The bias is taken as a
level and one daily wave, and both are drawn towards zero as long as there are few readings: the
posterior mean of a linear model with normal errors and a normal prior (ridge regression; Hoerl
and Kennard, Technometrics 12, 1970). Readings of the same six hours share one weather and count
as one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.units import convert
from rules.verdict import FloatArray
from scheduler.planning.model.log import Reading
from scheduler.planning.tables.hours import Finding, Forecast, HourlyTable

QUANTITY: Final = "air_temperature"
COLUMN: Final = "air_temperature_c"
BLOCK_H: Final = 6
# Size of forecast errors without the bias, and of biases between a grid cell and a site: the first
# from the published day-1 errors (2 to 3 °F, National Weather Service Milwaukee, November 2011),
# the other two assumptions, no source.
ERROR_C: Final = 2.0
LEVEL_C: Final = 1.5
WAVE_C: Final = 1.0
# Different stretches of six hours that must have been read before the forecast is lowered, and
# before it is raised: warming wants more proof. Common practice, no source.
TO_LOWER, TO_RAISE = 4, 12


@dataclass(frozen=True, slots=True)
class SiteCorrection:
    """What to add to the forecast's air temperature at each solar hour."""

    level_c: float
    cosine_c: float
    sine_c: float
    readings: int
    blocks: int  # different stretches of six hours behind them

    def at(self, solar_hour: FloatArray) -> FloatArray:
        """Return the correction: same shape, [K]."""
        turn = 2.0 * np.pi * solar_hour / 24.0
        added: FloatArray = (
            self.level_c + self.cosine_c * np.cos(turn) + self.sine_c * np.sin(turn)
        )
        return added

    def words(self) -> str:
        """Return what was done, for whoever reads the plan."""
        dawn, noon = self.at(np.array([6.0, 15.0]))
        return (
            f"site thermometer: {self.readings} readings in {self.blocks} stretches of 6 h move "
            f"the forecast by {dawn:+.1f} °C at dawn and {noon:+.1f} °C in the afternoon"
        )


def learned(
    *, difference_c: FloatArray, solar_hour: FloatArray, block: NDArray[np.int64]
) -> SiteCorrection:
    """Learn the correction from site readings less their forecast.

    Parameters
    ----------
    difference_c : (readings,)
        Reading minus forecast. [K]
    solar_hour : (readings,)
        Solar time of each, 0 to 24. [h]
    block : (readings,)
        Number of the six hours each falls into.

    Returns
    -------
    SiteCorrection
        All zero without readings.
    """
    if difference_c.size == 0:
        return SiteCorrection(0.0, 0.0, 0.0, 0, 0)
    _, place, count = np.unique(block, return_inverse=True, return_counts=True)
    weight = 1.0 / (count[place] * ERROR_C**2)
    turn = 2.0 * np.pi * solar_hour / 24.0
    terms = np.stack([np.ones_like(turn), np.cos(turn), np.sin(turn)], axis=1)
    prior = np.diag([LEVEL_C**-2.0, WAVE_C**-2.0, WAVE_C**-2.0])
    level, cosine, sine = np.linalg.solve(
        (terms * weight[:, None]).T @ terms + prior, terms.T @ (weight * difference_c)
    )
    return SiteCorrection(float(level), float(cosine), float(sine), difference_c.size, count.size)


def site_correction(
    readings: Sequence[Reading], forecasts: Sequence[Forecast], *, longitude_deg: float
) -> SiteCorrection:
    """Learn the correction from the log and the forecasts as they were issued.

    Each reading is held against the last forecast issued before it, straight between that
    forecast's hours. Readings taken over a span, or without a forecast, do not count.
    """
    pairs = [
        (reading.at, _celsius(reading) - told)
        for reading in readings
        if reading.quantity == QUANTITY and reading.at is not None
        if np.isfinite(told := _forecast_at(reading.at, forecasts))
    ]
    moments = np.array([at.timestamp() / 3600.0 for at, _ in pairs])
    return learned(
        difference_c=np.array([difference for _, difference in pairs], dtype=np.float64),
        solar_hour=(moments + longitude_deg / 15.0) % 24.0,
        block=np.floor(moments / BLOCK_H).astype(np.int64),
    )


def corrected(
    table: HourlyTable, correction: SiteCorrection, *, longitude_deg: float
) -> HourlyTable:
    """Return the forecast with the correction added to its air temperature."""
    if COLUMN not in table or correction.blocks == 0:
        return table
    clock = table.start.astype(np.int64).astype(np.float64)
    added = correction.at((clock + longitude_deg / 15.0) % 24.0)
    columns = {**table.columns, COLUMN: table.columns[COLUMN] + added}
    if "dew_point_temperature_c" in columns:
        dew = np.minimum(columns["dew_point_temperature_c"], columns[COLUMN])
        columns["dew_point_temperature_c"] = dew
    return replace(table, columns=columns)


def at_site(
    forecast: Forecast,
    readings: Sequence[Reading],
    earlier: Sequence[Forecast],
    *,
    longitude_deg: float,
) -> Forecast:
    """Return a forecast as the site's own thermometer has it, said so; else as it is.

    Parameters
    ----------
    forecast : Forecast
        The newest; its members, where it has any, are moved with it.
    readings : sequence of Reading
        The log's.
    earlier : sequence of Forecast
        Those issued before, to hold the readings against.
    """
    found = site_correction(readings, earlier, longitude_deg=longitude_deg)
    if found.blocks < TO_LOWER:
        return forecast
    moved = replace(
        forecast,
        table=_moved(forecast.table, found, longitude_deg),
        extras={
            name: _moved(told, found, longitude_deg) if isinstance(told, HourlyTable) else told
            for name, told in forecast.extras.items()
        },
    )
    said = Finding(COLUMN, found.words())
    source = replace(moved.provenance, findings=(*moved.provenance.findings, said))
    return replace(moved, provenance=source)


def _moved(table: HourlyTable, found: SiteCorrection, longitude_deg: float) -> HourlyTable:
    """Return hours with the correction; hours that it would warm only where much was read."""
    warm = corrected(table, found, longitude_deg=longitude_deg)
    if found.blocks >= TO_RAISE or COLUMN not in table:
        return warm
    held = np.fmin(table.columns[COLUMN], warm.columns[COLUMN])
    return replace(warm, columns={**warm.columns, COLUMN: held})


def _celsius(reading: Reading) -> float:
    return float(convert(float(reading.value), reading.unit, "degC"))


def _forecast_at(moment: datetime, forecasts: Sequence[Forecast]) -> float:
    """Return what the last forecast before a moment said of it, NaN where none did."""
    before = [
        forecast
        for forecast in forecasts
        if forecast.provenance.issued_at is not None and forecast.provenance.issued_at <= moment
    ]
    if not before:
        return float("nan")
    last = max(before, key=lambda f: f.provenance.issued_at.timestamp())  # type: ignore[union-attr]
    values = last.table.column(COLUMN)
    if values.ndim > 1:
        values = values.mean(axis=0)
    at = moment.timestamp() / 3600.0 - float(last.table.start[0].astype(np.int64))
    if not 0.0 <= at <= last.table.hours - 1:
        return float("nan")
    low = int(at)
    high = min(low + 1, last.table.hours - 1)
    return float(values[low] + (at - low) * (values[high] - values[low]))
