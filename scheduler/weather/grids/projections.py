"""Map projections of GRIB2 grids: between latitude and longitude and a plane.

Each plane has ``forward`` (degrees to plane coordinates) and ``inverse``; metres for conformal
maps on the file's own sphere or ellipsoid, degrees for latitude-longitude maps, and row numbers
for Gaussian latitudes. A sphere is an ellipsoid of eccentricity zero.

References
----------
Snyder, J. P. (1987): Map projections, a working manual. USGS Professional Paper 1395: equations
7-7, 15-1 to 15-11 and 21-33 to 21-40; numerical examples in its appendix A.
WMO-No. 306, Manual on Codes, volume I.2: code table 3.2 (shapes of the earth).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from rules.verdict import FloatArray


@dataclass(frozen=True, slots=True)
class Earth:
    """Sphere or ellipsoid of a grid: equatorial radius in metres, first eccentricity."""

    radius_m: float
    eccentricity: float = 0.0

    @classmethod
    def of_axes(cls, major_m: float, minor_m: float) -> Earth:
        """Return the ellipsoid of two half axes."""
        return cls(major_m, float(np.sqrt(1.0 - (minor_m / major_m) ** 2)))


class Plane(Protocol):
    """Two-way transform between degrees and plane coordinates, elementwise on arrays."""

    def forward(self, lat: FloatArray, lon: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return plane x and y of points given in degrees."""

    def inverse(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return latitude and longitude in degrees."""


def turn(degrees: FloatArray) -> FloatArray:
    """Return an angle between -180 and 180 degrees."""
    result: FloatArray = (np.asarray(degrees) + 180.0) % 360.0 - 180.0
    return result


@dataclass(frozen=True, slots=True)
class LatLon:
    """Plate carrée: plane coordinates are degrees."""

    def forward(self, lat: FloatArray, lon: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return longitude and latitude."""
        return np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)

    def inverse(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return latitude and longitude."""
        return np.asarray(y, dtype=np.float64), np.asarray(x, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class RotatedLatLon:
    """Latitude and longitude about a moved south pole, then turned about the new axis."""

    pole_lat: float  # of the southern pole of rotation
    pole_lon: float
    angle: float = 0.0

    def forward(self, lat: FloatArray, lon: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return rotated longitude and latitude."""
        tilt = np.radians(self.pole_lat + 90.0)
        phi, along = np.radians(lat), np.radians(turn(lon - self.pole_lon))
        x = np.cos(tilt) * np.cos(along) * np.cos(phi) + np.sin(tilt) * np.sin(phi)
        y = np.sin(along) * np.cos(phi)
        z = -np.sin(tilt) * np.cos(along) * np.cos(phi) + np.cos(tilt) * np.sin(phi)
        return np.degrees(np.arctan2(y, x)) - self.angle, np.degrees(np.arcsin(np.clip(z, -1, 1)))

    def inverse(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return latitude and longitude."""
        tilt = np.radians(self.pole_lat + 90.0)
        phi, along = np.radians(y), np.radians(np.asarray(x) + self.angle)
        east = np.cos(tilt) * np.cos(along) * np.cos(phi) - np.sin(tilt) * np.sin(phi)
        north = np.sin(along) * np.cos(phi)
        up = np.sin(tilt) * np.cos(along) * np.cos(phi) + np.cos(tilt) * np.sin(phi)
        return (
            np.degrees(np.arcsin(np.clip(up, -1, 1))),
            np.degrees(np.arctan2(north, east)) + self.pole_lon,
        )


@dataclass(frozen=True, slots=True)
class Gaussian:
    """Gaussian latitudes: the plane's y is the row number, counted from ``rows[0]``."""

    rows: tuple[float, ...]  # latitudes in file order

    def forward(self, lat: FloatArray, lon: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return longitude and row; up to half a row beyond the outer rows."""
        rows = np.asarray(self.rows)
        lats = np.concatenate(([self._edge(0, 1)], rows, [self._edge(-1, -2)]))
        spots = np.concatenate(([-0.5], np.arange(rows.size), [rows.size - 0.5]))
        order = slice(None) if lats[0] < lats[-1] else slice(None, None, -1)
        row = np.interp(lat, lats[order], spots[order], left=np.nan, right=np.nan)
        return np.asarray(lon, dtype=np.float64), row

    def _edge(self, outer: int, inner: int) -> float:
        """Return how far an outer row reaches: half a row, or to the pole it lies beside."""
        last, step = self.rows[outer], self.rows[outer] - self.rows[inner]
        beside_pole = abs(last) + abs(step) > 90.0
        return float(np.copysign(90.0, last)) if beside_pole else last + step / 2.0

    def inverse(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return latitude and longitude."""
        rows = np.asarray(self.rows)
        return np.interp(y, np.arange(rows.size), rows), np.asarray(x, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Mercator:
    """Mercator, true to scale at ``true_lat``."""

    earth: Earth
    true_lat: float

    def forward(self, lat: FloatArray, lon: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return metres east of the zero meridian, measured from -180 to 180, and north."""
        scale = self.earth.radius_m * _parallel(self.true_lat, self.earth.eccentricity)
        north = -np.log(_conformal(np.asarray(lat), self.earth.eccentricity))
        return scale * np.radians(np.asarray(lon, dtype=np.float64)), scale * north

    def inverse(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return latitude and longitude."""
        scale = self.earth.radius_m * _parallel(self.true_lat, self.earth.eccentricity)
        lat = _latitude(np.exp(-np.asarray(y) / scale), self.earth.eccentricity)
        return lat, np.degrees(np.asarray(x) / scale)


@dataclass(frozen=True, slots=True)
class Lambert:
    """Lambert conformal conic with one or two standard parallels, origin at the pole."""

    earth: Earth
    central_lon: float
    first_lat: float
    second_lat: float

    def _cone(self) -> tuple[float, float]:
        e = self.earth.eccentricity
        m1, m2 = _parallel(self.first_lat, e), _parallel(self.second_lat, e)
        t1 = float(_conformal(np.asarray(self.first_lat), e))
        t2 = float(_conformal(np.asarray(self.second_lat), e))
        if abs(self.first_lat - self.second_lat) < 1e-9:
            n = float(np.sin(np.radians(self.first_lat)))
        else:
            n = float(np.log(m1 / m2) / np.log(t1 / t2))
        return n, self.earth.radius_m * m1 / (n * t1**n)

    def forward(self, lat: FloatArray, lon: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return metres east of the central meridian and north of the pole (negative: south)."""
        n, size = self._cone()
        rho = size * _conformal(np.asarray(lat), self.earth.eccentricity) ** n
        theta = n * np.radians(turn(np.asarray(lon) - self.central_lon))
        return rho * np.sin(theta), -rho * np.cos(theta)

    def inverse(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return latitude and longitude."""
        n, size = self._cone()
        sign = np.sign(n)
        rho = sign * np.hypot(x, y)
        theta = np.arctan2(sign * np.asarray(x), -sign * np.asarray(y))
        lat = _latitude((rho / size) ** (1.0 / n), self.earth.eccentricity)
        return lat, self.central_lon + np.degrees(theta) / n


@dataclass(frozen=True, slots=True)
class PolarStereographic:
    """Polar stereographic, true to scale at ``true_lat``, of the north or the south."""

    earth: Earth
    central_lon: float
    true_lat: float
    south: bool = False

    def _size(self) -> float:
        e, lat = self.earth.eccentricity, abs(self.true_lat)
        if lat > 90.0 - 1e-9:  # Snyder 21-33, scale one at the pole
            at_pole = np.sqrt((1 + e) ** (1 + e) * (1 - e) ** (1 - e))
            return float(2.0 * self.earth.radius_m / at_pole)
        return self.earth.radius_m * _parallel(lat, e) / float(_conformal(np.asarray(lat), e))

    def forward(self, lat: FloatArray, lon: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return metres from the pole."""
        pole = -1.0 if self.south else 1.0
        rho = self._size() * _conformal(pole * np.asarray(lat), self.earth.eccentricity)
        theta = np.radians(turn(np.asarray(lon) - self.central_lon))
        return rho * np.sin(theta), -pole * rho * np.cos(theta)

    def inverse(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return latitude and longitude."""
        pole = -1.0 if self.south else 1.0
        lat = _latitude(np.hypot(x, y) / self._size(), self.earth.eccentricity)
        return pole * lat, self.central_lon + np.degrees(np.arctan2(x, -pole * np.asarray(y)))


def gaussian_latitudes(parallels: int) -> FloatArray:
    """Return the ``2 * parallels`` Gaussian latitudes from north to south, in degrees.

    Roots of the Legendre polynomial by Newton's method from Abramowitz and Stegun 22.16.6;
    in rows, unlike an eigenvalue problem, this stays quick for the finest models.
    """
    order = 2 * parallels
    k = np.arange(1, order + 1)
    x = np.cos(np.pi * (k - 0.25) / (order + 0.5))
    for _ in range(10):
        before, now = np.ones_like(x), x.copy()
        for degree in range(2, order + 1):
            before, now = now, ((2 * degree - 1) * x * now - (degree - 1) * before) / degree
        slope = order * (x * now - before) / (x * x - 1.0)
        step = now / slope
        x = x - step
        if np.abs(step).max() < 1e-15:
            break
    latitudes: FloatArray = np.degrees(np.arcsin(x))
    return latitudes


def _parallel(lat: float, e: float) -> float:
    """Return the radius of a parallel as a share of the equator's (Snyder 14-15)."""
    phi = np.radians(lat)
    return float(np.cos(phi) / np.sqrt(1.0 - (e * np.sin(phi)) ** 2))


def _conformal(lat: FloatArray, e: float) -> FloatArray:
    """Return t of Snyder 15-9: the tangent of half the conformal colatitude."""
    phi = np.radians(lat)
    plain: FloatArray = np.tan(np.pi / 4 - phi / 2)
    if e == 0.0:
        return plain
    sine = e * np.sin(phi)
    return plain / ((1 - sine) / (1 + sine)) ** (e / 2)


def _latitude(t: FloatArray, e: float) -> FloatArray:
    """Return the latitude in degrees of ``t`` (Snyder 7-9; exact at once on a sphere)."""
    phi = np.pi / 2 - 2 * np.arctan(t)
    for _ in range(8 if e else 0):
        sine = e * np.sin(phi)
        phi = np.pi / 2 - 2 * np.arctan(t * ((1 - sine) / (1 + sine)) ** (e / 2))
    degrees: FloatArray = np.degrees(phi)
    return degrees
