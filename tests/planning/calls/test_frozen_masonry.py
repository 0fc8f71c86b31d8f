"""Grout on masonry that froze through the night: the hours before the work count.

TMS 602 1.8 C (Masonry Magazine, September 2004, table 2): masonry is brought to 40 °F before grout
in the cold. That a hollow 8 in. wall lags the air by about three hours is common practice.
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from rules.book import load_book
from scheduler.planning.calls.decide import decide
from scheduler.planning.model.answer import Outcome, TaskAnswer
from scheduler.planning.model.job import Calendar, Job, Shift, Site, Task
from scheduler.planning.model.log import Entry, EntryKind, Fact, Progress, Reading
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

NOW = datetime(2026, 11, 3, 10, 30, tzinfo=UTC)  # 05:30 at the site
SEVEN = NOW + timedelta(hours=1, minutes=30)
BACK_H, HOURS = 30, 200


def answer(night_c: float, *entries: Entry, hours_back: int = BACK_H) -> TaskAnswer:
    """Decide a grouting after a night at one temperature and a jump to 7 °C at seven."""
    first = SEVEN - timedelta(hours=hours_back)
    hours = np.arange(HOURS)
    air = np.where(hours < hours_back, night_c, 7.0)
    columns = {
        "air_temperature_c": air, "dew_point_temperature_c": air - 8.0,
        "relative_humidity_pct": np.full(HOURS, 55.0), "wind_speed_ms": np.full(HOURS, 1.5),
        "wind_speed_of_gust_ms": np.full(HOURS, 3.0),
        "precipitation_amount_mm": np.zeros(HOURS),
        "precipitation_probability_pct": np.zeros(HOURS),
    }  # fmt: skip
    start = np.datetime64(int(first.timestamp() // 3600), "h") + hours * np.timedelta64(1, "h")
    forecast = Forecast(HourlyTable(start, columns), Provenance("made", NOW, NOW))
    grout = Task("grout", "Grout", "place_grout", 4.0, element={"grouted": True})
    job = Job(
        "bank", Site("Bank", 42.4, -71.1, 10.0, "America/New_York"), "us", "tms602-2016",
        Calendar((Shift(time(7), time(16)),) * 7), (grout,),
        on_hand=("heat_surface", "weather_resistive_cover", "insulating_blankets"),
    )  # fmt: skip
    found = decide(job, forecast, None, Progress(entries), load_book("tms602-2016"), NOW)
    return found[0]


def asked(found: TaskAnswer) -> set[str]:
    return {line.measure for line in found.measures}


@pytest.mark.parametrize("night_c", [-25.0, -15.0, -6.0])
def test_after_a_night_of_frost_the_masonry_is_warmed_first(night_c: float) -> None:
    found = answer(night_c)
    at_seven = found.window is not None and found.window.start == SEVEN
    assert found.outcome is not Outcome.GO or not at_seven
    assert not at_seven or "heat_surface" in asked(found)


def test_after_a_mild_night_nothing_is_asked_for_the_masonry() -> None:
    found = answer(5.0)
    assert found.window is not None
    assert found.window.start == SEVEN
    assert "heat_surface" not in asked(found)
    assert all(
        limit.rule != "frozen.cells" or limit.outcome is Outcome.GO for limit in found.limits
    )


def entry(**told: object) -> Entry:
    kind = EntryKind.READING if "reading" in told else EntryKind.FACT
    at = NOW - timedelta(minutes=20)
    return Entry(1, at, at, kind, **told)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "told",
    [
        entry(reading=Reading("unit_core_temperature", 15.0, "degF", at=NOW)),
        entry(reading=Reading("masonry_temperature", -2.0, "degC", at=NOW)),
        entry(fact=Fact("units", "frost_or_ice", value=True, at=NOW)),
    ],
)
def test_cold_cells_that_were_read_or_ice_in_them_refuse_the_grout(told: Entry) -> None:
    assert answer(5.0, told).outcome is Outcome.NO_GO


def test_masonry_that_was_read_frozen_is_looked_at_again_when_the_reading_is_old() -> None:
    """A bad reading that no longer decides is not a good one: TMS 602 1.8 C.2, nothing is laid
    on frozen masonry; that only a newer look says it is over is common practice, no source."""
    read = datetime(2026, 11, 2, 15, tzinfo=UTC)
    told = Reading("masonry_temperature", -4.0, "degC", place="north corner", at=read)
    found = answer(5.0, Entry(1, read, read, EntryKind.READING, reading=told))
    assert found.window is not None
    assert any(
        check.check == "read_coldest_corner" and "go once seen" in check.text
        for check in found.checks
    )
    assert "heat_surface" not in asked(found)
