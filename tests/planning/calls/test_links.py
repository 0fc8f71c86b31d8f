"""A task waits for its predecessor's own possible finish, and for the wait after it."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import numpy as np

from rules.book import load_book
from scheduler.planning.calls.decide import decide
from scheduler.planning.model.answer import Call, Outcome, TaskAnswer
from scheduler.planning.model.job import Appointment, Calendar, Job, Link, Shift, Site, Task
from scheduler.planning.model.log import Progress
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

NOW = datetime(2026, 11, 9, 11, tzinfo=UTC)  # Monday 06:00 at the site
HOURS = 192
WAIT_H = 72.0


def answers(wet_h: int, visit: datetime) -> dict[str, TaskAnswer]:
    """Decide with rain that keeps the grout off for the first hours; the lifter is booked."""
    grout = Task("grout", "Grout", "place_grout", 4.0)
    booked = Appointment("house_lifter", visit, slots=(visit + timedelta(days=7),))
    lower = Task(
        "lower", "Lower", "lower_house", 6.0, after=(Link("grout", wait_h=WAIT_H),),
        appointment=booked, load="uniform",
    )  # fmt: skip
    job = Job(
        "bank", Site("Bank", 42.4, -71.1, 10.0, "America/New_York"), "us", "tms602-2016",
        Calendar((Shift(time(7), time(16)),) * 7), (lower, grout),
    )  # fmt: skip
    hours = np.arange(HOURS)
    cold = np.where(hours < wet_h, -20.0, 12.0)
    columns = {
        "air_temperature_c": cold, "dew_point_temperature_c": cold - 8.0,
        "relative_humidity_pct": np.full(HOURS, 55.0), "wind_speed_ms": np.full(HOURS, 1.5),
        "wind_speed_of_gust_ms": np.full(HOURS, 3.0),
        "precipitation_amount_mm": np.zeros(HOURS),
        "precipitation_probability_pct": np.zeros(HOURS),
    }  # fmt: skip
    start = np.datetime64(int(NOW.timestamp() // 3600), "h") + hours * np.timedelta64(1, "h")
    forecast = Forecast(HourlyTable(start, columns), Provenance("made", NOW, NOW))
    found = decide(job, forecast, None, Progress(), load_book("tms602-2016"), NOW)
    assert [one.task for one in found] == ["lower", "grout"]  # in the job's own order
    return {one.task: one for one in found}


def test_a_visit_before_the_grout_can_be_old_enough_is_refused() -> None:
    """Grout can go on Thursday at the earliest; its 72 h end on Sunday."""
    told = answers(72, visit=NOW + timedelta(days=3, hours=7))
    grout, lower = told["grout"], told["lower"]
    fit = grout.window if grout.outcome is Outcome.GO else grout.next_window
    assert fit is not None
    assert fit.start is not None
    assert fit.start >= NOW + timedelta(hours=72)
    assert lower.outcome is Outcome.NO_GO
    assert lower.call not in {Call.GO, Call.GO_WITH_PROTECTION}
    late = [limit.at for limit in lower.limits if limit.quantity == "after grout"]
    assert late == [fit.start + timedelta(hours=4 + WAIT_H)]


def test_work_that_nobody_can_date_dates_nothing_after_it() -> None:
    told = answers(HOURS, visit=NOW + timedelta(days=4))
    assert told["grout"].outcome is Outcome.NO_GO
    assert told["lower"].call not in {Call.GO, Call.GO_WITH_PROTECTION}
    assert told["lower"].next_window is None
