"""The wall model: what must hold for every section and every weather."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rules.elements import (
    Section,
    block_wall,
    bond_beam_course,
    footing,
    fresh_start,
    network_of,
    slab,
)
from rules.errors import OutOfRange
from rules.films import FaceWeather, Place, Surroundings, covers, surroundings
from rules.heat import Traces, coarse, march
from rules.hydration import TYPE_I_II, Hydration
from rules.propagate import loss_matrix, steady_state, steps_of

START = np.datetime64("2026-11-10T12")
PLACE = Place(44.3, -75.1, ground_c=8.0)
airs = arrays(np.float64, (2, 60), elements=st.floats(-20, 25))
SECTIONS = [
    block_wall(),
    block_wall(thickness_in=12, grouted_share=0.3),
    bond_beam_course(),
    footing(depth_m=0.3),
    slab(depth_m=0.1).at_edge(),
]


def weather(air: np.ndarray, wind: float = 4.0) -> FaceWeather:
    hours = air.shape[-1]
    return FaceWeather(
        start=START + np.arange(hours) * np.timedelta64(1, "h"),
        air_temperature_c=air,
        wind_speed_ms=np.full(hours, wind),
        cloud_area_fraction_pct=np.full(hours, 40.0),
        dew_point_temperature_c=air - 4.0,
        precipitation_amount_mm=np.zeros(hours),
    )


def followed(
    section: Section,
    air: np.ndarray,
    cover: str = "bare",
    *,
    placed_c: float = 15.0,
    hours: int = 48,
    **other: object,
) -> Traces:
    return march(
        section=section,
        around=surroundings(weather(air), PLACE, [covers()[cover]], section),
        schedule=np.zeros(hours, dtype=np.intp),
        starts=np.array([0, 7]),
        begin_c=fresh_start(section, placed_c=placed_c, around_c=air[..., [0, 7], None]),
        hydration=TYPE_I_II,
        **other,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize("section", SECTIONS, ids=lambda s: s.name)
@settings(max_examples=15)
@given(air=airs, warmer=st.floats(0, 10))
def test_warmer_air_never_gives_a_colder_node(
    section: Section, air: np.ndarray, warmer: float
) -> None:
    cold = followed(section, air, keep_nodes=True).nodes_c
    warm = followed(section, air + warmer, keep_nodes=True).nodes_c
    assert cold is not None
    assert warm is not None
    assert (warm >= cold - 1e-9).all()


@pytest.mark.parametrize("section", SECTIONS, ids=lambda s: s.name)
@settings(max_examples=15)
@given(level=st.floats(-20, 8))
def test_on_the_cold_side_a_better_cover_never_gives_a_colder_node(
    section: Section, level: float
) -> None:
    """Air stays below the element: what holds heat in cannot make it colder."""
    air = np.full((1, 60), level)
    dry = [covers()["bare"], covers()["membrane"], covers()["blanket"]]
    traces = [
        march(
            section=section,
            around=surroundings(weather(air), replace(PLACE, ground_c=level), [cover], section),
            schedule=np.zeros(48, dtype=np.intp),
            starts=np.array([0]),
            begin_c=np.full((1, 1, network_of(section).nodes), 15.0),
            hydration=TYPE_I_II,
        ).coldest_c
        for cover in dry
    ]
    for worse, better in pairwise(traces):
        assert (better >= worse - 1e-9).all()


@pytest.mark.parametrize("section", SECTIONS, ids=lambda s: s.name)
@settings(max_examples=10)
@given(air=airs)
def test_halving_the_step_changes_less_than_a_hundredth(section: Section, air: np.ndarray) -> None:
    """Same linear boundary, a gentle one: forecasts do not jump 40 K in an hour."""
    calm = np.cumsum(np.clip(air, -3, 3) * 0.5, axis=-1) + 5.0
    whole, half = followed(section, calm), followed(section, calm, parts=4)
    assert np.abs(whole.coldest_c - half.coldest_c).max() < 0.01
    assert np.abs(whole.mean_c - half.mean_c).max() < 0.01


@settings(max_examples=20)
@given(air=airs)
def test_without_cement_heat_the_step_length_does_not_matter_at_all(air: np.ndarray) -> None:
    section = block_wall(grouted_share=0.0)
    whole, quarter = followed(section, air, parts=1), followed(section, air, parts=4)
    assert np.abs(whole.coldest_c - quarter.coldest_c).max() < 1e-9


@pytest.mark.parametrize("section", SECTIONS, ids=lambda s: s.name)
def test_energy_balance_closes(section: Section) -> None:
    """Heat in through faces and edges plus cement's heat is heat stored, to a millionth.

    The flow is summed apart, by Simpson's rule on steps of 1/64 h.
    """
    network, film = network_of(section), np.array([24.0, 6.0])
    loss, boundary = loss_matrix(network, film)
    fine = steps_of(network, film[None], step_h=1 / 64)
    coarse_step = steps_of(network, film[None], step_h=1.0)
    rng = np.random.default_rng(3)
    state = rng.uniform(0, 20, network.nodes)
    begun, ended = np.array([-3.0, 4.0]), np.array([-9.0, 6.0])
    heat = rng.uniform(0, 9e4, network.nodes) * (network.fresh_kg_m2 > 0)
    after = (
        coarse_step.kept[0] @ state
        + coarse_step.begun[0] @ begun
        + coarse_step.ended[0] @ ended
        + coarse_step.heated[0] @ heat
    )
    flows, here = [], state
    for part in range(65):
        felt = begun + (ended - begun) * part / 64
        flows.append(float((boundary @ felt - loss @ here).sum()))
        nxt = begun + (ended - begun) * (part + 1) / 64
        here = (
            fine.kept[0] @ here
            + fine.begun[0] @ felt
            + fine.ended[0] @ nxt
            + fine.heated[0] @ (heat / 64)
        )
    weights = np.array([1, *([4, 2] * 31), 4, 1]) / 3
    came_in = float(weights @ flows) * 3600 / 64
    stored = float(network.capacity_j_m2k @ (after - state))
    assert stored == pytest.approx(came_in + heat.sum(), abs=1e-6 * abs(heat.sum() + 1e5))


@settings(max_examples=15)
@given(air=airs, hour=st.integers(0, 47))
def test_a_gap_is_not_known_from_then_on(air: np.ndarray, hour: int) -> None:
    section = block_wall()
    holed = air.copy()
    holed[:, hour] = np.nan
    begin = fresh_start(section, placed_c=15.0, around_c=np.full((2, 1, 1), 5.0))
    traces = march(
        section=section,
        around=surroundings(weather(holed), PLACE, [covers()["bare"]], section),
        schedule=np.zeros(48, dtype=np.intp),
        starts=np.array([0]),
        begin_c=begin,
        hydration=TYPE_I_II,
    ).coldest_c
    known = ~np.isnan(traces[:, 0])
    assert known[:, :hour].all()
    assert not known[:, hour + 1 :].any()


def test_hours_after_the_forecast_are_not_known() -> None:
    section, air = block_wall(), np.full(30, 5.0)
    traces = followed(section, air, hours=48).coldest_c
    assert not np.isnan(traces[0, :31]).any()
    assert np.isnan(traces[0, 31:]).all()
    assert not np.isnan(traces[1, :24]).any()
    assert np.isnan(traces[1, 24:]).all()


@settings(max_examples=10)
@given(air=airs)
def test_starts_and_scenarios_do_not_touch_each_other(air: np.ndarray) -> None:
    section = block_wall()
    both = followed(section, air).coldest_c
    for row in range(2):
        assert np.allclose(both[row], followed(section, air[row]).coldest_c, atol=1e-12)


@settings(max_examples=20)
@given(air=airs)
def test_the_coarse_path_is_never_warmer_where_work_is_placed_warm(air: np.ndarray) -> None:
    section = block_wall()
    (around,) = surroundings(weather(air), PLACE, [covers()["bare"]], section)
    quick = coarse(section=section, around=around).fresh_c
    begin = np.full((2, 2, network_of(section).nodes), 30.0)
    full = march(
        section=section,
        around=[around],
        schedule=np.zeros(48, dtype=np.intp),
        starts=np.array([0, 7]),
        begin_c=begin,
        hydration=TYPE_I_II,
    ).coldest_c
    assert (quick[:, :49] <= full[:, 0] + 1e-9).all()
    assert (quick[:, 7:56] <= full[:, 1] + 1e-9).all()


@settings(max_examples=20)
@given(air=airs)
def test_the_coarse_path_equals_marching_without_cement(air: np.ndarray) -> None:
    section = block_wall()
    dead = Hydration("none", 1e-9, 1e-9, 1.0, 1.0)
    (around,) = surroundings(weather(air), PLACE, [covers()["bare"]], section)
    quick = coarse(section=section, around=around).fresh_c
    kind = around.face_w_m2k[around.strongest]
    begin = steady_state(network_of(section), kind, around.face_c[:, 0])[:, None, :]
    full = march(
        section=section,
        around=[around],
        schedule=np.zeros(60, dtype=np.intp),
        starts=np.array([0]),
        begin_c=begin,
        hydration=dead,
    ).coldest_c
    assert np.abs(quick - full[:, 0]).max() < 1e-9


def test_a_gap_wears_off_in_the_coarse_path() -> None:
    air = np.full(400, 5.0)
    air[100] = np.nan
    section = block_wall()
    (around,) = surroundings(weather(air), PLACE, [covers()["bare"]], section)
    quick = coarse(section=section, around=around).fresh_c
    assert not np.isnan(quick[:100]).any()
    assert np.isnan(quick[100:125]).all()
    assert not np.isnan(quick[200:]).any()


def test_a_heated_enclosure_holds_its_air() -> None:
    section = block_wall()
    (around,) = surroundings(weather(np.full(60, -15.0)), PLACE, [covers()["enclosure"]], section)
    assert isinstance(around, Surroundings)
    assert (around.face_c == 10.0).all()
    cold = followed(section, np.full((1, 60), -15.0), "enclosure").coldest_c
    assert cold.min() > -7.0
    assert cold[0, 0, -1] > 10.0


def test_wet_and_windy_covers_hold_less() -> None:
    section, air = block_wall(), np.full(40, 0.0)
    (dry,) = surroundings(weather(air), PLACE, [covers()["blanket"]], section)
    rain = replace(weather(air), precipitation_amount_mm=np.r_[1.0, np.zeros(39)])
    (wet,) = surroundings(rain, PLACE, [covers()["blanket"]], section)
    (blowy,) = surroundings(weather(air, 9.0), PLACE, [covers()["blanket"]], section)
    through = dry.face_w_m2k[dry.kind, 0]
    assert (wet.face_w_m2k[wet.kind, 0] > through)[:13].all()
    assert (wet.face_w_m2k[wet.kind, 0] == through)[13:].all()
    assert (blowy.face_w_m2k[blowy.kind, 0] > 1.8 * through).all()


def test_the_sun_warms_the_face_that_looks_at_it() -> None:
    section, air = block_wall(), np.full(24, 0.0)
    south = replace(PLACE, sun=True)
    faces = [
        surroundings(weather(air), place, [covers()["bare"]], section)[0].face_c[:, 0]
        for place in (PLACE, replace(south, azimuth_deg=0.0), south)
    ]
    noon = 5  # 17 UTC at 75 degrees west
    assert faces[0][noon] < faces[1][noon] < faces[2][noon] - 5.0
    assert faces[0][14] == faces[2][14]  # 02 UTC: night


def test_missing_columns_are_taken_on_their_cold_side_and_named() -> None:
    section, air = block_wall(), np.full(30, -2.0)
    bare_table = FaceWeather(start=weather(air).start, air_temperature_c=air)
    (found,) = surroundings(bare_table, PLACE, [covers()["blanket"]], section)
    (known,) = surroundings(weather(air, 6.0), PLACE, [covers()["blanket"]], section)
    assert set(found.assumed) == {
        "wind_speed_ms",
        "cloud_area_fraction_pct",
        "dew_point_temperature_c",
        "precipitation_amount_mm",
    }
    assert known.assumed == ()
    assert (found.face_c <= known.face_c).all()
    through = known.face_w_m2k[known.kind, 0]
    assert (found.face_w_m2k[found.kind, 0] >= through).all()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: block_wall(thickness_in=7), "not in the book"),
        (lambda: block_wall(grouted_share=60.0), "not percent"),
        (lambda: footing(depth_m=0.0), "no thickness"),
        (
            lambda: surroundings(
                weather(np.zeros(3)),
                replace(PLACE, ground_c=None),
                [covers()["bare"]],
                footing(depth_m=0.2),
            ),
            "how warm the ground",
        ),
        (
            lambda: surroundings(
                weather(np.zeros(3), -1.0), PLACE, [covers()["bare"]], block_wall()
            ),
            "wind is negative",
        ),
    ],
)
def test_nonsense_is_refused(make: object, words: str) -> None:
    with pytest.raises(OutOfRange, match=words):
        make()  # type: ignore[operator]
