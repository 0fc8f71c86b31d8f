"""Editions through the public command: frost refused by own rows, mild days plain go."""

from __future__ import annotations

import json
import math
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from rules.book import editions, load_book
from scheduler.cli import main

AT = datetime(2026, 11, 3, 9, 30)  # noqa: DTZ001 - local, as the job file writes its dates
JOB = """\
closein: 1
name: cold wall
site: {{name: here, latitude: 44.6, longitude: -63.6, elevation_m: 45, time_zone: America/Halifax}}
units: si
book: {edition}
season_end: 2026-12-31
hours: {{mon-fri: "07:00-16:00", sat: off, sun: off}}
crews: [{{id: a}}, {{id: b}}]
measures:
  on_hand: [heat_mixing_water, heat_sand, heat_units, heat_grout, heat_surface,
    keep_mortar_above_freezing, weather_resistive_cover, cover_wall_top, insulating_blankets,
    heated_enclosure, rain_cover_on_site, measure_wind_at_wall, wind_watch, restricted_zone]
tasks:
  - {{id: lay, work_type: lay_block, duration_h: 4, crew: a}}
  - {{id: grout, work_type: place_grout, duration_h: 4, crew: b, grouted: true,
      element: {{thickness_in: 8}}}}
"""
# What a thermometer read half an hour before the question.
READ = {
    "unit_core_temperature": -3.0,
    "mortar_temperature": 1.0,
    "grout_temperature": 2.0,
    "masonry_temperature": -2.0,
}
ABROAD = [name for name, edition in editions().items() if "us" not in edition.sets]
MILD, FROST = (8.0, 12.0), (-3.0, 6.0)  # lowest at six, highest at two in the afternoon


def weather(folder: Path, low: float, high: float) -> Path:
    begun = AT.replace(hour=0, minute=0) - timedelta(days=1)
    air = [
        (low + high) / 2 - (high - low) / 2 * math.cos((hour % 24 - 2) / 24 * 2 * math.pi)
        for hour in range(192)
    ]
    columns = {
        "air_temperature": {"unit": "degC", "values": air},
        "dew_point_temperature": {"unit": "degC", "values": [t - 5.0 for t in air]},
        "relative_humidity": {"unit": "%", "values": 70.0},
        "wind_speed": {"unit": "m s-1", "values": 2.0},
        "wind_speed_of_gust": {"unit": "m s-1", "values": 4.0},
        "precipitation_amount": {"unit": "mm", "values": 0.0},
        "precipitation_probability": {"unit": "%", "values": 0.0},
        "thunderstorm_probability": {"unit": "%", "values": 0.0},
        "cloud_area_fraction": {"unit": "%", "values": 50.0},
    }
    start = f"{begun:%Y-%m-%dT%H:%M}-04:00"
    text = {
        "format": "closein-weather/1",
        "source": "made",
        "issued_at": f"{AT - timedelta(minutes=90):%Y-%m-%dT%H:%M}-04:00",
        "age_limit_h": 12,
        "hours": {"start": start, "step_h": 1, "hours": 192, "columns": columns},
    }
    path = folder / "weather.json"
    path.write_text(json.dumps(text), encoding="utf-8")
    return path


class Site:
    """One job in its folder, asked as a builder asks."""

    def __init__(self, folder: Path, edition: str, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self.capsys = folder, capsys
        self.job = folder / "job.yaml"
        self.job.write_text(JOB.format(edition=edition), encoding="utf-8")

    def _run(self, *arguments: object) -> str:
        store = ["--store", str(self.folder / "store.db"), "--at", AT.isoformat()]
        code = main([str(argument) for argument in (*arguments, *store)])
        out, err = self.capsys.readouterr()
        assert code in (0, 4), err
        return out

    def log(self, *entries: dict[str, object]) -> None:
        path = self.folder / "log.yaml"
        path.write_text(json.dumps(entries), encoding="utf-8")
        self._run("log", self.job, "--entries", path, "--no-plan")

    def read(self, readings: dict[str, float]) -> None:
        at = f"{AT - timedelta(minutes=30):%Y-%m-%dT%H:%M}"
        self.log(*(
            {"kind": "reading", "quantity": quantity, "value": value, "unit": "degC", "at": at}
            for quantity, value in readings.items()
        ))  # fmt: skip

    def calls(self, low: float, high: float) -> dict[str, Any]:
        out = self._run("today", self.job, "--weather", weather(self.folder, low, high), "--json")
        return {answer["task"]: answer for answer in json.loads(out)["tasks"]}


def against(answer: dict[str, Any], *verdicts: str) -> set[str]:
    return {limit["rule"] for limit in answer["limits"] if limit["outcome"] in verdicts}


@pytest.mark.parametrize("edition", ["tms602-2022", *ABROAD])
def test_a_mild_day_is_plain_go_and_a_frosty_night_is_not(
    edition: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = Site(tmp_path, edition, capsys)
    mild = site.calls(*MILD)
    assert {task: answer["call"] for task, answer in mild.items()} == {"lay": "go", "grout": "go"}
    frosty = site.calls(*FROST)
    assert "go" not in {answer["call"] for answer in frosty.values()}


@pytest.mark.parametrize("edition", ABROAD)
def test_cold_readings_are_refused_by_rows_of_the_edition(
    edition: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Units -3 °C, mortar 1 °C, grout 2 °C, masonry -2 °C, each by a row of its own.

    NBC 9.20.14.1: 5 °C. NHBC 3.2.3 to 3.2.5: nothing frozen, infill 5 °C; F10/185: mortar 4 °C.
    DIN EN 1996-2/NA 3.6.3: nothing frozen; DIN 1045-3: grout 5 °C; of mortar it states nothing.
    """
    site = Site(tmp_path, edition, capsys)
    site.read(READ)
    own = {row.id: row.quantity for row in load_book(edition).rows if "everywhere" not in row.sets}
    for low, high in (MILD, FROST):
        answers = site.calls(low, high)
        assert {"go", "go_with_protection"}.isdisjoint(a["call"] for a in answers.values())
        refused = {
            own.get(rule) for a in answers.values() for rule in against(a, "no_go", "not_known")
        }
        assert set(READ) <= refused


def test_cold_readings_before_a_frosty_night_are_no_plain_go_in_the_united_states(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = Site(tmp_path, "tms602-2022", capsys)
    site.read(READ)
    assert "go" not in {answer["call"] for answer in site.calls(*FROST).values()}


def test_the_guide_of_2020_looks_past_the_hours_of_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """8 °C at work and 1 °C in the night: "likely to fall below 2 °C" (NHBC 2020, 3.2.5)."""
    answers = Site(tmp_path, "uk-nhbc-2020", capsys).calls(1.0, 9.0)
    for answer in answers.values():
        assert answer["call"] == "go_with_protection"
        assert "uk.nhbc-2020.likely" in against(answer, "go_with_protection")
        asked = {m["measure"] for m in answer["measures"] if m["rule"] == "uk.nhbc-2020.likely"}
        assert asked & {"heated_enclosure", "electric_blankets"}


def test_what_the_engineer_has_to_say_holds_until_it_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Mortar of 3 °C in Germany, where the annex states no figure: held, then released."""
    site = Site(tmp_path, "germany-din1045", capsys)
    site.read({"mortar_temperature": 3.0})
    held = site.calls(*MILD)["lay"]
    assert held["call"] == "hold"
    assert {hold["by"] for hold in held["holds"]} == {"engineer"}
    site.log({"kind": "release", "task": "lay", "role": "engineer", "who": "P. Smith",
              "when": f"{AT - timedelta(minutes=5):%Y-%m-%dT%H:%M}"})  # fmt: skip
    assert site.calls(*MILD)["lay"]["call"] == "go_with_protection"  # water or sand heated


def test_masonry_in_frost_waits_for_the_client_in_germany(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """DIN 18330, 3.1.2: the client agrees to work in frost; 3.6.3: in an enclosure."""
    answer = Site(tmp_path, "germany-din1045", capsys).calls(-4.0, -2.0)["lay"]
    assert answer["call"] == "hold"
    assert "owner" in {hold["by"] for hold in answer["holds"]}
