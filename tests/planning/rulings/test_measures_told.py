"""What is asked for over fresh masonry, and that one cover of several is enough."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from scheduler.planning.calls.decide import decide
from scheduler.planning.calls.strength import FREEZES
from scheduler.planning.model.answer import TaskAnswer
from scheduler.planning.model.job import State, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.tables.hours import Forecast
from tests.planning.evidence.made import BOOK, NOW, job, mild

COVERS = ("weather_resistive_cover", "insulating_blankets")
LAID = Task(
    "lay", "Lay", "lay_block", 5.0, state=State.DONE,
    started_at=NOW - timedelta(hours=6), finished_at=NOW - timedelta(hours=1),
)  # fmt: skip
KEPT = replace(LAID, id="keep", name="Keep", work_type="protect_masonry", state=State.TO_DO)


def rain_at(hour: int) -> Forecast:
    """Return mild hours with 3 mm of rain in one, counted from now."""
    told = mild()
    rain = told.table.columns["precipitation_amount_mm"].copy()
    now = int(NOW.timestamp() // 3600)
    rain[np.asarray(told.table.start).astype(np.int64) == now + hour] = 3.0
    columns = {**told.table.columns, "precipitation_amount_mm": rain}
    return replace(told, table=replace(told.table, columns=columns))


def answer(task: Task, forecast: Forecast) -> TaskAnswer:
    made = replace(job(task), on_hand=COVERS)
    return decide(made, forecast, None, Progress(), BOOK, NOW)[0]


@pytest.mark.parametrize("task", [LAID, KEPT])
def test_fresh_joints_are_covered_before_rain_whoever_keeps_them(task: Task) -> None:
    """Mortar can wash out until 8 to 24 h old (trade page after TEK 03-01C)."""
    covers = [m.measure for m in answer(task, rain_at(4)).measures if m.measure in COVERS]
    assert covers == ["weather_resistive_cover"]


def test_rain_after_a_day_asks_for_no_cover_over_what_is_kept() -> None:
    assert not answer(KEPT, rain_at(30)).measures


def test_lights_are_for_the_dark_hours_alone() -> None:
    """29 CFR 1926.56 asks 5 foot-candles where people work; the sun gives them after it is up."""
    rise, down = NOW + timedelta(minutes=40), NOW + timedelta(hours=9)
    frame = Task("frame", "Frame", "framing", 6.0)
    made = job(frame)
    found = decide(made, mild(), None, Progress(), BOOK, NOW, sun=lambda _: (rise, down))[0]
    lights = [(m.start, m.end) for m in found.measures if m.measure == "lights"]
    assert lights == [(NOW, rise)]


def test_a_cover_that_outlasts_the_forecast_ends_on_the_clock_with_a_look_again() -> None:
    """500 psi resists one freeze (PCA, Powers 1962); at 0 to 5 C it takes days (EN 1992-1-1 B)."""
    element = {"thickness_m": 0.203, "cement": "type_i_ii", "grouted": True}
    grout = Task("grout", "Grout", "place_grout", 4.0, element=element)
    made = replace(job(grout), on_hand=COVERS)
    told = mild(air_temperature_c=4.0, dew_point_temperature_c=-2.0)
    air = told.table.columns["air_temperature_c"].copy()
    air[26:34] = -3.0  # the first night
    columns = {**told.table.columns, "air_temperature_c": air}
    cold = replace(told, table=replace(told.table, columns=columns))
    found = decide(made, cold, None, Progress(), BOOK, NOW)[0]
    ends = [m.end for m in found.measures if m.rule == FREEZES]
    assert ends
    assert all(end is not None and end > NOW + timedelta(hours=48) for end in ends)
