"""The wall model against exact solutions of the heat equation.

H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., 1959: plane wall with a
film at both faces (3.11), half space (2.4, 2.7), square bar by product (5.6), wall in series
(3.2). The series and products are worked here; nothing comes from our own code.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from rules.elements import Layer, Section, block_wall, network_of
from rules.films import Surroundings
from rules.heat import coarse, march
from rules.hydration import TYPE_I_II, ageing_rate
from rules.propagate import steady_state, steps_of

CONDUCTIVITY, CAPACITY = 1.65, 2.2e6
DIFFUSIVITY = CONDUCTIVITY / CAPACITY


def plane_wall(biot: float, fourier: float, x: np.ndarray) -> np.ndarray:
    """Excess over the air of a wall cooling from one, x from −1 to 1."""
    total = np.zeros_like(x)
    for n in range(120):
        low, high = n * math.pi + 1e-9, n * math.pi + math.pi / 2 - 1e-9
        root = brentq(lambda z: z * math.tan(z) - biot, low, high)
        weight = 4 * math.sin(root) / (2 * root + math.sin(2 * root))
        total += weight * math.exp(-root * root * fourier) * np.cos(root * x)
    return total


def steady_air(temperature_c: float, hours: int, conductance: float) -> Surroundings:
    return Surroundings(
        face_c=np.full((hours, 2), temperature_c),
        kind=np.zeros(hours, dtype=np.int16),
        face_w_m2k=np.array([[conductance, conductance]]),
        strongest=0,
    )


@pytest.mark.parametrize("biot", [0.1, 1.0, 10.0])
def test_cooling_wall_follows_the_exact_series(biot: float) -> None:
    half = 0.1
    network = network_of(Section("wall", (Layer(2 * half, CONDUCTIVITY, CAPACITY, parts=8),)))
    film = biot * CONDUCTIVITY / half
    step = steps_of(network, np.array([[film, film]]))
    state, x = np.ones(network.nodes), np.linspace(-1.0, 1.0, 9)
    for hour in range(1, 49):
        state = step.kept[0] @ state
        exact = plane_wall(biot, DIFFUSIVITY * 3600 * hour / half**2, x)
        assert np.abs(state - exact).max() < 0.005


def test_seven_nodes_are_enough_for_a_block_wall() -> None:
    """A wall 0.2 m thick in 4 m/s of wind has a Biot number near 1.5."""
    half, film = 0.1, 24.0
    network = network_of(Section("wall", (Layer(2 * half, CONDUCTIVITY, CAPACITY, parts=6),)))
    step = steps_of(network, np.array([[film, film]]))
    state = np.ones(7)
    for hour in range(1, 49):
        state = step.kept[0] @ state
        fourier = DIFFUSIVITY * 3600 * hour / half**2
        exact = plane_wall(film * half / CONDUCTIVITY, fourier, np.linspace(-1, 1, 7))
        assert np.abs(state - exact).max() < 0.005


def test_deep_ground_follows_the_error_function() -> None:
    """Surface put to 1 at once: erfc(x / 2√(αt))."""
    parts, depth = 100, 2.0
    network = network_of(Section("soil", (Layer(depth, 1.5, 3.0e6, parts=parts),)))
    step = steps_of(network, np.array([[1e7, 0.0]]))
    state, x = np.zeros(parts + 1), np.linspace(0.0, depth, parts + 1)
    for hour in range(1, 73):
        state = step.kept[0] @ state + step.begun[0][:, 0] + step.ended[0][:, 0]
        if hour >= 4:
            reach = 2 * math.sqrt(0.5e-6 * 3600 * hour)
            exact = np.array([math.erfc(depth_m / reach) for depth_m in x])
            assert np.abs(state - exact).max() < 0.005


def test_surface_that_warms_evenly_follows_the_half_space() -> None:
    """Surface temperature t: 4 t i²erfc(x / 2√(αt)), in hours; exact steps meet the ramp."""
    parts, depth = 100, 2.0
    network = network_of(Section("soil", (Layer(depth, 1.5, 3.0e6, parts=parts),)))
    step = steps_of(network, np.array([[1e7, 0.0]]))
    state = np.zeros(parts + 1)
    for hour in range(48):
        state = (
            step.kept[0] @ state + step.begun[0][:, 0] * hour + step.ended[0][:, 0] * (hour + 1)
        )
    for node in range(parts + 1):
        z = node * depth / parts / (2 * math.sqrt(0.5e-6 * 3600 * 48))
        twice = 0.25 * (
            (1 + 2 * z * z) * math.erfc(z) - 2 * z / math.sqrt(math.pi) * math.exp(-z * z)
        )
        assert state[node] == pytest.approx(48 * 4 * twice, abs=48 * 0.002)


def test_steady_wall_is_the_sum_of_its_resistances() -> None:
    """0.13 + 0.0318/1.35 + core + 0.0318/1.35 + 0.04 m²K/W, by hand for a solid wall of 1.35."""
    layers = (Layer(0.03, 1.35, 2e6), Layer(0.12, 0.6, 1e6, parts=4), Layer(0.03, 1.35, 2e6))
    network = network_of(Section("wall", layers))
    nodes = steady_state(network, np.array([25.0, 1 / 0.13]), np.array([-10.0, 20.0]))
    resistance = 0.04 + 0.03 / 1.35 + 0.12 / 0.6 + 0.03 / 1.35 + 0.13
    flow = 30.0 / resistance
    assert nodes[0] == pytest.approx(-10.0 + flow * 0.04, abs=1e-9)
    assert nodes[1] == pytest.approx(-10.0 + flow * (0.04 + 0.03 / 1.35), abs=1e-9)
    assert nodes[-1] == pytest.approx(20.0 - flow * 0.13, abs=1e-9)


def test_edge_is_no_warmer_than_the_exact_corner_of_a_bar() -> None:
    """A square bar cooling in air: the corner is the product of two plane walls.

    From the third hour on; before, no fresh work can freeze.
    """
    for half, film in ((0.1, 8.0), (0.1, 24.0), (0.15, 24.0), (0.1, 2.0)):
        section = Section(
            "bar", (Layer(2 * half, CONDUCTIVITY, CAPACITY, 1.0, fresh_share=1.0, parts=8),)
        ).at_edge()
        network = network_of(section)
        step = steps_of(network, np.array([[film, film]]))
        state, worst = np.ones(9), 0.0
        for hour in range(1, 49):
            state = step.kept[0] @ state
            face = plane_wall(
                film * half / CONDUCTIVITY, DIFFUSIVITY * 3600 * hour / half**2, np.array([1.0])
            )[0]
            worst = max(worst, float(state.min() - face * face)) if hour >= 3 else worst
        assert worst < 0.01, (half, film)


def test_closed_block_warms_as_its_cement_gives_heat() -> None:
    """No heat leaves: T rises by cement × heat / (ρc), integrated apart by a fine solver."""
    cement = 330.0
    section = Section(
        "closed", (Layer(0.2, CONDUCTIVITY, CAPACITY, cement, fresh_share=1.0, parts=4),)
    )
    hours = 120
    traces = march(
        section=section,
        around=[steady_air(0.0, hours, 0.0)],
        schedule=np.zeros(hours, dtype=np.intp),
        starts=np.array([0]),
        begin_c=np.full((1, 5), 12.0),
        hydration=TYPE_I_II,
    )

    def temperature(age_h: float) -> float:
        return 12.0 + cement * float(TYPE_I_II.released_j_kg(np.array([age_h]))[0]) / CAPACITY

    solved = solve_ivp(
        lambda _, age: [float(ageing_rate(temperature_c=np.array([temperature(age[0])]))[0])],
        (0, hours),
        [0.0],
        t_eval=np.arange(hours + 1),
        rtol=1e-9,
        atol=1e-9,
    )
    exact = np.array([temperature(age) for age in solved.y[0]])
    assert np.abs(traces.mean_c[0] - exact).max() < 0.05
    assert exact[-1] > 35.0  # it did warm


def test_ultimate_rise_is_heat_over_capacity() -> None:
    """After a very long time: 330 kg/m³ × 440 kJ/kg × 0.72 / 2.2 MJ/m³K = 47.5 K."""
    released = TYPE_I_II.released_j_kg(np.array([1e9]))[0]
    assert 330.0 * released / CAPACITY == pytest.approx(330 * 440e3 * 0.72 / 2.2e6, rel=1e-3)


def test_coarse_trace_of_a_daily_swing_has_the_exact_amplitude_and_lag() -> None:
    """Both faces in air that swings by a sine: cosh(κx) over cosh and film (C&J 3.6)."""
    half, film = 0.1, 20.0
    section = Section("wall", (Layer(2 * half, CONDUCTIVITY, CAPACITY, parts=24),))
    omega = 2 * math.pi / (24 * 3600)
    hours = np.arange(24 * 20)
    air = np.cos(omega * 3600 * hours)
    around = Surroundings(
        face_c=np.stack([air, air], axis=-1),
        kind=np.zeros(hours.size, dtype=np.int16),
        face_w_m2k=np.array([[film, film]]),
        strongest=0,
    )
    found = coarse(section=section, around=around).fresh_c[: hours.size]
    kappa = np.sqrt(1j * omega / DIFFUSIVITY)
    x = np.linspace(-half, half, 25)
    shape = np.cosh(kappa * x) / (
        np.cosh(kappa * half) + CONDUCTIVITY * kappa / film * np.sinh(kappa * half)
    )
    swing = np.real(shape[:, None] * np.exp(1j * omega * 3600 * hours))
    assert np.abs(found - swing.min(axis=0))[24 * 10 :].max() < 0.01


def test_block_wall_conducts_as_its_layers_say() -> None:
    wall = network_of(block_wall(thickness_in=8, grouted_share=0.0))
    core = 0.12 * 1.35 + 0.88 * 0.1304 / 0.18
    by_hand = 2 * 0.0318 / 1.35 + 0.1304 / core
    assert (1.0 / wall.conductance_w_m2k).sum() == pytest.approx(by_hand, rel=1e-9)
