"""What a plan's model holds, word by word, from the job file to hours worked by hand.

The week is mild and dry, so hours are the job's own: Monday 9 November 2026 is the first day,
shifts are Monday to Friday, 07:00 to 16:00, in the zone of New York.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from scheduler.cli import main
from tests.mild_weather import HOURS, mild_forecast, mild_years

ZONE = ZoneInfo("America/New_York")
HEAD = """
closein: 1
name: model
site: {name: model, latitude: 44.3, longitude: -75.1, elevation_ft: 400,
       time_zone: America/New_York}
units: us
season_end: SEASON_END
HOURS
exposure: {time_constant_h: 60}
"""
WEEK = 'hours: {mon-fri: "07:00-16:00"}'
CREWS = "crews: [{id: men}, {id: others}]\n"
Hours = dict[str, tuple[str, str]]


@pytest.fixture(autouse=True)
def _few_scenarios(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CLOSEIN_SCENARIOS", "12")


class Asked:
    """A job of a few tasks, asked through the command."""

    def __init__(
        self, folder: Path, capsys: pytest.CaptureFixture[str], gap_at: int | None = None
    ) -> None:
        self.folder, self.capsys, self.gap_at = folder, capsys, gap_at

    def run(self, command: str, *tasks: str, monday: str = "2026-11-09", **more: str) -> Any:
        """Return the documented JSON of a command."""
        job = self.folder / "job.yaml"
        end = datetime.fromisoformat(monday) + timedelta(days=18)
        text = HEAD.replace("HOURS", more.get("hours", WEEK))
        text = text.replace("SEASON_END", f"{end:%Y-%m-%d}")
        listed = "".join(f"  - {{{task}}}\n" for task in tasks)
        crews = more.get("crews", CREWS)
        job.write_text(f"{text}{more.get('also', '')}{crews}tasks:\n{listed}", encoding="utf-8")
        (self.folder / "closein.db").unlink(missing_ok=True)
        first = datetime.fromisoformat(monday).replace(tzinfo=ZONE)
        weather = mild_forecast(self.folder, first.isoformat())
        if self.gap_at is not None:
            document = json.loads(weather.read_text(encoding="utf-8"))
            air = document["hours"]["columns"]["air_temperature"]
            air["values"] = [None if hour == self.gap_at else 16.0 for hour in range(HOURS)]
            weather.write_text(json.dumps(document), encoding="utf-8")
        climate = ["--climate", str(mild_years(self.folder))] if command == "plan" else []
        at = ["--at", f"{monday}T06:00", "--weather", str(weather), *climate]
        assert main([command, str(job), *at, "--json"]) == 0, self.capsys.readouterr().err
        return json.loads(self.capsys.readouterr().out)

    def plan(self, *tasks: str, monday: str = "2026-11-09", **more: str) -> Hours:
        """Return the planned hours of each task, local: ``Mon 07:00``."""
        lines = self.run("plan", *tasks, monday=monday, **more)["plan"]["tasks"]
        return {
            line["id"]: (clock(line["start"]), clock(line["finish"]))
            for line in lines
            if line["start"] and not line["done"]
        }


def clock(moment: str) -> str:
    return datetime.fromisoformat(moment).astimezone(ZONE).strftime("%a %-d %H:%M")


def task(name: str, hours: float = 4, more: str = "", crew: str = "men") -> str:
    told = f"id: {name}, work_type: framing, duration_h: {hours}, crew: {crew}"
    return f"{told}, {more}" if more else told


@pytest.fixture
def ask(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Asked:
    return Asked(tmp_path, capsys)


# calendars


def test_nobody_works_at_the_weekend_and_a_pausing_task_goes_on_after_it(ask: Asked) -> None:
    found = ask.plan(task("a", 12, "not_before: 2026-11-13, may_pause: true"))
    assert found == {"a": ("Fri 13 07:00", "Mon 16 10:00")}


def test_a_task_that_may_not_pause_waits_for_a_shift_that_holds_it(ask: Asked) -> None:
    found = ask.plan(task("a", 5, "not_before: 2026-11-13T12:00"))
    assert found == {"a": ("Mon 16 07:00", "Mon 16 12:00")}


def test_holidays_of_the_region_are_off(ask: Asked) -> None:
    """11 November is Veterans Day: 5 U.S.C. 6103."""
    visit = task("a", 4, "not_before: 2026-11-11")
    assert ask.plan(visit)["a"][0] == "Wed 11 07:00"
    assert ask.plan(visit, also="holidays: US-NY\n")["a"][0] == "Thu 12 07:00"


def test_single_days_half_days_and_a_saturday_worked_once(ask: Asked) -> None:
    also = (
        "days_off: [2026-11-09]\n"
        'exceptions: {2026-11-10: "07:00-11:00", 2026-11-14: "08:00-12:00"}\n'
    )
    found = ask.plan(task("a", 6), task("b", 4, "not_before: 2026-11-14"), also=also)
    assert found == {"a": ("Wed 11 07:00", "Wed 11 13:00"), "b": ("Sat 14 08:00", "Sat 14 12:00")}


def test_a_crew_has_its_own_hours_days_off_and_half_days(ask: Asked) -> None:
    crews = (
        'crews: [{id: men, hours: {mon-thu: "06:00-16:00"}, days_off: [2026-11-09, 2026-11-14], '
        'exceptions: {2026-11-10: "06:00-10:00"}}, {id: others}]\n'
    )
    also = 'exceptions: {2026-11-14: "07:00-12:00"}\n'  # the job works; this crew does not come
    found = ask.plan(
        task("a", 6), task("b", 4, "not_before: 2026-11-13"),
        task("c", 4, "not_before: 2026-11-14", crew="others"), crews=crews, also=also,
    )  # fmt: skip
    assert found["a"] == ("Wed 11 06:00", "Wed 11 12:00")
    assert found["b"] == ("Mon 16 06:00", "Mon 16 10:00")
    assert found["c"] == ("Sat 14 07:00", "Sat 14 11:00")


def test_a_crew_of_two_does_two_tasks_at_once_and_amounts_have_rates(ask: Asked) -> None:
    amount = "id: a, work_type: framing, quantity: {amount: 60, unit: ft, per_hour: 12}, crew: men"
    two = ask.plan(amount, task("b", 5), crews="crews: [{id: men, size: 2}]\n")
    assert two == {"a": ("Mon 9 07:00", "Mon 9 12:00"), "b": ("Mon 9 07:00", "Mon 9 12:00")}
    one = ask.plan(amount, task("b", 5), crews="crews: [{id: men}]\n")
    assert {hours[0] for hours in one.values()} == {"Mon 9 07:00", "Tue 10 07:00"}


# links


@pytest.mark.parametrize(
    ("link", "start"),
    [
        ("a", "Mon 9 11:00"),
        ("{task: a, wait_h: 3}", "Mon 9 14:00"),  # 11:00 and 3 h by the clock
        ("{task: a, wait_h: 24}", "Tue 10 11:00"),
        ("{task: a, wait_working_h: 7}", "Tue 10 09:00"),  # 5 h of Monday, 2 h of Tuesday
        ("{task: a, kind: start_start}", "Mon 9 07:00"),
        ("{task: a, kind: start_start, wait_h: 2}", "Mon 9 09:00"),
        ("{task: a, kind: start_start, wait_working_h: 9}", "Tue 10 07:00"),
    ],
)
def test_links_count_from_start_or_finish_by_the_clock_or_by_shifts(
    link: str, start: str, ask: Asked
) -> None:
    found = ask.plan(task("a", 4), task("b", 2, f"after: [{link}]", crew="others"))
    assert found["a"] == ("Mon 9 07:00", "Mon 9 11:00")
    assert found["b"][0] == start


def test_not_more_than_so_many_hours_after_holds_the_first_task_back(ask: Asked) -> None:
    """The second cannot come before Thursday at ten: the first is done two hours before that."""
    second = "after: [{task: a, within_h: 2}], not_before: 2026-11-12T10:00"
    found = ask.plan(task("a", 3), task("b", 2, second, crew="others"))
    assert found["a"] == ("Thu 12 07:00", "Thu 12 10:00")
    assert found["b"] == ("Thu 12 10:00", "Thu 12 12:00")


# people from outside, deliveries, holds


def test_an_appointment_is_kept_while_another_hour_would_do(ask: Asked) -> None:
    visit = "appointment: {who: inspector, at: 2026-11-12T09:00}"
    assert ask.plan(task("a", 2, visit))["a"] == ("Thu 12 09:00", "Thu 12 11:00")


def test_a_slot_inside_the_notice_is_not_taken(ask: Asked) -> None:
    """Wednesday is 47 h from Monday 07:00: they want 72 h, so the agreed hour or Friday."""
    visit = (
        "after: [a], appointment: {who: inspector, at: 2026-11-10T08:00, notice_h: NOTICE, "
        "slots: [2026-11-11T08:00, 2026-11-13T08:00]}"
    )
    long = task("a", 12, "may_pause: true")
    late = ask.plan(long, task("b", 2, visit.replace("NOTICE", "72"), crew="others"))
    assert late["b"][0] == "Fri 13 08:00"
    soon = ask.plan(long, task("b", 2, visit.replace("NOTICE", "24"), crew="others"))
    assert soon["b"][0] == "Wed 11 08:00"


def test_a_move_costs_what_was_agreed_once_it_is_no_longer_free(ask: Asked) -> None:
    visit = (
        "after: [a], appointment: {who: house_lifter, at: 2026-11-10T07:00, free_until: UNTIL, "
        "late_move_fee: 250, slots: [2026-11-13T08:00]}"
    )
    long = task("a", 12, "may_pause: true")

    def bill(until: str) -> dict[str, float]:
        told = task("b", 2, visit.replace("UNTIL", until), crew="others")
        plan = ask.run("plan", long, told)["plan"]
        moved = next(line for line in plan["tasks"] if line["id"] == "b")
        assert (moved["kept"], clock(moved["start"])) == (False, "Fri 13 08:00")
        return {line["what"]: line["total"] for line in plan["money"]["rest"]["lines"]}

    assert bill("2026-11-09T12:00") == {}  # still free this morning
    assert bill("2026-11-06T12:00") == {"house lifter, moved late": 250.0}


def test_only_offered_starts_and_days_are_taken(ask: Asked) -> None:
    slots = task("a", 2, "slots: [2026-11-11T10:00, 2026-11-12T08:00]")
    days = task("b", 2, "days: [2026-11-13, 2026-11-16]", crew="others")
    found = ask.plan(slots, days)
    assert (found["a"][0], found["b"][0]) == ("Wed 11 10:00", "Fri 13 07:00")


def test_nothing_is_begun_before_its_delivery(ask: Asked) -> None:
    late = task("a", 2, "not_before: 2026-11-11T13:00")
    paper = (
        "documents: [{id: yard, kind: supplier, supplier_of: windows, for_task: b, "
        "available_from: 2026-11-12}]\n"
    )
    found = ask.plan(late, task("b", 2, crew="others"), also=paper)
    assert (found["a"][0], found["b"][0]) == ("Wed 11 13:00", "Thu 12 07:00")


def test_a_hold_is_planned_as_if_released_and_says_who_may(ask: Asked) -> None:
    hold = "holds: [{by: [engineer], needs: the dowel layout}]"
    (line,) = ask.run("plan", task("a", 2, hold))["plan"]["tasks"]
    assert line["holds"] == [{"by": "engineer", "needs": "the dowel layout", "row": ""}]


# weather past the forecast


@pytest.mark.parametrize("gap", [False, True])
def test_work_that_goes_on_past_the_forecast_begins_where_its_first_piece_may(
    gap: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Seven days are told, ten shifts of laying go past them: the first piece is told whole.

    With one hour of Monday night not known its first day's protection is not known either.
    """
    ask = Asked(tmp_path, capsys, gap_at=20 if gap else None)
    measures = (
        "measures: {on_hand: [weather_resistive_cover, cover_wall_top, restricted_zone, "
        "wind_watch, measure_wind_at_wall, heat_mixing_water, heat_sand, "
        "keep_mortar_above_freezing, insulating_blankets]}\n"
    )
    lay = "id: a, work_type: lay_block, duration_h: HOURS, may_pause: true, grouted: false"
    day = ask.plan(lay.replace("HOURS", "9"), also=measures)
    weeks = ask.plan(lay.replace("HOURS", "90"), also=measures)
    assert (day["a"][0] == "Mon 9 07:00") is not gap
    assert (weeks["a"][0] == "Mon 9 07:00") is not gap


# daylight and clock changes


def test_work_that_wants_daylight_stays_between_sunrise_and_sunset(ask: Asked) -> None:
    """9 November at 44.3 N, 75.1 W: the sun is up from a quarter to seven to twenty to five.

    Whole hours of light: 07:00 to 16:00, nine. Ten hours of work do not fit, nine do.
    ``tests/reference/test_sun.py`` holds the sun itself to published values.
    """
    long = 'hours: {mon-fri: "05:00-20:00"}'
    lit = ask.plan(task("a", 10), hours=long)
    assert lit["a"] == ("Mon 9 06:00", "Mon 9 16:00")
    dark = ask.plan(task("a", 9, "daylight_only: true"), hours=long)
    assert dark["a"] == ("Mon 9 07:00", "Mon 9 16:00")
    assert ask.plan(task("a", 10, "daylight_only: true"), hours=long) == {}
    stated = 'daylight: [{date: 2026-11-09, sunrise: "10:30", sunset: "16:40"}]\n'
    found = ask.plan(task("a", 4, "daylight_only: true"), hours=long, also=stated)
    assert found["a"] == ("Mon 9 11:00", "Mon 9 15:00")


def test_a_call_of_today_keeps_to_daylight_too(ask: Asked) -> None:
    long = 'hours: {mon-fri: "05:00-20:00"}'
    (answer,) = ask.run("today", task("a", 4, "daylight_only: true"), hours=long)["tasks"]
    window = answer["window"] or answer["next_window"]
    assert clock(window["from"]) == "Mon 9 07:00"  # not at six, as the crew could


def test_hours_are_right_across_both_clock_changes(ask: Asked) -> None:
    """On Sunday 1 November 2026 clocks go back at 02:00: Friday 16:00 and 72 h is Monday 15:00.

    On Sunday 8 March clocks go on: Friday 16:00 and 64 h is Monday 09:00. Shifts stay at 07:00.
    """
    back = [
        task("a", 9, "not_before: 2026-10-30"),
        task("b", 1, "after: [{task: a, wait_h: 72}]", crew="others"),
        task("c", 11, "not_before: 2026-10-30, may_pause: true", crew="others"),
    ]
    found = ask.plan(*back, monday="2026-10-26")
    assert found["a"] == ("Fri 30 07:00", "Fri 30 16:00")
    assert found["b"][0] == "Mon 2 15:00"
    assert found["c"] == ("Fri 30 07:00", "Mon 2 09:00")
    on = [
        task("a", 9, "not_before: 2026-03-06"),
        task("b", 1, "after: [{task: a, wait_h: 64}]", crew="others"),
        task("c", 11, "not_before: 2026-03-06, may_pause: true", crew="others"),
    ]
    found = ask.plan(*on, monday="2026-03-02")
    assert found["b"][0] == "Mon 9 09:00"
    assert found["c"] == ("Fri 6 07:00", "Mon 9 09:00")
