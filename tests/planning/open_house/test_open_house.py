"""Every limit of the open house: passed when it should be, left out when it cannot be judged."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from rules.exposure import NEVER
from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.forecast.scenarios import scenarios
from scheduler.planning.model.envelope import hour_opened, open_parts
from scheduler.planning.model.job import (
    Calendar,
    CoverLimit,
    ExposureLimits,
    GroundLimits,
    GustLimits,
    Job,
    OpeningsToWind,
    Site,
    State,
    Task,
    WoodLimits,
)
from scheduler.planning.model.log import Progress
from scheduler.planning.model.standing import standings
from scheduler.planning.open_house.closein_date import Ends, closein_date
from scheduler.planning.open_house.closing_work import fit_hours, work_runs_out
from scheduler.planning.open_house.open_house import breaches
from scheduler.planning.tables.hours import HourlyTable

START = np.datetime64("2026-11-02T05", "h")
NOW = datetime(2026, 11, 2, 5, tzinfo=UTC)
HOURS = 240
WEST = WoodLimits(at_most_pct=19.0, rain_inside_mm=5.0, mould_index=1.0, faces_deg=(270.0,))


def job(tasks: tuple[Task, ...] = (), **limits: object) -> Job:
    return Job(
        name="t",
        site=Site("t", 44.0, -75.0, 100.0, "America/New_York"),
        units="us",
        book="tms602-2016",
        calendar=Calendar(week=(None,) * 7),
        tasks=tasks,
        exposure=ExposureLimits(**limits),  # type: ignore[arg-type]
    )


def weather(**columns: np.ndarray | float) -> HourlyTable:
    usual = {
        "air_temperature_c": 6.0, "relative_humidity_pct": 75.0, "wind_speed_ms": 3.0,
        "wind_speed_of_gust_ms": 5.0, "wind_from_direction_deg": 270.0,
        "precipitation_amount_mm": 0.0,
    }  # fmt: skip
    made = {**usual, **columns}
    return HourlyTable(
        start=START + np.arange(HOURS),
        columns={n: np.broadcast_to(np.asarray(v, float), (HOURS,)) for n, v in made.items()},
    )


def passed(job_: Job, table: HourlyTable, limit: str, **kwargs: int) -> int:
    return int({b.limit: b for b in breaches(job_, table, **kwargs)}[limit].passed)


def at(hour: int, value: float, base: float = 0.0, length: int = 1) -> np.ndarray:
    made = np.full(HOURS, base)
    made[hour : hour + length] = value
    return made


def test_a_mild_dry_calm_week_passes_nothing() -> None:
    strict = job(
        wood=WEST,
        ground=GroundLimits(0.1),
        gusts=GustLimits(15.0, 12.0),
        water_lines_hang=True,
        covers=(CoverLimit("house wrap", date(2026, 10, 20), 90),),
    )
    found = breaches(strict, weather())
    assert len(found) == 9
    assert {b.limit for b in found if b.passed < NEVER} == set()
    assert all(b.unknown == NEVER for b in found)


def test_each_limit_is_passed_by_its_own_weather() -> None:
    storm = at(30, 20.0, 5.0)
    assert passed(job(gusts=GustLimits(15.0)), weather(wind_speed_of_gust_ms=storm),
                  "raised_house_gust") == 30  # fmt: skip
    cold = at(50, -12.0, 6.0, 40)
    # Stefan by hand: 0.05² · 8.853e7 / (2 · 1.73 · 0.7 · 86400) = 1.058 °C d, 2.1 h at -12 °C
    reached = passed(
        job(ground=GroundLimits(0.05)), weather(air_temperature_c=cold), "ground_frost"
    )
    assert reached == 52
    assert passed(job(ground=GroundLimits(0.05, blanket_m2k_w=1.0)),
                  weather(air_temperature_c=cold), "ground_frost") == NEVER  # fmt: skip
    # 2/9 · 9 · 1 = 2 mm an hour through a west opening: 5 mm are passed in the third hour
    rain = {"precipitation_amount_mm": at(40, 1.0, 0.0, 6), "wind_speed_ms": 9.0}
    assert passed(job(wood=WEST), weather(**rain), "rain_inside") == 42
    east = weather(**rain, wind_from_direction_deg=90.0)
    assert passed(job(wood=WEST), east, "rain_inside") == NEVER
    soaked = weather(precipitation_amount_mm=2.0, wind_speed_ms=6.0)
    assert passed(job(wood=WEST), soaked, "wood_moisture") < 24
    warm = weather(relative_humidity_pct=97.0, air_temperature_c=20.0)
    assert passed(job(wood=WEST), warm, "mould") == NEVER  # ten days are just too short
    grown = replace(WEST, mould_index=0.5)
    assert 110 < passed(job(wood=grown), warm, "mould") < 140


def test_a_covering_runs_out_on_its_day_in_local_time() -> None:
    wrapped = job(covers=(CoverLimit("house wrap", date(2026, 10, 7), 30),))
    # 6 November 00:00 Eastern Standard Time is 05:00 UTC, four days after the first hour
    assert passed(wrapped, weather(), "sun_on_house_wrap") == 96
    long_gone = job(covers=(CoverLimit("tarp", date(2026, 7, 1), 30),))
    assert passed(long_gone, weather(), "sun_on_tarp") == 0


def test_wind_through_openings_freezes_the_house_sooner_and_heat_later() -> None:
    cold = weather(air_temperature_c=-5.0)
    windy = OpeningsToWind(area_m2=1.0, heat_capacity_wh_per_k=9000.0, closed_time_constant_h=30.0)
    still = passed(job(time_constant_h=30.0), cold, "indoor_air")
    blown = passed(job(openings=windy), cold, "indoor_air")
    assert blown < still
    heated = passed(job(time_constant_h=30.0, heat_w=6000.0, heat_w_per_k=1000.0), cold,
                    "indoor_air")  # fmt: skip
    assert heated == NEVER


def test_no_limit_runs_before_the_house_is_open() -> None:
    cold = weather(air_temperature_c=at(10, -20.0, 5.0, 12))
    assert passed(job(), cold, "indoor_air") < 30
    assert passed(job(), cold, "indoor_air", open_from=60) == NEVER
    assert passed(job(), cold, "indoor_air", open_from=HOURS + 5) == NEVER
    assert passed(job(water_lines_hang=True), cold, "water_lines", open_from=15) == 15


def test_gust_unknown_is_taken_from_the_wind_and_said() -> None:
    table = weather(wind_speed_ms=at(70, 12.0, 3.0))
    columns = {n: v for n, v in table.columns.items() if n != "wind_speed_of_gust_ms"}
    bare = HourlyTable(start=table.start, columns=columns)
    found = {b.limit: b for b in breaches(job(gusts=GustLimits(15.0)), bare)}["raised_house_gust"]
    assert found.passed == 70  # 1.5 x 12 m/s
    assert "mean wind" in found.source


# ---- with scenarios


def years(**more: np.ndarray | float) -> ClimateYears:
    hours = 24 * 60
    air = np.full((21, hours), 8.0)
    for row in range(21):
        air[row, 24 * (20 + row) :] = -15.0
    columns = {"air_temperature_c": air}
    columns |= {n: np.broadcast_to(np.asarray(v, float), (21, hours)) for n, v in more.items()}
    return ClimateYears(NOW, tuple(range(2000, 2021)), columns, "made")


def season(forecast: HourlyTable, climate: ClimateYears):
    return scenarios(
        forecast=forecast, climate=climate, now=NOW, until=NOW + timedelta(days=60), seed=3,
        count=84, longitude_deg=-75.0,
    )  # fmt: skip


def test_a_limit_whose_weather_no_year_has_is_named_and_left_out() -> None:
    scene = season(weather(air_temperature_c=14.0), years())
    damp = closein_date(job=job(wood=WoodLimits(mould_index=1.0)), weather=scene)
    assert damp.left_out == ("mould",)
    assert damp.overall.ends is Ends.LIMIT
    assert damp.binding == "indoor_air"
    assert any("mould" in note and "does not stand on it" in note for note in damp.notes)


def test_what_a_left_out_limit_shows_in_the_forecast_still_counts() -> None:
    gale = weather(air_temperature_c=14.0, wind_speed_of_gust_ms=at(50, 40.0, 5.0),
                   wind_speed_ms=at(50, 30.0, 3.0))  # fmt: skip
    scene = season(gale, years())
    answer = closein_date(job=job(gusts=GustLimits(15.0)), weather=scene)
    assert answer.latest_safe == date(2026, 11, 3)
    assert answer.binding == "raised_house_gust"


def test_closing_work_that_runs_out_of_fit_days_joins_the_date() -> None:
    scene = season(weather(air_temperature_c=14.0), years())
    finish = np.full((84, 24 * 60), NEVER)
    for row in range(84):
        finish[row, 40 : 24 * 12 + 6 * row] = 5 + np.arange(40, 24 * 12 + 6 * row)
    finish[-1] = NEVER  # one scenario has no window at all
    sealing = work_runs_out({"seal": finish})
    assert sealing[0].passed[:2].tolist() == [24 * 12 + 4, 24 * 12 + 10]
    assert sealing[0].passed[-1] == 0
    alone = closein_date(job=job(), weather=scene)
    both = closein_date(job=job(), weather=scene, more=sealing)
    assert alone.latest_safe is not None
    assert both.latest_safe is not None
    assert both.latest_safe < alone.latest_safe
    assert both.binding == "fit_days_for_seal"


def test_work_that_no_weather_stops_is_one_trace_for_all_scenarios() -> None:
    scene = season(weather(air_temperature_c=14.0), years())
    anytime = np.arange(24 * 60) + 4
    answer = closein_date(job=job(), weather=scene, more=work_runs_out({"lower": anytime}))
    found = {limit.limit: limit for limit in answer.limits}
    assert found["fit_days_for_lower"].ends is Ends.SEASON_END


def test_work_that_may_be_begun_near_the_seasons_end_does_not_run_out() -> None:
    finish = np.full((2, 24 * 60), NEVER)
    finish[0, 24 * 50] = 24 * 50 + 4
    finish[1, 24 * 30] = 24 * 30 + 4
    assert work_runs_out({"seal": finish})[0].passed.tolist() == [NEVER, 24 * 30 + 4]


# ---- the envelope


def task(id_: str, work: str = "sheathe", **more: object) -> Task:
    return Task(id=id_, name=id_, work_type=work, duration_h=8.0, **more)  # type: ignore[arg-type]


def test_parts_open_with_their_first_task_and_close_with_their_last() -> None:
    tasks = (
        task("cut", state=State.DONE, finished_at=NOW - timedelta(days=3), opens=("walls",)),
        task("raise", "raise_house", opens=("floor",)),
        task("flash", closes=("walls",), state=State.DONE, finished_at=NOW),
        task("seal", closes=("walls",)),
        task("lower", "lower_house", closes=("floor",)),
        task("tarp", "temporary_closing", closes=("walls",), state=State.DONE, finished_at=NOW),
        task("old", closes=("vents",), state=State.DONE, finished_at=NOW),
    )
    made = job(tasks)
    ahead = {
        "raise": (NOW + timedelta(hours=26), NOW + timedelta(hours=34)),
        "seal": (NOW + timedelta(hours=50), NOW + timedelta(hours=58)),
    }
    parts = open_parts(made, standings(made, Progress(), now=NOW), ahead)
    by_name = {part.part: part for part in parts}
    assert set(by_name) == {"walls", "floor"}
    assert by_name["walls"].closing == ("seal",)
    assert by_name["walls"].covered == ("tarp",)
    assert by_name["walls"].until == ahead["seal"][1]
    assert by_name["floor"].since == ahead["raise"][0]
    assert by_name["floor"].until is None
    assert hour_opened(parts, made, NOW) == 0
    floor_only = tuple(part for part in parts if part.part == "floor")
    assert hour_opened(floor_only, made, NOW) == 26
    assert hour_opened((), made, NOW) == NEVER
    assert hour_opened((), job(), NOW) == 0


def test_fit_hours_are_counted_in_shifts_and_ranked_over_scenarios() -> None:
    shift = np.array([False, True, True, True, False])
    fit = np.array([[True] * 5, [True, True, False, False, True], [False] * 5])
    found = fit_hours("seal", needs_h=4.0, fit=fit, shift=shift)
    assert found.left_h == (0.0, 1.0, 1.0)
