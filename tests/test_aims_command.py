"""The aims of a plan in turn, through the command: each decides only where those before it tie.

Monday to Wednesday are 2 °C (35.6 °F: sand is heated before mortar is mixed), Thursday on 10 °C.
"""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest

from scheduler.cli import main
from tests.mild_weather import HOURS, mild_forecast, mild_years

HEAD = """
closein: 1
name: aims
site: {name: aims, latitude: 44.3, longitude: -75.1, elevation_ft: 400,
       time_zone: America/New_York}
units: us
season_end: 2026-11-30
hours: {mon-fri: "07:00-16:00"}
crews: [{id: masons}, {id: carpenters}, {id: lifter}]
measures:
  on_hand: [keep_mortar_above_freezing, weather_resistive_cover,
            cover_wall_top, insulating_blankets, restricted_zone, wind_watch,
            measure_wind_at_wall]
  can_be_had: [{measure: heat_sand, notice_h: 0, cost_per_day: PRICE},
               {measure: heat_mixing_water, notice_h: 0, cost_per_day: PRICE}]
exposure: {time_constant_h: 60}
tasks:
"""
LAY = "  - {id: lay, work_type: lay_block, duration_h: 8, crew: masons, grouted: false}\n"
CLOSE = (
    "  - {id: close, work_type: framing, duration_h: 8, crew: carpenters, closes: [floor], "
    "not_before: 2026-11-13T07:00}\n"
)


def weather(folder: Path) -> list[str]:
    told = mild_forecast(folder, "2026-11-09T00:00:00-05:00")
    document = json.loads(told.read_text(encoding="utf-8"))
    air = document["hours"]["columns"]["air_temperature"]
    air["values"] = [2.0 if hour < 72 else 10.0 for hour in range(HOURS)]
    document["hours"]["columns"]["dew_point_temperature"]["values"] = -1.0
    told.write_text(json.dumps(document), encoding="utf-8")
    return ["--weather", str(told), "--climate", str(mild_years(folder))]


def planned(
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    tasks: str,
    *,
    price: str = "0",
    more: str = "",
) -> dict[str, datetime]:
    """Return the planned start of each task."""
    job = folder / "job.yaml"
    job.write_text(HEAD.replace("PRICE", price) + tasks + more, encoding="utf-8")
    at = ["--at", "2026-11-09T06:00", "--json"]
    assert main(["plan", str(job), *weather(folder), *at]) == 0, capsys.readouterr().err
    lines = json.loads(capsys.readouterr().out)["plan"]["tasks"]
    return {line["id"]: datetime.fromisoformat(line["start"]) for line in lines}


def test_protection_that_is_paid_by_the_day_is_spared_where_close_in_does_not_wait(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    free = planned(tmp_path, capsys, LAY + CLOSE)
    assert free["lay"].day == 9  # costs nothing: as early as can be
    (tmp_path / "paid").mkdir()
    paid = planned(tmp_path / "paid", capsys, LAY + CLOSE, price="80")
    assert paid["lay"].day == 12  # Thursday needs no heated sand
    assert paid["close"] == free["close"]


def test_close_in_comes_before_the_money(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The wall that close-in waits for is laid on Monday, heated sand or not."""
    close = CLOSE.replace("not_before: 2026-11-13T07:00", "after: [lay]")
    assert planned(tmp_path, capsys, LAY + close, price="80")["lay"].day == 9


def test_an_appointment_is_kept_before_money_is_spared(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The inspector who looks at the wall on Wednesday wants it laid: heated sand is paid."""
    visit = (
        "  - {id: look, work_type: framing, duration_h: 1, after: [lay], appointment: "
        "{who: inspector, at: 2026-11-11T08:00, slots: [2026-11-17T08:00]}}\n"
    )
    starts = planned(tmp_path, capsys, LAY + visit + CLOSE, price="80")
    assert starts["look"].day == 11
    assert starts["lay"].day in {9, 10}


def test_rent_is_paid_for_few_days(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A lift on Monday or later, its beams out on Thursday: hired for one day or for four."""
    tasks = (
        "  - {id: raise, work_type: raise_house, duration_h: 3, crew: lifter}\n"
        "  - {id: out, work_type: framing, duration_h: 3, crew: lifter, after: [raise], "
        "not_before: 2026-11-12T07:00}\n"
    )
    free = planned(tmp_path, capsys, tasks + CLOSE)
    assert free["raise"].day == 9
    (tmp_path / "paid").mkdir()
    rent = "costs: {rented: [{id: beams, for_tasks: [raise, out], per_day: 45}]}\n"
    paid = planned(tmp_path / "paid", capsys, tasks + CLOSE, more=rent)
    assert (paid["raise"].day, paid["out"].day) == (12, 12)
