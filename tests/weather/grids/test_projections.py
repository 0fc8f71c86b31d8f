"""Transforms against the worked examples of Snyder (1987) and against themselves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.weather.grids.projections import (
    Earth,
    Gaussian,
    Lambert,
    Mercator,
    Plane,
    PolarStereographic,
    RotatedLatLon,
    gaussian_latitudes,
    turn,
)

UNIT_SPHERE = Earth(1.0)
CLARKE_1866 = Earth(6378206.4, math.sqrt(0.00676866))
INTERNATIONAL = Earth(6378388.0, math.sqrt(0.00672267))
HRRR = Lambert(Earth(6371229.0), -97.5, 38.5, 38.5)
PLANES: list[Plane] = [
    HRRR,
    Lambert(CLARKE_1866, -96.0, 33.0, 45.0),
    Lambert(Earth(6371200.0), 25.0, -20.0, -40.0),
    PolarStereographic(Earth(6371229.0), -105.0, 60.0),
    PolarStereographic(INTERNATIONAL, -100.0, -71.0, south=True),
    PolarStereographic(CLARKE_1866, 0.0, 90.0),
    Mercator(Earth(6371229.0), 20.0),
    Mercator(CLARKE_1866, 0.0),
    RotatedLatLon(-36.0885, 245.305),
    RotatedLatLon(-40.0, 10.0, 12.0),
]


@pytest.mark.parametrize(
    ("plane", "lat", "lon", "east", "north", "tolerance"),
    [
        # Snyder (1987) p. 266: Mercator on the sphere of radius 1, about 180 W
        (Mercator(UNIT_SPHERE, 0.0), 35.0, 105.0, 1.8325957, 0.6528366, 1e-7),
        # p. 267: Clarke 1866
        (Mercator(CLARKE_1866, 0.0), 35.0, 105.0, 11688673.7, 4139145.6, 0.1),
    ],
)
def test_mercator_equals_the_published_examples(
    plane: Plane, lat: float, lon: float, east: float, north: float, tolerance: float
) -> None:
    x, y = plane.forward(np.array(lat), np.array(lon))
    assert (float(x), float(y)) == (
        pytest.approx(east, abs=tolerance),
        pytest.approx(north, abs=tolerance),
    )


@pytest.mark.parametrize(
    ("earth", "east", "north", "tolerance"),
    [
        # Snyder (1987) p. 295 and 296: parallels 33 and 45, origin 23 N 96 W, point 35 N 75 W
        (UNIT_SPHERE, 0.2966785, 0.2462112, 1e-7),
        (CLARKE_1866, 1894410.9, 1564649.5, 0.1),
    ],
)
def test_lambert_equals_the_published_examples(
    earth: Earth, east: float, north: float, tolerance: float
) -> None:
    plane = Lambert(earth, -96.0, 33.0, 45.0)
    x, y = plane.forward(np.array([35.0, 23.0]), np.array([-75.0, -96.0]))
    assert x[0] - x[1] == pytest.approx(east, abs=tolerance)
    assert y[0] - y[1] == pytest.approx(north, abs=tolerance)


def test_polar_stereographic_equals_the_published_example() -> None:
    # Snyder (1987) p. 314: international ellipsoid, true at 71 S, 100 W; point 75 S 150 E
    plane = PolarStereographic(INTERNATIONAL, -100.0, -71.0, south=True)
    x, y = plane.forward(np.array(-75.0), np.array(150.0))
    assert float(x) == pytest.approx(-1540033.6, abs=0.1)
    assert float(y) == pytest.approx(-560526.4, abs=0.1)


@pytest.mark.parametrize("plane", PLANES, ids=repr)
@given(lat=st.floats(-80, 80), lon=st.floats(-179.9, 540))
def test_there_and_back_is_the_same_point(plane: Plane, lat: float, lon: float) -> None:
    back_lat, back_lon = plane.inverse(*plane.forward(np.array([lat]), np.array([lon])))
    assert back_lat[0] == pytest.approx(lat, abs=1e-7)
    assert turn(back_lon - lon)[0] == pytest.approx(0.0, abs=1e-6)


def test_a_turn_of_longitude_changes_nothing() -> None:
    here = HRRR.forward(np.array([44.0]), np.array([-96.0]))
    there = HRRR.forward(np.array([44.0]), np.array([264.0]))
    assert np.array_equal(here, there)


def test_the_file_s_own_sphere_moves_the_point() -> None:
    """NDFD and NBM use 6371200 m, HRRR 6371229 m: swapped, a far point moves by metres."""
    other = Lambert(Earth(6371200.0), -97.5, 38.5, 38.5)
    corner = np.array([47.84]), np.array([-60.9])
    (x, y), (other_x, other_y) = HRRR.forward(*corner), other.forward(*corner)
    moved = np.hypot(x - other_x, y - other_y)
    assert 10.0 < moved[0] < 100.0


# Abramowitz and Stegun (1964), table 25.4: abscissas for n = 2, 4 and 8
ABSCISSAS = {
    1: [0.577350269189626],
    2: [0.861136311594053, 0.339981043584856],
    4: [0.960289856497536, 0.796666477413627, 0.525532409916329, 0.183434642495650],
}


@pytest.mark.parametrize("parallels", ABSCISSAS)
def test_gaussian_latitudes_equal_the_table(parallels: int) -> None:
    sines = np.sin(np.radians(gaussian_latitudes(parallels)))
    north = np.array(ABSCISSAS[parallels])
    assert sines == pytest.approx(np.concatenate((north, -north[::-1])), abs=1e-14)


def test_gaussian_rows_reach_the_pole_only_where_they_lie_beside_it() -> None:
    rows = gaussian_latitudes(47)
    whole = Gaussian(tuple(rows))
    assert whole.forward(np.array([90.0, -90.0]), np.zeros(2))[1].tolist() == [-0.5, 93.5]
    part = Gaussian(tuple(rows[20:30]))
    _, row = part.forward(
        np.array([rows[19], rows[20], rows[29], rows[30], -rows[20]]), np.zeros(5)
    )
    assert row[1:3].tolist() == [0.0, 9.0]
    assert np.isnan(row[[0, 3, 4]]).all()
