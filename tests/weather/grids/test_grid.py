"""Cells lie where the standard says, under every scanning mode; unknown grids are refused."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.weather.grids.cells import Method, find_cells
from scheduler.weather.grids.framing import fields_of
from scheduler.weather.grids.grid import Grid, UnknownGrid, distance_km, grid_of
from tests.recorded_data import recorded
from tests.weather.grids import making

# flag table 3.4: rows from the north and from the south, backward, columns first, alternating
STORED = {  # of the grid with rows (1 2 3) and (4 5 6) as they lie in the file's own directions
    0x00: [1, 2, 3, 4, 5, 6],
    0x10: [1, 2, 3, 6, 5, 4],
    0x40: [1, 2, 3, 4, 5, 6],
    0x50: [1, 2, 3, 6, 5, 4],
    0x80: [1, 2, 3, 4, 5, 6],
    0x20: [1, 4, 2, 5, 3, 6],
    0x60: [1, 4, 2, 5, 3, 6],
    0x70: [1, 4, 5, 2, 3, 6],
}


@pytest.mark.parametrize("scan", STORED)
def test_every_scanning_mode_finds_its_cells(scan: int) -> None:
    grid = grid_of(making.latlon(2, 3, 44.0, -93.0, 1.0, scan))
    stored = np.array(STORED[scan], dtype=np.float64)
    rows, columns = np.mgrid[0:2, 0:3]
    assert stored[grid.stored_at(rows, columns)].tolist() == [[1, 2, 3], [4, 5, 6]]
    assert grid.arrange(stored).tolist() == [[1, 2, 3], [4, 5, 6]]
    lat, lon = grid.place(rows, columns)
    assert np.allclose(lat[:, 0], [44, 45] if scan & 0x40 else [44, 43])
    assert np.allclose(lon[0], [-93, -94, -95] if scan & 0x80 else [-93, -92, -91])


def test_alternating_rows_by_hand() -> None:
    """3 x 2 grid, mode 80, stored 1 2 3 6 5 4: rows (1 2 3), (4 5 6)."""
    grid = grid_of(making.latlon(2, 3, 44.0, -93.0, 1.0, 80))
    assert grid.arrange(np.array([1.0, 2, 3, 6, 5, 4])).tolist() == [[1, 2, 3], [4, 5, 6]]


def test_longitudes_of_either_count_choose_the_same_cell() -> None:
    grid = grid_of(making.latlon(20, 40, 50.0, 250.0, 1.0))
    there = find_cells(grid, np.array([44.2, 44.2]), np.array([-96.0, 264.0]))
    assert np.unique(there.columns).size == 1
    assert there.longitude.tolist() == [-96.0, -96.0]


def test_a_global_grid_closes_on_itself_and_has_poles() -> None:
    grid = grid_of(making.latlon(181, 360, 90.0, 0.0, 1.0))
    assert grid.wraps
    lat, lon = np.array([10.0, 89.9, -90.0]), np.array([359.8, 12.0, 77.0])
    cells = find_cells(grid, lat, lon)
    assert cells.covered.all()
    assert cells.columns[0, 0] == 0
    assert cells.latitude.tolist() == [10.0, 90.0, -90.0]
    four = find_cells(grid, lat, lon, Method.BILINEAR)
    assert set(four.columns[:, 0]) == {359, 0}
    assert four.weights.sum(axis=0) == pytest.approx([1.0, 1.0, 1.0])


def test_a_grid_across_the_date_line_is_one_piece() -> None:
    grid = grid_of(making.latlon(10, 20, 60.0, 170.0, 1.0))
    cells = find_cells(grid, np.array([55.0, 55.0]), np.array([-175.0, 185.0]))
    assert cells.covered.all()
    assert cells.columns.tolist() == [[15, 15]]


def test_outside_is_not_covered_and_half_a_cell_still_is() -> None:
    grid = grid_of(making.latlon(10, 20, 50.0, -100.0, 1.0))
    lat = np.array([50.4, 50.6, 45.0, 45.0])
    lon = np.array([-90.0, -90.0, -100.4, -100.6])
    assert find_cells(grid, lat, lon).covered.tolist() == [True, False, True, False]


@given(row=st.floats(0.0, 8.99), column=st.floats(0.0, 18.99))
def test_bilinear_is_exact_on_a_plane_and_nearest_is_nearest(row: float, column: float) -> None:
    grid = grid_of(
        making.lambert(10, 20, 40.0, -98.0, 3000.0, centre_lon=-97.5, parallels=(38.5, 38.5))
    )
    lat, lon = grid.place(np.array([row]), np.array([column]))
    rows, columns = np.mgrid[0:10, 0:20].astype(np.float64)
    field = (2.0 + 3.0 * rows - 5.0 * columns).ravel()
    four = find_cells(grid, lat, lon, Method.BILINEAR)
    value = four.combine(field[grid.stored_at(four.rows, four.columns)])
    assert value[0] == pytest.approx(2.0 + 3.0 * row - 5.0 * column, abs=1e-6)
    near = find_cells(grid, lat, lon)
    all_lat, all_lon = grid.place(rows, columns)
    away = distance_km(all_lat, all_lon, lat, lon, grid.earth.radius_m)
    assert near.distance_km[0] == pytest.approx(away.min(), abs=1e-9)


def test_a_masked_cell_with_a_share_makes_the_site_unknown() -> None:
    grid = grid_of(making.latlon(2, 2, 45.0, -93.0, 1.0))
    four = find_cells(grid, np.array([44.5, 45.0]), np.array([-92.5, -93.0]), Method.BILINEAR)
    values = np.array([1.0, 2.0, 3.0, np.nan])[grid.stored_at(four.rows, four.columns)]
    got = four.combine(values)
    assert np.isnan(got[0])
    assert got[1] == 1.0, "the masked cell has no share here"


def convergence(grid: Grid, lat: float, lon: float) -> float:
    return float(np.degrees(grid.eastward_turn(np.array([lat]), np.array([lon]))[0]))


def test_the_grid_s_north_turns_as_the_cone_does() -> None:
    """On a cone the turn is n (lon - lon0), n = sin 38.5 here: Snyder (1987) equation 14-4."""
    grid = grid_of(
        making.lambert(50, 50, 38.0, -98.0, 3000.0, centre_lon=-97.5, parallels=(38.5, 38.5))
    )
    want = np.sin(np.radians(38.5)) * (-80.0 + 97.5)
    assert convergence(grid, 42.0, -80.0) == pytest.approx(want, abs=1e-3)
    assert convergence(grid, 42.0, -97.5) == pytest.approx(0.0, abs=1e-6)


def test_the_polar_grid_s_north_turns_with_longitude() -> None:
    north = grid_of(making.polar(50, 50, 20.0, -120.0, 10000.0, centre_lon=-105.0))
    assert convergence(north, 45.0, -75.0) == pytest.approx(30.0, abs=1e-3)
    flat = grid_of(making.latlon(10, 10, 50.0, -100.0, 1.0))
    assert convergence(flat, 45.0, -95.0) == 0.0


def template(number: int) -> bytes:
    return making.definition(number, 6, making.earth() + bytes(90))


@pytest.mark.parametrize(
    ("section", "name"),
    [
        (template(50), "spherical harmonics"),
        (template(101), "unstructured"),
        (template(31), "Albers equal-area"),
        (template(32768), "Arakawa staggered rotated latitude-longitude"),
        (template(777), "number 777"),
        (making.latlon(2, 3, 44.0, -93.0, 1.0, 0x08), "staggered rows"),
    ],
)
def test_an_unknown_grid_is_refused_by_its_name(section: bytes, name: str) -> None:
    with pytest.raises(UnknownGrid, match=name):
        grid_of(section)


def test_a_reduced_gaussian_grid_is_refused_by_its_name() -> None:
    whole = making.definition(
        40, 6, making.earth() + struct.pack(">II", making.MISSING, 2) + bytes(40)
    )
    with pytest.raises(UnknownGrid, match="reduced Gaussian"):
        grid_of(whole)


def test_numbers_that_contradict_each_other_are_refused() -> None:
    good = making.latlon(2, 3, 44.0, -93.0, 1.0)
    with pytest.raises(UnknownGrid, match="for 7 points"):
        grid_of(good[:6] + struct.pack(">I", 7) + good[10:])
    with pytest.raises(UnknownGrid, match="scanning direction"):
        grid_of(good[:71] + b"\x40")
    with pytest.raises(UnknownGrid, match="cut short"):
        grid_of(good[:60])


@given(st.lists(st.tuples(st.integers(5, 80), st.integers(0, 255)), min_size=1, max_size=6))
def test_a_garbled_definition_is_a_grid_or_refused(changes: list[tuple[int, int]]) -> None:
    section = bytearray(
        making.lambert(10, 20, 40.0, -98.0, 3000.0, centre_lon=-97.5, parallels=(38.5, 38.5))
    )
    for place, value in changes:
        section[min(place, len(section) - 1)] = value
    try:
        grid = grid_of(bytes(section))
    except UnknownGrid:
        return
    with np.errstate(all="ignore"):
        find_cells(grid, np.array([44.0]), np.array([-93.0]))


def test_the_recorded_mercator_grid_starts_and_ends_where_its_header_says() -> None:
    path = recorded("grib2", "aqm-hawaii-mercator-ozone-2024051612.grib2")
    section = fields_of(path.read_bytes(), path.name)[0].grid
    grid = grid_of(section)
    last = struct.unpack_from(">II", section, 51)  # octets 52 to 59: last grid point
    lat, lon = grid.place(np.array([grid.rows - 1]), np.array([grid.columns - 1]))
    assert lat[0] == pytest.approx(last[0] / 1e6, abs=1e-3)
    assert lon[0] % 360 == pytest.approx(last[1] / 1e6, abs=1e-3)
