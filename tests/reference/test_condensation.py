"""Dew point and vapour pressure against psychrolib, an independent library after ASHRAE."""

from __future__ import annotations

import numpy as np
import pytest

from rules.condensation import dew_point_c, saturation_pressure_pa

psychrolib = pytest.importorskip("psychrolib")


@pytest.fixture(autouse=True)
def _si() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("temperature", [-40.0, -20.0, -5.0, -0.5, 0.5, 5.0, 20.0, 40.0])
def test_saturation_pressure_agrees(temperature: float) -> None:
    theirs = psychrolib.GetSatVapPres(temperature)
    assert saturation_pressure_pa(np.array([temperature]))[0] == pytest.approx(theirs, rel=1e-6)


@pytest.mark.parametrize("temperature", [-25.0, -10.0, -1.0, 3.0, 10.0, 25.0, 38.0])
@pytest.mark.parametrize("humidity", [15.0, 40.0, 65.0, 90.0, 99.0, 100.0])
def test_dew_point_agrees(temperature: float, humidity: float) -> None:
    theirs = psychrolib.GetTDewPointFromRelHum(temperature, humidity / 100.0)
    ours = dew_point_c(
        air_temperature_c=np.array([temperature]), relative_humidity_pct=np.array([humidity])
    )[0]
    assert ours == pytest.approx(theirs, abs=0.01)


@pytest.mark.parametrize(
    ("air", "humidity", "dew"), [(20.0, 50.0, 9.27), (25.0, 60.0, 16.70), (0.01, 100.0, 0.01)]
)
def test_dew_point_of_common_tables(air: float, humidity: float, dew: float) -> None:
    """Psychrometric tables: 20 °C and 50 % give 9.3 °C, 25 °C and 60 % give 16.7 °C."""
    ours = dew_point_c(
        air_temperature_c=np.array([air]), relative_humidity_pct=np.array([humidity])
    )[0]
    assert ours == pytest.approx(dew, abs=0.05)
