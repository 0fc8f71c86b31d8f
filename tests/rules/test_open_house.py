"""Water, frost and mould: balances closed, directions right, gaps kept."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rules import frost, mould, wetting, wood
from rules.errors import OutOfRange
from rules.exposure import NEVER, first_above, first_below, first_hour
from rules.indoor import indoor_temperature, open_time_constant
from scheduler.planning.tables import finish as tables

AIR = arrays(np.float64, 96, elements=st.floats(-25, 25))
RAIN = arrays(np.float64, 96, elements=st.floats(0, 8))
HUMIDITY = arrays(np.float64, 96, elements=st.floats(5, 100))


def test_never_is_the_planning_tables_never() -> None:
    assert NEVER == tables.NEVER


@given(air=AIR, water=RAIN)
def test_snow_and_rain_are_all_the_water_and_nothing_is_lost_in_melting(
    air: np.ndarray, water: np.ndarray
) -> None:
    rain, snow = wetting.rain_and_snow(precipitation_amount_mm=water, air_temperature_c=air)
    np.testing.assert_allclose(rain + snow, water)
    lying, melted = wetting.snow_lying(snow_mm=snow, air_temperature_c=air)
    assert (lying >= -1e-12).all()
    np.testing.assert_allclose(np.cumsum(snow), lying + np.cumsum(melted), atol=1e-9)
    assert (melted[air <= 0.0] <= 1e-12).all()


def test_snow_lying_is_the_plain_bookkeeping() -> None:
    rng = np.random.default_rng(0)
    air, snow = rng.normal(0, 4, 300), rng.exponential(0.3, 300) * (rng.random(300) < 0.2)
    held, book = 0.0, []
    for t, fallen in zip(air, snow, strict=True):
        held = max(held + fallen - 3.0 / 24.0 * max(t, 0.0), 0.0)
        book.append(held)
    lying, _ = wetting.snow_lying(snow_mm=snow, air_temperature_c=air)
    np.testing.assert_allclose(lying, book, atol=1e-12)


@given(rain=RAIN, more=st.floats(0, 5), wind=st.floats(0, 20))
def test_more_wind_or_rain_is_never_less_water_inside(
    rain: np.ndarray, more: float, wind: float
) -> None:
    def through(amount: np.ndarray, speed: float) -> np.ndarray:
        return wetting.driven_rain(
            rain_mm=amount,
            wind_speed_ms=np.full(amount.size, speed),
            wind_from_direction_deg=np.full(amount.size, 250.0),
            facing_deg=270.0,
        )

    assert (through(rain + more, wind) >= through(rain, wind) - 1e-12).all()
    assert (through(rain, wind + more) >= through(rain, wind) - 1e-12).all()
    unknown = wetting.driven_rain(
        rain_mm=rain, wind_speed_ms=np.full(96, wind), wind_from_direction_deg=None,
        facing_deg=0.0,
    )  # fmt: skip
    assert (unknown >= through(rain, wind)).all()


@given(air=AIR, humidity=HUMIDITY, rain=RAIN, start=st.floats(8, 30))
def test_wood_stays_between_what_the_air_and_the_rain_ask_for(
    air: np.ndarray, humidity: np.ndarray, rain: np.ndarray, start: float
) -> None:
    asked = wood.equilibrium_moisture(air_temperature_c=air, relative_humidity_pct=humidity)
    wet = wetting.wet_hours(water_mm=rain)
    got = wood.wood_moisture(equilibrium_pct=asked, wet=wet, start_pct=start)
    dry = wood.wood_moisture(equilibrium_pct=asked, wet=np.zeros(96), start_pct=start)
    assert (got >= dry - 1e-9).all()
    assert got.min() >= min(start, asked.min()) - 1e-9
    assert got.max() <= max(start, 53.0)


def test_water_in_wood_is_what_went_in_less_what_went_out() -> None:
    rng = np.random.default_rng(4)
    asked, wet = rng.uniform(8, 22, 200), (rng.random(200) < 0.2).astype(float)
    got = wood.wood_moisture(equilibrium_pct=asked, wet=wet, start_pct=18.0)
    before = np.concatenate([[18.0], got[:-1]])
    rained = np.array([wet[max(h - 23, 0) : h + 1].sum() for h in range(200)])
    boundary = np.where(wet > 0, 41.0 + 0.5 * rained, asked)
    flow = (1.0 - wood.HOUR_LEFT) * (boundary - before)
    assert got[-1] - 18.0 == pytest.approx(flow.sum(), abs=1e-9)


def test_drying_time_runs_the_same_step_backwards() -> None:
    hours = wood.drying_hours(start_pct=24.0, limit_pct=18.0, equilibrium_pct=12.0)
    run = wood.wood_moisture(equilibrium_pct=np.full(200, 12.0), wet=np.zeros(200), start_pct=24.0)
    assert run[int(np.ceil(hours)) - 1] <= 18.0 < run[int(np.ceil(hours)) - 2]
    assert wood.drying_hours(start_pct=24.0, limit_pct=18.0, equilibrium_pct=18.0) == float("inf")
    assert wood.drying_hours(start_pct=17.0, limit_pct=18.0, equilibrium_pct=20.0) == 0.0


def test_humidity_over_a_hundred_is_refused() -> None:
    with pytest.raises(OutOfRange):
        wood.equilibrium_moisture(
            air_temperature_c=np.array([5.0]), relative_humidity_pct=np.array([101.0])
        )


@given(air=AIR, colder=st.floats(0, 10), cover=st.floats(0, 3))
def test_colder_is_never_shallower_and_a_blanket_never_deeper(
    air: np.ndarray, colder: float, cover: float
) -> None:
    soil = frost.Soil()
    bare = frost.frost_depth(air_temperature_c=air, soil=soil)
    assert (frost.frost_depth(air_temperature_c=air - colder, soil=soil) >= bare - 1e-12).all()
    blanket = frost.frost_depth(air_temperature_c=air, soil=soil, cover_m2k_w=cover)
    assert (blanket <= bare + 1e-9).all()


@given(air=AIR, cover=st.floats(0, 3))
def test_the_march_without_snow_is_the_closed_form(air: np.ndarray, cover: float) -> None:
    soil = frost.Soil()
    closed = frost.frost_depth(air_temperature_c=air, soil=soil, cover_m2k_w=cover)
    march = frost.frost_depth(
        air_temperature_c=air, soil=soil, cover_m2k_w=cover, snow_depth_mm=np.zeros(96)
    )
    np.testing.assert_allclose(march, closed, atol=1e-9)


@given(air=AIR, snow=arrays(np.float64, 96, elements=st.floats(0, 400)))
def test_snow_keeps_frost_out_as_long_as_it_freezes(air: np.ndarray, snow: np.ndarray) -> None:
    soil, air = frost.Soil(), -np.abs(air)
    bare = frost.frost_depth(air_temperature_c=air, soil=soil)
    under = frost.frost_depth(air_temperature_c=air, soil=soil, snow_depth_mm=snow)
    assert (under <= bare + 1e-9).all()


def test_freezing_the_ground_takes_the_heat_that_left_it() -> None:
    """Latent heat of the frozen layer is the heat conducted through it (Stefan's balance)."""
    soil = frost.Soil(surface_factor=1.0)
    air = np.full(24 * 20, -6.0)
    depth = frost.frost_depth(air_temperature_c=air, soil=soil)
    mean = np.sqrt((depth[:-1] ** 2 + depth[1:] ** 2) / 2.0)
    conducted = (soil.conductivity_w_mk * 6.0 / mean * 3600.0).sum()
    assert conducted == pytest.approx(soil.latent_j_m3 * (depth[-1] - depth[0]), rel=2e-3)


def test_thaw_takes_frost_back_and_no_more() -> None:
    air = np.concatenate([np.full(48, -5.0), np.full(100, 6.0), np.full(24, -5.0)])
    depth = frost.frost_depth(air_temperature_c=air, soil=frost.Soil())
    assert depth[120] == 0.0
    assert depth[-1] == pytest.approx(depth[23], abs=1e-12)


@given(air=AIR, humidity=HUMIDITY)
def test_mould_stays_on_its_scale(air: np.ndarray, humidity: np.ndarray) -> None:
    got = mould.mould_index(air_temperature_c=air, relative_humidity_pct=humidity)
    assert ((got >= 0.0) & (got <= 6.0)).all()


@given(air=st.floats(-5, 30), humidity=st.floats(60, 100), wetter=st.floats(0, 30))
def test_mould_in_steady_air_is_never_less_where_it_is_wetter(
    air: float, humidity: float, wetter: float
) -> None:
    def index(h: float) -> np.ndarray:
        return mould.mould_index(
            air_temperature_c=np.full(500, air),
            relative_humidity_pct=np.full(500, min(h, 100.0)),
        )

    assert (index(humidity + wetter) >= index(humidity) - 1e-12).all()


def test_mould_needs_warmth_and_damp() -> None:
    damp = np.full(24 * 90, 98.0)
    frozen = mould.mould_index(
        air_temperature_c=np.full(24 * 90, -1.0), relative_humidity_pct=damp
    )
    dry = mould.mould_index(
        air_temperature_c=np.full(24 * 90, 22.0), relative_humidity_pct=np.full(24 * 90, 79.0)
    )
    assert frozen.max() == 0.0
    assert dry.max() == 0.0


def test_mould_declines_by_the_published_steps_when_it_dries() -> None:
    air, damp = np.full(24 * 30 + 48, 20.0), np.full(24 * 30 + 48, 97.0)
    damp[24 * 30 :] = 50.0
    index = mould.mould_index(air_temperature_c=air, relative_humidity_pct=damp)
    at = index[24 * 30 - 1]
    assert at - index[24 * 30 + 5] == pytest.approx(0.032 * 6 / 24, abs=1e-9)
    assert index[24 * 30 + 5] == index[24 * 30 + 23]
    assert index[24 * 30 + 23] - index[24 * 30 + 47] == pytest.approx(0.016, abs=1e-9)


@given(hole=st.integers(0, 95))
def test_a_gap_is_unknown_from_there_on(hole: int) -> None:
    air, damp, rain = np.full(96, 5.0), np.full(96, 90.0), np.zeros(96)
    air[hole] = damp[hole] = rain[hole] = np.nan
    traces = [
        frost.frost_depth(air_temperature_c=air, soil=frost.Soil()),
        mould.mould_index(air_temperature_c=air, relative_humidity_pct=damp),
        wood.wood_moisture(
            equilibrium_pct=wood.equilibrium_moisture(
                air_temperature_c=air, relative_humidity_pct=damp
            ),
            wet=wetting.wet_hours(water_mm=rain),
            start_pct=15.0,
        ),
    ]
    for trace in traces:
        assert np.isfinite(trace[:hole]).all()
        assert np.isnan(trace[hole:]).all()


def test_a_value_at_the_limit_is_frozen_but_still_dry_enough() -> None:
    values = np.array([1.0, 0.0, 2.0])
    assert first_below(values, 0.0) == (1, NEVER)
    assert first_above(values, 2.0) == (NEVER, NEVER)
    assert first_hour(np.zeros((2, 3), dtype=bool)).tolist() == [NEVER, NEVER]


@given(wind=arrays(np.float64, 96, elements=st.floats(0, 20)), air=AIR)
def test_wind_through_openings_brings_the_house_nearer_to_the_weather(
    wind: np.ndarray, air: np.ndarray
) -> None:
    tau = open_time_constant(
        closed_time_constant_h=30.0,
        heat_capacity_wh_per_k=9000.0,
        opening_area_m2=2.0,
        wind_speed_ms=wind,
    )
    assert ((tau > 0) & (tau <= 30.0 + 1e-9)).all()
    end, lowest = indoor_temperature(
        air_temperature_c=air, time_constant_h=tau, indoor_start_c=10.0
    )
    assert (lowest >= min(10.0, air.min()) - 1e-9).all()
    assert (end <= max(10.0, air.max()) + 1e-9).all()
