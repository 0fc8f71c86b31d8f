"""The inspector's sheet: two lines a day and place, gaps shown, the coldest beside them."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta

import numpy as np

import scheduler.jobfile
from scheduler.output.sheets.page import page
from scheduler.output.sheets.temperature import GAP, temperature, temperature_csv
from scheduler.planning.model.log import Reading
from scheduler.planning.reports.sheet_parts import TemperatureRecord
from scheduler.planning.strength.curing_sheet import SheetLine, sheet_lines
from scheduler.planning.strength.measured import ProbeTrace
from tests.demo_job import DEMO

ZONE = "America/New_York"
PLACED = datetime(2026, 11, 12, 15, 30, tzinfo=UTC)  # 10:30 on site
UNTIL = PLACED + timedelta(hours=48)
START = np.arange("2026-11-12T15", "2026-11-14T16", dtype="datetime64[h]")


def trace(values: np.ndarray) -> ProbeTrace:
    return ProbeTrace(START[: values.size], ("core",), values[None], values[None] - 0.5)


def lines() -> list[SheetLine]:
    logged = np.linspace(15.0, 5.0, START.size)
    logged[19:24] = np.nan  # 05 to 10 on site: nothing near 07:00
    readings = [
        Reading(
            "grout_temperature", 47.0, "degF", place="corner", at=PLACED + timedelta(hours=20)
        ),
        Reading("air_temperature", 20.0, "degF", place="corner", at=PLACED),
    ]
    return sheet_lines(
        probes={"north core": trace(logged)},
        readings=readings,
        placed=PLACED,
        until=UNTIL,
        time_zone=ZONE,
    )


def test_two_lines_a_day_for_each_place_from_placing_to_the_end() -> None:
    found = lines()
    core = [(line.day, line.clock.hour) for line in found if line.place == "north core"]
    assert core == [
        (date(2026, 11, 12), 15),
        (date(2026, 11, 13), 7),
        (date(2026, 11, 13), 15),
        (date(2026, 11, 14), 7),
    ]
    assert len(found) == 8


def test_a_gap_is_a_gap_and_a_reading_near_enough_counts() -> None:
    found = {(line.place, line.day, line.clock.hour): line for line in lines()}
    gap = found["north core", date(2026, 11, 13), 7]
    assert gap.temperature_c is None
    assert gap.coldest_c is not None  # of the hours before the gap
    near = found["corner", date(2026, 11, 13), 7]  # read at 06:30
    assert near.temperature_c is not None
    assert abs(near.temperature_c - (47 - 32) / 1.8) < 1e-9
    assert found["corner", date(2026, 11, 14), 7].temperature_c is None


def test_the_clock_change_keeps_the_times_of_day() -> None:
    placed = datetime(2026, 10, 31, 16, tzinfo=UTC)
    found = sheet_lines(
        probes={"a": trace(np.ones(START.size))},
        readings=[],
        placed=placed,
        until=placed + timedelta(hours=48),
        time_zone=ZONE,
    )
    assert [line.clock.hour for line in found] == [15, 7, 15, 7]


def record() -> TemperatureRecord:
    return TemperatureRecord("Grout <north>", PLACED, UNTIL, tuple(lines()))


def test_csv_writes_gaps_as_such_in_the_jobs_units() -> None:
    text = temperature_csv([record()], units="us")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert rows[0]["place"] == "corner"
    gaps = [row for row in rows if row["temperature_F"] == GAP]
    assert gaps
    assert all(row["read_at_utc"] == "" for row in gaps)
    first = next(row for row in rows if row["place"] == "north core")
    assert float(first["temperature_F"]) > 50
    assert "temperature_C" in temperature_csv([record()], units="si")


def test_the_page_counts_gaps_escapes_names_and_has_room_to_sign() -> None:
    job = scheduler.jobfile.read(DEMO / "job.yaml")
    sheet = temperature(job, [record()], at=UNTIL, under="as of now")
    assert sheet is not None
    text = page(sheet)
    missing = sum(line.temperature_c is None for line in lines())
    assert f"{missing} of 8 times so far have no reading" in text
    assert "Grout &lt;north&gt;" in text
    assert "Inspector, date" in text
    assert "engineer of record" in text
    assert text.count('class="marked"') == missing


def test_times_still_to_come_are_room_and_no_gaps() -> None:
    job = scheduler.jobfile.read(DEMO / "job.yaml")
    sheet = temperature(job, [record()], at=PLACED, under="as of now")
    assert sheet is not None
    assert "0 of 0 times so far have no reading" in page(sheet)
    assert 'class="marked"' not in page(sheet)


def test_a_job_without_fresh_work_has_no_such_sheet() -> None:
    job = scheduler.jobfile.read(DEMO / "job.yaml")
    assert temperature(job, [], at=UNTIL, under="as of now") is None
