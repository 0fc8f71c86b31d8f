"""How far the place that a forecast is for lies from the site."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import Finding, Forecast

EARTH_RADIUS_KM: Final = 6371.0088  # mean radius, IUGG
FAR_KM: Final = 5.0  # two cells of the 2.5 km national grid
HIGH_M: Final = 100.0  # 0.65 K at the standard lapse rate, ICAO Doc 7488: half a trade band


def distance_km(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Return the great-circle distance of two points given as latitude and longitude, in km.

    References
    ----------
    Sinnott, R. W. (1984), Virtues of the haversine, Sky and Telescope 68 (2), 159.
    """
    (lat_a, lon_a), (lat_b, lon_b) = ((math.radians(p[0]), math.radians(p[1])) for p in (a, b))
    chord = (
        math.sin((lat_b - lat_a) / 2) ** 2
        + math.cos(lat_a) * math.cos(lat_b) * math.sin((lon_b - lon_a) / 2) ** 2
    )
    return 2 * EARTH_RADIUS_KM * math.asin(min(1.0, math.sqrt(chord)))


def at_site(forecast: Forecast, site: Site) -> Forecast:
    """Return the forecast with its distance from the site, and what is odd about its place."""
    of = forecast.provenance
    findings = list(of.findings)
    away = None
    if of.latitude_deg is not None and of.longitude_deg is not None:
        here = (site.latitude_deg, site.longitude_deg)
        away = distance_km(here, (of.latitude_deg, of.longitude_deg))
        if away > FAR_KM:
            findings.append(
                Finding("", f"the forecast is for a place {away:.0f} km from the site")
            )
    if of.elevation_m is not None and abs(of.elevation_m - site.elevation_m) > HIGH_M:
        what = f"the cell lies at {of.elevation_m:.0f} m, the site at {site.elevation_m:.0f} m"
        findings.append(Finding("", what))
    return replace(forecast, provenance=replace(of, distance_km=away, findings=tuple(findings)))
