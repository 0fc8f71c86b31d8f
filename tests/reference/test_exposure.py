"""Cooling, frost, wood and mould against published values and sums worked by hand."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from rules import frost, mould, wetting, wood
from rules.indoor import indoor_temperature
from scheduler.planning.forecast.forecast_error import chance_at_or_below

with (Path(__file__).parent / "exposure.csv").open(encoding="utf-8") as file:
    ROWS = list(csv.DictReader(file))

FOOT, POUND, BTU = 0.3048, 0.45359237, 1055.05585262
PER_FT3 = POUND / FOOT**3
CONDUCTIVITY = BTU / 3600.0 / FOOT / (5.0 / 9.0)  # Btu/h ft °F in W/m K


def given(text: str) -> dict[str, float]:
    return {key: float(value) for key, value in (pair.split("=") for pair in text.split())}


def celsius(fahrenheit: float) -> np.ndarray:
    return np.array([(fahrenheit - 32.0) / 1.8])


def soil(row: dict[str, float]) -> frost.Soil:
    return frost.Soil(
        dry_density_kg_m3=row["density"] * PER_FT3,
        water_pct=row["water"],
        conductivity_w_mk=row.get("k", 1.0) * CONDUCTIVITY,
        surface_factor=row.get("n", 0.7),
    )


def air(row: dict[str, float]) -> dict[str, np.ndarray]:
    return {
        "air_temperature_c": np.array([row["t"]]),
        "relative_humidity_pct": np.array([row["h"]]),
    }


def cooled(row: dict[str, float], hours: float) -> np.ndarray:
    end, _ = indoor_temperature(
        air_temperature_c=np.full(math.ceil(hours) + 1, row["out"]),
        time_constant_h=row["tau"],
        indoor_start_c=row["start"],
    )
    return end


def of_ground(what: str, row: dict[str, float]) -> float:
    index = np.array([row["fi"] / 1.8])
    if what == "stefan_ft":
        return frost.stefan_depth(freezing_index_cd=index, soil=soil(row))[0] / FOOT
    terms = {
        "freezing_index_cd": index, "soil": soil(row), "days": row["d"],
        "mean_annual_c": celsius(row["annual"])[0],
    }  # fmt: skip
    if what == "berggren_ft":
        return frost.berggren_depth(**terms)[0] / FOOT
    return frost.berggren_factor(**terms)[0]


def of_wood(what: str, row: dict[str, float]) -> float:
    if what == "equilibrium_moisture":
        return wood.equilibrium_moisture(
            air_temperature_c=celsius(row["t"]), relative_humidity_pct=np.array([row["h"]])
        )[0]
    if what == "nfdrs_day":
        # the day's boundary of the published form, held for 24 hours
        boundary = ((24 - row["rain"]) * row["emc"] + row["rain"] * (0.5 * row["rain"] + 41)) / 24
        return wood.wood_moisture(
            equilibrium_pct=np.full(24, boundary), wet=np.zeros(24), start_pct=row["start"]
        )[-1]
    return wetting.driven_rain(
        rain_mm=np.array([row["r"]]),
        wind_speed_ms=np.array([row["v"]]),
        wind_from_direction_deg=np.array([(200.0 + row["angle"]) % 360.0]),
        facing_deg=200.0,
    )[0]


def of_cooling(what: str, row: dict[str, float]) -> float:
    if what == "cool_down":
        return cooled(row, row["hours"])[int(row["hours"]) - 1]
    if what == "hours_to":
        end = cooled(row, 24.0)
        path = np.concatenate([[row["start"]], end])
        left = np.log((path - row["out"]) / (row["limit"] - row["out"]))
        return np.interp(0.0, left[::-1], np.arange(path.size)[::-1])
    # the constant under which the house reaches the limit in just the observed hours
    tau = row["hours"] / math.log((row["start"] - row["out"]) / (row["limit"] - row["out"]))
    halves = cooled({**row, "tau": 2.0 * tau}, 2.0 * row["hours"])[int(2 * row["hours"]) - 1]
    assert halves == pytest.approx(row["limit"], abs=1e-9)
    return tau


def computed(what: str, text: str) -> float:
    if what.startswith("freezing_index"):
        daily = np.array([celsius(float(v))[0] for v in text.split()])
        counts = what.endswith("subtract")
        return frost.freezing_index(daily_mean_c=daily, thaw_counts=counts)[-1] * 1.8
    row = given(text)
    match what:
        case "stefan_ft" | "berggren_factor" | "berggren_ft":
            return of_ground(what, row)
        case "latent":
            return soil(row).latent_j_m3 / BTU * FOOT**3
        case "equilibrium_moisture" | "nfdrs_day" | "driven_rain":
            return of_wood(what, row)
        case "cool_down" | "hours_to" | "time_constant":
            return of_cooling(what, row)
        case "critical_humidity":
            return mould.critical_humidity(air_temperature_c=np.array([row["t"]]))[0]
        case "growth_rate":
            return mould.growth_rate(**air(row))[0]
        case "first_growth_weeks":
            return mould.first_growth_weeks(**air(row))[0]
        case "highest_index":
            return mould.highest_index(**air(row), sensitivity="very_sensitive")[0]
        case "gaussian_sigma":
            one = chance_at_or_below(
                forecast=0.0, limit=1.0, mean_absolute_error=row["mae"], fat=0
            )
            return 1.0 / _normal_quantile(one)
        case "gaussian_chance":
            return chance_at_or_below(
                forecast=row["forecast"], limit=row["limit"],
                mean_absolute_error=row["mae"], fat=0.0,
            )  # fmt: skip
    raise KeyError(what)


def _normal_quantile(chance: float) -> float:
    low, high = -10.0, 10.0
    for _ in range(200):
        middle = (low + high) / 2.0
        low, high = (
            (middle, high) if 0.5 * math.erfc(-middle / math.sqrt(2)) < chance else (low, middle)
        )
    return low


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['what']} {row['inputs']}")
def test_value_matches_its_source(row: dict[str, str]) -> None:
    value = computed(row["what"], row["inputs"])
    assert value == pytest.approx(float(row["expected"]), abs=float(row["abs_tol"]))


def test_mould_at_5_c_95_pct_shows_in_about_five_weeks_and_at_20_c_97_pct_in_ten_days() -> None:
    """The first microscopic growth (index 1), computed from the published rates by hand."""
    for t, h, days in ((5.0, 95.0, 35.6), (20.0, 97.0, 10.4)):
        index = mould.mould_index(
            air_temperature_c=np.full(24 * 60, t), relative_humidity_pct=np.full(24 * 60, h)
        )
        assert (index >= 1.0).argmax() / 24 == pytest.approx(days, rel=0.03)


def test_framing_passes_19_pct_at_86_to_87_pct_humidity() -> None:
    for fahrenheit in (32.0, 70.0):
        humidity = np.linspace(80, 92, 1201)
        moisture = wood.equilibrium_moisture(
            air_temperature_c=np.full(1201, celsius(fahrenheit)[0]),
            relative_humidity_pct=humidity,
        )
        assert 85.5 <= np.interp(19.0, moisture, humidity) <= 87.5
