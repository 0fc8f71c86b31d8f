"""Frost going into the ground under bare or shallow footings and in an open basement.

References
----------
UFC 3-130-06 (formerly TM 5-852-6), Calculation Methods for Determination of Depths of Freeze and
Thaw in Soils; Aldrich and Paynter (1953) for the modified Berggren coefficient, here by the
approximation ``1 / sqrt(1 + mu (alpha + 0.5))``. Water's heat of fusion is 144 Btu/lb as the
manual has it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from rules.verdict import FloatArray

FUSION_J_PER_KG: Final = 144.0 * 2326.0
WATER_SPECIFIC_HEAT: Final = 4186.8  # J/kg K
SNOW_CONDUCTIVITY: Final = 0.2  # W/m K, settled new snow; from memory, fresh snow insulates better


@dataclass(frozen=True, slots=True)
class Soil:
    """Soil as frost sees it; the usual values are those of the manual's worked examples."""

    dry_density_kg_m3: float = 1762.0  # 110 lb/ft3
    water_pct: float = 15.0  # by weight of dry soil
    conductivity_w_mk: float = 1.73  # 1.0 Btu/h ft °F
    surface_factor: float = 0.7  # n: surface over air freezing index, bare soil; from memory

    @property
    def latent_j_m3(self) -> float:
        """Return the heat that freezing a cubic metre gives off."""
        return FUSION_J_PER_KG * self.dry_density_kg_m3 * self.water_pct / 100.0

    @property
    def capacity_j_m3k(self) -> float:
        """Return the volumetric heat capacity, mean of frozen and thawed."""
        by_weight = 0.17 + 0.75 * self.water_pct / 100.0
        return self.dry_density_kg_m3 * by_weight * WATER_SPECIFIC_HEAT


def freezing_index(*, daily_mean_c: FloatArray, thaw_counts: bool = False) -> FloatArray:
    """Return the degree-days below freezing so far, day by day: (..., days), [°C d].

    With ``thaw_counts`` warm days take degree-days back, down to zero; without it they count
    nothing. Both are in use: say which.
    """
    below = -daily_mean_c
    if not thaw_counts:
        total: FloatArray = np.cumsum(np.maximum(below, 0.0), axis=-1)
        return total
    return _above_lowest(np.cumsum(below, axis=-1))


def freezing_index_by_hour(*, air_temperature_c: FloatArray) -> FloatArray:
    """Return the degree-days of frost still in the ground by hour: (..., hours), [°C d].

    Thaw takes back what frost gave, down to zero. NaN from the first gap on.
    """
    return _above_lowest(np.cumsum(-air_temperature_c / 24.0, axis=-1))


def _above_lowest(running: FloatArray) -> FloatArray:
    lowest = np.minimum(np.minimum.accumulate(running, axis=-1), 0.0)
    above: FloatArray = running - lowest
    return above


def stefan_depth(
    *, freezing_index_cd: FloatArray, soil: Soil, cover_m2k_w: float = 0.0
) -> FloatArray:
    """Depth of frost by Stefan, ground at 0 °C when frost begins: the deep side.

    Parameters
    ----------
    freezing_index_cd : (..., hours)
        Of the air. [°C d]
    soil : Soil
    cover_m2k_w : number
        Resistance of blankets, straw or foam on the ground. [m² K/W]

    Returns
    -------
    (..., hours)
        Depth below the surface. [m]

    References
    ----------
    ``X = sqrt(2 k n FI 86400 / L)``; with a resistance R on top the same balance gives
    ``X = sqrt((k R)^2 + 2 k n FI 86400 / L) - k R``.
    """
    k, behind = soil.conductivity_w_mk, soil.conductivity_w_mk * cover_m2k_w
    energy = 2.0 * k * soil.surface_factor * freezing_index_cd * 86400.0 / soil.latent_j_m3
    depth: FloatArray = np.sqrt(behind**2 + energy) - behind
    return depth


def berggren_factor(
    *, freezing_index_cd: FloatArray, soil: Soil, days: FloatArray | float, mean_annual_c: float
) -> FloatArray:
    """Return what the soil's own warmth takes off Stefan's depth: lambda, 0 to 1.

    Parameters
    ----------
    freezing_index_cd : (...)
        Of the air. [°C d]
    days : number or (...)
        Length of the freezing season. [d]
    mean_annual_c : number
        Mean annual air temperature, which the ground had before. [°C]
    """
    surface = soil.surface_factor * freezing_index_cd / days
    warmth = soil.capacity_j_m3k * (abs(mean_annual_c) + 0.5 * surface) / soil.latent_j_m3
    factor: FloatArray = 1.0 / np.sqrt(1.0 + warmth)  # mu (alpha + 0.5), without dividing by 0
    return factor


def berggren_depth(
    *, freezing_index_cd: FloatArray, soil: Soil, days: FloatArray | float, mean_annual_c: float
) -> FloatArray:
    """Return the depth of frost by the modified Berggren equation, [m]."""
    factor = berggren_factor(
        freezing_index_cd=freezing_index_cd, soil=soil, days=days, mean_annual_c=mean_annual_c
    )
    return factor * stefan_depth(freezing_index_cd=freezing_index_cd, soil=soil)


def frost_depth(
    *,
    air_temperature_c: FloatArray,
    soil: Soil,
    cover_m2k_w: float = 0.0,
    snow_depth_mm: FloatArray | None = None,
) -> FloatArray:
    """Depth of frost hour by hour by Stefan's balance, thaw from above included.

    Parameters
    ----------
    air_temperature_c : (..., hours)
        Air over the ground. [°C]
    soil : Soil
    cover_m2k_w : number
        Resistance of blankets or foam. [m² K/W]
    snow_depth_mm : (..., hours), optional
        Snow lying on the ground; None counts none, which is the deep side. [mm]

    Returns
    -------
    (..., hours)
        [m]; NaN from the first gap on.

    References
    ----------
    As ``stefan_depth``, marched because snow comes and goes: over an hour
    ``(X + k R)^2`` grows by ``2 k n 3600 (0 - T) / L`` and never falls under ``(k R)^2``.
    """
    if snow_depth_mm is None:
        index = freezing_index_by_hour(air_temperature_c=air_temperature_c)
        return stefan_depth(freezing_index_cd=index, soil=soil, cover_m2k_w=cover_m2k_w)
    k = soil.conductivity_w_mk
    behind = k * (cover_m2k_w + snow_depth_mm / 1000.0 / SNOW_CONDUCTIVITY)
    gain = -2.0 * k * soil.surface_factor * 3600.0 * air_temperature_c / soil.latent_j_m3
    gain, behind = np.broadcast_arrays(gain, behind)
    depth = np.empty(gain.shape)
    now = np.zeros(gain.shape[:-1])
    for hour in range(gain.shape[-1]):  # snow changes the resistance from hour to hour
        shift = behind[..., hour]
        square = (now + shift) ** 2 + gain[..., hour]
        now = np.sqrt(np.maximum(square, shift**2)) - shift
        depth[..., hour] = now
    return depth
