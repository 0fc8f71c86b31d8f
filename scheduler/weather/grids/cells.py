"""Which cells speak for a site: the nearest one, or the four around it with their weights.

Distances are great circles on the file's own sphere. Weights of the four are by distance on the
grid's own plane, along its rows and columns.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.verdict import FloatArray
from scheduler.weather.grids.grid import Grid, IntArray, distance_km

# ICAO standard atmosphere (ISO 2533:1975), the troposphere's gradient
LAPSE_RATE_C_PER_KM: Final = 6.5


class Method(StrEnum):
    """How cells are combined into a site's value."""

    NEAREST = "nearest"
    BILINEAR = "bilinear"


@dataclass(frozen=True, slots=True)
class Cells:
    """The cells of each site: ``k`` is 1 (nearest) or 4 (bilinear)."""

    rows: IntArray  # (k, sites)
    columns: IntArray  # (k, sites)
    weights: FloatArray  # (k, sites), sum 1; NaN where the grid does not cover the site
    latitude: FloatArray  # (sites,) of the nearest cell
    longitude: FloatArray  # (sites,)
    distance_km: FloatArray  # (sites,) to the nearest cell
    covered: NDArray[np.bool_]  # (sites,)

    def combine(self, values: FloatArray) -> FloatArray:
        """Return one value for each site from ``values`` (..., k, sites).

        A cell without a value that has a share makes the site's value NaN: it is not covered.
        """
        shares = np.where(self.weights == 0.0, 0.0, self.weights * values)
        total: FloatArray = shares.sum(axis=-2)
        return total


def find_cells(
    grid: Grid, lat: FloatArray, lon: FloatArray, method: Method = Method.NEAREST
) -> Cells:
    """Find the cells of sites.

    Parameters
    ----------
    grid : Grid
    lat, lon : (sites,)
        Degrees; longitudes of any turn.
    method : Method
    """
    lat, lon = np.atleast_1d(lat).astype(np.float64), np.atleast_1d(lon).astype(np.float64)
    row, column = grid.spot(lat, lon)
    covered = grid.covers(row, column)
    row, column = np.where(covered, row, 0.0), np.where(covered, column, 0.0)
    rows, columns, weights = _four_around(grid, row, column)
    at_lat, at_lon = grid.place(rows, columns)
    away = distance_km(at_lat, at_lon, lat, lon, grid.earth.radius_m)
    near = away.argmin(axis=0)[np.newaxis]

    def nearest(values: FloatArray) -> FloatArray:
        one: FloatArray = np.take_along_axis(values, near, axis=0)[0]
        return one

    if method is Method.NEAREST:
        rows, columns = (np.take_along_axis(part, near, axis=0) for part in (rows, columns))
        weights = np.ones(rows.shape)
    return Cells(
        rows=rows,
        columns=columns,
        weights=np.where(covered, weights, np.nan),
        latitude=nearest(at_lat),
        longitude=nearest(at_lon),
        distance_km=nearest(away),
        covered=covered,
    )


def _four_around(
    grid: Grid, row: FloatArray, column: FloatArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return rows, columns and weights (4, sites); beyond the outer cells the edge speaks."""
    row = np.clip(row, 0.0, grid.rows - 1.0)
    if not grid.wraps:
        column = np.clip(column, 0.0, grid.columns - 1.0)
    low, left = np.floor(row), np.floor(column)
    down, right = row - low, column - left
    rows = np.stack([low, low, low + 1, low + 1]).astype(np.int64)
    columns = np.stack([left, left + 1, left, left + 1]).astype(np.int64)
    weights = np.stack(
        [(1 - down) * (1 - right), (1 - down) * right, down * (1 - right), down * right]
    )
    columns = columns % grid.columns if grid.wraps else np.minimum(columns, grid.columns - 1)
    return np.minimum(rows, grid.rows - 1), columns, weights


def lapse(
    temperature_c: FloatArray, cell_m: float, site_m: float, rate_c_per_km: float
) -> FloatArray:
    """Return the temperature at the site's height from that at the cell's."""
    result: FloatArray = temperature_c + rate_c_per_km * (cell_m - site_m) / 1000.0
    return result
