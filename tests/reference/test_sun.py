"""Sun position and clear sky against pvlib, an independent library."""

from __future__ import annotations

import numpy as np
import pytest

from rules.sun import clear_sky_wm2, on_face_wm2, split_wm2, sun_position, under_cloud_wm2

pvlib = pytest.importorskip("pvlib")
pd = pytest.importorskip("pandas")

PLACES = [(44.31, -75.12), (64.8, -147.7), (-33.9, 151.2), (0.0, 0.0), (47.6, 237.7)]
MOMENTS = np.arange("2026-10-01", "2027-03-01", 5, dtype="datetime64[h]")


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
def test_position_agrees_with_the_national_algorithm(latitude: float, longitude: float) -> None:
    """NREL SPA (Reda and Andreas 2004) as pvlib computes it, without refraction."""
    times = pd.DatetimeIndex(MOMENTS).tz_localize("UTC")
    theirs = pvlib.solarposition.spa_python(times, latitude, longitude)
    elevation, azimuth = sun_position(
        moments=MOMENTS, latitude_deg=latitude, longitude_deg=longitude
    )
    assert np.abs(elevation - theirs["elevation"].to_numpy()).max() < 0.02
    apart = np.abs((azimuth - theirs["azimuth"].to_numpy() + 180) % 360 - 180)
    sideways = apart * np.cos(np.radians(elevation))  # azimuth means little near the zenith
    assert sideways.max() < 0.02


def test_clear_sky_agrees_with_the_same_published_formula() -> None:
    elevation = np.linspace(-10.0, 90.0, 401)
    theirs = pvlib.clearsky.haurwitz(pd.Series(90.0 - elevation))["ghi"].to_numpy()
    assert np.abs(clear_sky_wm2(elevation) - theirs).max() < 1e-6


def test_split_agrees_with_erbs() -> None:
    elevation = np.repeat(np.linspace(4.0, 85.0, 40), 25)
    level = np.tile(np.linspace(0.0, 1.0, 25), 40) * clear_sky_wm2(elevation)
    theirs = pvlib.irradiance.erbs(level, 90.0 - elevation, 320)
    beam, diffuse = split_wm2(level, elevation, np.full(level.size, 320.0))
    assert np.abs(diffuse - theirs["dhi"]).max() < 6.0  # they vary the distance by more terms
    assert np.abs(beam - theirs["dni"]).max() < 20.0


@pytest.mark.parametrize("azimuth", [0.0, 90.0, 180.0, 270.0])
def test_sun_on_a_wall_agrees(azimuth: float) -> None:
    latitude, longitude = 44.31, -75.12
    times = pd.DatetimeIndex(MOMENTS).tz_localize("UTC")
    position = pvlib.solarposition.spa_python(times, latitude, longitude)
    level = clear_sky_wm2(position["elevation"].to_numpy())
    split = pvlib.irradiance.erbs(
        level, position["zenith"].to_numpy(), times.day_of_year.to_numpy()
    )
    theirs = pvlib.irradiance.get_total_irradiance(
        90.0, azimuth, position["zenith"], position["azimuth"],
        split["dni"], level, split["dhi"], albedo=0.2,
    )["poa_global"].to_numpy()  # fmt: skip
    ours = on_face_wm2(
        moments=MOMENTS,
        level_wm2=level,
        latitude_deg=latitude,
        longitude_deg=longitude,
        azimuth_deg=azimuth,
    )
    high = position["elevation"].to_numpy() > 5.0
    assert np.abs(ours - theirs)[high].max() < 20.0
    assert np.abs((ours - theirs)[high].mean()) < 3.0  # their solar constant is 0.4 % larger


def test_cloud_takes_three_quarters_at_most() -> None:
    """Kasten and Czeplak 1980: 1 − 0.75 (N/8)^3.4; half a sky of cloud takes 7.1 %."""
    shares = under_cloud_wm2(np.ones(3), np.array([0.0, 50.0, 100.0]))
    assert shares == pytest.approx([1.0, 1.0 - 0.75 * 0.5**3.4, 0.25], abs=1e-12)
    assert 1.0 - shares[1] == pytest.approx(0.071, abs=0.001)
