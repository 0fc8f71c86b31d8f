"""What is done before leaving: what stands open, over just the hours nobody is there."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from rules.book import load_book, measures
from rules.leaving import left_standing, verbs
from scheduler.planning.calls.decide import decide
from scheduler.planning.evidence.known import known
from scheduler.planning.model.answer import Outcome
from scheduler.planning.model.free_time import Away, coming
from scheduler.planning.model.job import Calendar, Job, OnCall, Shift, Site, State, Task
from scheduler.planning.model.log import Entry, EntryKind, Fact, Progress
from scheduler.planning.reports.leaving import Leave, leave_list
from scheduler.planning.tables.hours import Forecast, HourlyTable, Provenance

NOW = datetime(2026, 11, 10, 13, tzinfo=UTC)  # Tuesday 08:00 at the site
BOOK = load_book()
WEEK = (*[Shift(time(7), time(16))] * 5, None, None)
SITE = Site("Pell Hollow", 43.0, -74.0, 200.0, "America/New_York")
RAISED = Task(
    "raise", "raise", "raise_house", 8.0, state=State.DONE, opens=("floor",),
    started_at=NOW - timedelta(days=2), finished_at=NOW - timedelta(days=2, hours=-8),
)  # fmt: skip
COLUMNS = {
    "air_temperature_c": 8.0,
    "wind_speed_ms": 2.0,
    "wind_speed_of_gust_ms": 4.0,
    "precipitation_amount_mm": 0.0,
}


def seen(hours: int = 48, age_h: float = 1.0, **columns: object) -> Forecast:
    start = np.datetime64("2026-11-10T10", "h") + np.arange(hours)
    given = {**COLUMNS, **columns}
    table = {name: np.broadcast_to(v, (hours,)).astype(float) for name, v in given.items()}  # type: ignore[call-overload]
    issued = NOW - timedelta(hours=age_h)
    return Forecast(HourlyTable(start, table), Provenance("grid", issued, issued))


def ask(
    forecast: Forecast, *tasks: Task, facts: tuple[Fact, ...] = (), job: Job | None = None
) -> Leave:
    made = job or Job("house", SITE, "us", "tms602-2016", Calendar(WEEK), tasks or (RAISED,))
    entries = tuple(
        Entry(i + 1, NOW, NOW, EntryKind.FACT, fact=fact) for i, fact in enumerate(facts)
    )
    progress = Progress(entries)
    answers = decide(made, forecast, None, progress, BOOK, NOW)
    tonight = coming(made, NOW)[0]
    state = known(made, forecast, None, progress, NOW)
    return leave_list(state, tonight, book=BOOK, answers=answers)


def asked_for(leave: Leave) -> set[str]:
    return {name for line in leave.lines for name in (line.what, *line.or_else)}


def test_tonight_runs_from_the_end_of_the_shift_to_the_next_one() -> None:
    job = Job("house", SITE, "us", "tms602-2016", Calendar(WEEK), (RAISED,))
    tonight, weekend = coming(job, NOW)
    assert tonight == Away(NOW + timedelta(hours=8), NOW + timedelta(hours=23))
    assert weekend.days_off == (date(2026, 11, 14), date(2026, 11, 15))
    assert weekend.start == datetime(2026, 11, 13, 21, tzinfo=UTC)


def test_after_the_shift_tonight_begins_now_and_a_friday_is_before_days_off() -> None:
    job = Job("house", SITE, "us", "tms602-2016", Calendar(WEEK), (RAISED,))
    late = NOW + timedelta(hours=10)
    assert coming(job, late)[0].start == late
    (friday,) = coming(job, NOW + timedelta(days=3))
    assert len(friday.days_off) == 2


def test_a_job_without_working_hours_leaves_nothing() -> None:
    idle = Job("house", SITE, "us", "tms602-2016", Calendar((None,) * 7), (RAISED,))
    assert coming(idle, NOW) == ()


def test_a_frosty_night_drains_the_lines_with_value_hour_and_source() -> None:
    air = np.full(48, 5.0)
    air[20] = -3.0  # 01:00 at the site, inside the night
    leave = ask(seen(air_temperature_c=air))
    drain = next(line for line in leave.lines if line.what == "shut_off_and_drain_water")
    assert drain.do == "drain"
    assert drain.known
    assert drain.limit is not None
    assert drain.limit.value is not None
    assert abs(float(drain.limit.value) - 26.6) < 0.01
    assert drain.limit.at == datetime(2026, 11, 11, 6, tzinfo=UTC)
    assert drain.source


def test_frost_outside_those_hours_asks_for_nothing_tonight() -> None:
    air = np.full(48, 5.0)
    air[:8] = -3.0  # this morning
    air[40:] = -3.0  # tomorrow night
    assert "shut_off_and_drain_water" not in asked_for(ask(seen(air_temperature_c=air)))


def test_drained_lines_are_not_drained_again() -> None:
    drained = Fact("water_lines", "filled", value=False, at=NOW - timedelta(hours=2))
    assert "shut_off_and_drain_water" not in asked_for(
        ask(seen(air_temperature_c=-5.0), facts=(drained,))
    )


def test_weather_that_is_not_known_is_no_reason_to_leave_it() -> None:
    short = seen(hours=16)  # ends at 21:00 at the site
    for forecast in (short, seen(age_h=30.0), seen(air_temperature_c=np.nan)):
        drains = [line for line in ask(forecast).lines if line.what == "shut_off_and_drain_water"]
        assert drains
        assert not any(line.known for line in drains)


def test_one_hour_missing_in_the_night_is_not_known() -> None:
    gust = np.full(48, 4.0)
    gust[22] = np.nan
    wind = np.full(48, 2.0)
    wind[22] = np.nan
    leave = ask(seen(wind_speed_of_gust_ms=gust, wind_speed_ms=wind))
    assert any(line.what == "brace_cribs" and not line.known for line in leave.lines)


def test_wind_braces_the_cribs_and_keeps_people_out() -> None:
    leave = ask(seen(wind_speed_of_gust_ms=20.0))
    assert {"brace_cribs", "keep_people_out"} <= asked_for(leave)
    assert "raised_house" in {line.caution for line in leave.cautions}


def test_a_house_set_down_is_not_braced() -> None:
    down = Task(
        "lower", "lower", "lower_house", 8.0, state=State.DONE, closes=("floor",),
        started_at=NOW - timedelta(days=1), finished_at=NOW - timedelta(hours=20),
    )  # fmt: skip
    leave = ask(seen(wind_speed_of_gust_ms=20.0), RAISED, down)
    assert "brace_cribs" not in asked_for(leave)
    assert leave.left == ("water lines",)


def test_fresh_work_keeps_its_cover_through_the_night() -> None:
    laid = Task(
        "lay", "lay", "lay_block", 6.0, state=State.DONE, element={"grouted": False},
        started_at=NOW - timedelta(hours=20), finished_at=NOW - timedelta(hours=14),
    )  # fmt: skip
    lines = ask(seen(air_temperature_c=2.0), RAISED, laid).lines
    assert any(line.of == "lay" and line.do == "cover" and not line.only_if for line in lines)


def test_a_wall_without_its_floor_is_fenced_off_in_wind() -> None:
    laid = Task(
        "lay", "lay", "lay_block", 6.0, state=State.DONE, element={"grouted": False},
        started_at=NOW - timedelta(hours=20), finished_at=NOW - timedelta(hours=14),
    )  # fmt: skip
    leave = ask(seen(wind_speed_of_gust_ms=12.0), RAISED, laid)
    assert "brace_wall" in asked_for(leave)
    assert "wall_collapse_in_wind" in {line.caution for line in leave.cautions}


def test_who_is_on_call_goes_by_the_evening() -> None:
    people = (OnCall("weekends", "1", (4, 5)), OnCall("always", "2"))
    job = Job(
        "house", SITE, "us", "tms602-2016", Calendar(WEEK), (RAISED,), on_call=people
    )  # fmt: skip
    assert [one.name for one in ask(seen(), job=job).on_call] == ["always"]


def test_every_word_of_the_list_is_one_of_the_book() -> None:
    assert set(verbs()) <= set(measures())
    for thing in left_standing():
        rows = [r for r in BOOK.rows_for(thing.judged_as) if r.id.startswith(thing.rows)]
        assert rows, thing.name
        assert any(r.bands for r in rows)


def test_more_wind_never_asks_for_less() -> None:
    before: set[str] = set()
    for gust in (4.0, 12.0, 14.5, 19.0, 30.0):
        leave = ask(seen(wind_speed_of_gust_ms=gust))
        cribs = {line.what for line in leave.lines if line.of == "house on cribs"}
        assert before <= cribs
        before = cribs
    assert Outcome.GO not in {line.limit.outcome for line in leave.lines if line.limit}
