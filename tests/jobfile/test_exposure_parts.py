"""The exposure limits as people write them, and as planning sees them."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from scheduler.jobfile.exposure_parts import ExposurePart, exposure_limits


def test_nothing_said_is_the_usual_open_house() -> None:
    limits = exposure_limits(ExposurePart.model_validate({}))
    assert limits.time_constant_h == 10.0
    assert limits.indoor_freezing_c == 0.0
    assert limits.wood is None
    assert limits.ground is None


def test_us_units_become_si() -> None:
    limits = exposure_limits(
        ExposurePart.model_validate(
            {
                "indoor_freezing_f": 35,
                "heat_kw": 6,
                "heat_w_per_k": 400,
                "wood": {"at_most_pct": 19, "rain_inside_in": 0.5, "faces": ["west", "northwest"]},
                "ground": {
                    "frost_free_in": 12, "dry_density_lb_ft3": 110, "conductivity_btu": 1.0,
                    "blanket_r": 5,
                },
                "gusts": {"raised_house_mph": 40},
                "covers": [{"name": "house wrap", "since": "2026-10-20", "days": 90}],
            }
        )
    )  # fmt: skip
    assert limits.indoor_freezing_c == pytest.approx(1.6667, abs=1e-4)
    assert limits.heat_w == 6000.0
    assert limits.wood is not None
    assert limits.wood.rain_inside_mm == pytest.approx(12.7)
    assert limits.wood.faces_deg == (270.0, 315.0)
    assert limits.ground is not None
    assert limits.ground.frost_free_m == pytest.approx(0.3048)
    assert limits.ground.soil.dry_density_kg_m3 == pytest.approx(1762.0, abs=0.5)
    assert limits.ground.soil.conductivity_w_mk == pytest.approx(1.7307, abs=1e-3)
    assert limits.ground.blanket_m2k_w == pytest.approx(0.8806, abs=1e-3)
    assert limits.gusts.raised_house_ms == pytest.approx(17.8816)
    assert limits.covers[0].days == 90


@pytest.mark.parametrize(
    "given",
    [
        {"heat_kw": 5},
        {"time_constant_h": 8, "openings": {"area_ft2": 80, "heat_capacity_kwh_per_k": 9,
                                            "closed_time_constant_h": 30}},
        {"ground": {}},
        {"ground": {"frost_free_in": 12, "frost_free_m": 0.3}},
        {"wood": {"faces": ["up"]}},
        {"covers": [{"name": "wrap", "since": "2026-10-20", "days": 0}]},
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(given: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        ExposurePart.model_validate(given)
