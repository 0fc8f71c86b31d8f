"""Air, evaporation, heat balance and strength tables against published values and hand sums."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from rules.air import heat_index, wind_chill
from rules.cold_work import longest_work_period, warm_breaks
from rules.evaporation import evaporation_rate, menzel_rate
from rules.mix import Batch, mixed_c, water_needed_c
from rules.unit_strength import masonry_strength_psi
from rules.units import convert
from rules.wind import velocity_pressure_pa

with (Path(__file__).parent / "air_and_mix.csv").open(encoding="utf-8") as file:
    ROWS = list(csv.DictReader(file))

PSF = convert(1.0, "psi", "Pa") / 144.0


def in_unit(value: str, unit: str, to: str) -> np.ndarray:
    return np.array([convert(float(value), unit, to)])


def batch(given: dict[str, str]) -> Batch:
    return Batch(
        aggregate_kg=float(given["sand"]),
        cement_kg=float(given["cement"]),
        water_kg=float(given["water"]),
        aggregate_c=float(given["sand_c"]),
        cement_c=float(given["cement_c"]),
        free_water_kg=float(given["free"]),
    )


def slab(given: dict[str, str]) -> dict[str, object]:
    return {
        "air_temperature_c": in_unit(given["taf"], "degF", "degC"),
        "concrete_temperature_c": in_unit(given["tcf"], "degF", "degC"),
        "relative_humidity_pct": np.array([float(given["rh"])]),
    }


def computed(what: str, given: dict[str, str]) -> float:
    match what:
        case "convert":
            return convert(float(given["value"]), given["from"], given["to"])
        case "mixed_c":
            return mixed_c(batch(given), water_c=float(given["water_c"]))
        case "water_needed_c":
            return water_needed_c(batch(given), mixed_c=float(given["mixed_c"]))
        case "evaporation":
            return evaporation_rate(
                air_temperature_c=np.array([float(given["ta"])]),
                concrete_temperature_as_placed_c=np.array([float(given["tc"])]),
                relative_humidity_pct=np.array([float(given["rh"])]),
                wind_speed_ms=in_unit(given["kmh"], "km/h", "m/s"),
                slab_wind_share=1.0,
            )[0]
        case "evaporation_lb":
            wind = in_unit(given["mph"], "mph", "m/s")
            air = slab(given)
            placed = air.pop("concrete_temperature_c")
            rate = evaporation_rate(
                **air,
                concrete_temperature_as_placed_c=placed,
                wind_speed_ms=wind,
                slab_wind_share=1.0,
            )
            return convert(rate[0], "kg/m2/h", "lb/ft2/h")
        case "menzel_lb":
            wind = in_unit(given["mph"], "mph", "m/s")
            return convert(
                menzel_rate(**slab(given), wind_speed_05m_ms=wind)[0], "kg/m2/h", "lb/ft2/h"
            )
        case "velocity_pressure_psf":
            gust = in_unit(given["mph"], "mph", "m/s")
            return velocity_pressure_pa(wind_speed_of_gust_ms=gust)[0] / PSF
        case "wind_chill":
            felt = wind_chill(
                air_temperature_c=in_unit(given["f"], "degF", "degC"),
                wind_speed_ms=in_unit(given["mph"], "mph", "m/s"),
            )
            return convert(felt[0], "degC", "degF")
        case "heat_index":
            felt = heat_index(
                air_temperature_c=in_unit(given["f"], "degF", "degC"),
                relative_humidity_pct=np.array([float(given["rh"])]),
            )
            return convert(felt[0], "degC", "degF")
        case "work_period_min" | "warm_breaks":
            cold = {
                "air_temperature_c": np.array([float(given["c"])]),
                "wind_speed_ms": in_unit(given["kmh"], "km/h", "m/s"),
            }
            if what == "warm_breaks":
                return warm_breaks(**cold)[0]
            return convert(longest_work_period(**cold)[0], "h", "min")
    year = {"masonry_strength_2011": "2011", "masonry_strength_2013": "2013-on"}[what]
    return masonry_strength_psi(
        unit_strength_psi=float(given["unit"]),
        mortar=given["mortar"],  # type: ignore[arg-type]
        table=f"unit-strength-{year}",
    )


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['what']}-{row['inputs']}")
def test_a_value_matches_its_source(row: dict[str, str]) -> None:
    given = dict(pair.split("=", 1) for pair in row["inputs"].split())
    expected = pytest.approx(float(row["expected"]), abs=float(row["abs_tol"]))
    assert computed(row["what"], given) == expected
    assert row["kind"] in {"published", "worked"}
    assert row["source"]


def test_wind_chill_and_heat_index_agree_with_an_independent_library() -> None:
    thermofeel = pytest.importorskip("thermofeel")
    air_c, wind_ms = np.meshgrid(np.linspace(-40.0, 10.0, 60), np.linspace(1.4, 30.0, 60))
    ours = wind_chill(air_temperature_c=air_c, wind_speed_ms=wind_ms)
    theirs = thermofeel.calculate_wind_chill(air_c + 273.15, wind_ms) - 273.15
    # The library uses the metric form of the same index, whose rounded coefficients differ.
    assert np.abs(ours - theirs).max() < 0.15
    warm_c, dew_c = np.meshgrid(np.linspace(27.0, 43.0, 40), np.linspace(5.0, 26.0, 40))
    humidity = thermofeel.calculate_relative_humidity_percent(warm_c + 273.15, dew_c + 273.15)
    felt = heat_index(air_temperature_c=warm_c, relative_humidity_pct=humidity)
    other = thermofeel.calculate_heat_index_adjusted(warm_c + 273.15, dew_c + 273.15) - 273.15
    assert np.abs(felt - other).max() < 1e-6
