from __future__ import annotations

from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest

from scheduler.jobfile import parse, read
from scheduler.planning.model.job import Job, LinkKind, Shift, State

WHOLE = Path(__file__).with_name("whole.yaml")


@pytest.fixture(scope="module")
def job() -> Job:
    return read(WHOLE)


def test_the_site_is_in_si(job: Job) -> None:
    assert job.site.elevation_m == pytest.approx(410 * 0.3048)
    assert job.site.longitude_deg == -75.12


def test_local_moments_become_utc_on_both_sides_of_a_clock_change(job: Job) -> None:
    assert job.task("raise").finished_at == datetime(2026, 11, 4, 20, tzinfo=UTC)
    text = WHOLE.read_text(encoding="utf-8").replace("2026-11-04T15:00", "2026-10-30T15:00")
    assert parse(text).task("raise").finished_at == datetime(2026, 10, 30, 19, tzinfo=UTC)


def test_a_day_for_a_moment_is_its_first_local_hour(job: Job) -> None:
    assert job.task("windows").not_before == datetime(2026, 11, 23, 5, tzinfo=UTC)


def test_hours_of_a_range_hold_for_each_of_its_days(job: Job) -> None:
    assert job.calendar.week == (*[Shift(time(7), time(16))] * 5, None, None)
    assert date(2026, 11, 26) in job.calendar.days_off


def test_states_links_and_gates_are_read(job: Job) -> None:
    assert [task.id for task in job.tasks if task.state is State.DONE] == ["raise", "cut"]
    after = job.task("lower").after
    assert [link.task for link in after] == ["sill", "grout"]
    assert {link.kind for link in after} == {LinkKind.FINISH_START}
    assert after[1].gate is not None
    assert (after[1].gate.share, after[1].gate.wait_h) == (0.5, 72.0)


def test_elements_are_in_house_units(job: Job) -> None:
    assert job.task("grout").element == {
        "cement": "type_i_ii",
        "thickness_m": pytest.approx(8 * 0.0254),
        "height_m": pytest.approx(7 * 0.3048),
        "grouted": True,
    }


def test_a_label_keeps_its_two_ways_and_their_own_units(job: Job) -> None:
    tape = next(document for document in job.documents if document.id == "tape_label")
    assert [way.with_measure for way in tape.alternatives] == ["", "primer"]
    assert [c.unit for c in tape.alternatives[0].criteria] == ["degF", "yes_no"]
    plant = next(document for document in job.documents if document.id == "grout_plant")
    assert plant.terms == {"supplier_of": "grout", "notice_h": 20.0, "closes": time(16, 30)}


def test_a_free_day_is_off_and_an_exception_is_kept(job: Job) -> None:
    assert date(2026, 11, 11) in job.calendar.days_off  # Veterans Day: 5 U.S.C. 6103
    assert job.calendar.exceptions == {
        date(2026, 11, 21): Shift(time(8), time(12)),
        date(2026, 11, 23): None,
    }


def test_a_crew_has_hours_of_its_own_and_the_job_s_free_days(job: Job) -> None:
    masons, *_, digger = job.crews
    assert masons.calendar is None
    assert digger.calendar is not None
    early = Shift(time(6, 30), time(15))
    assert digger.calendar.week == (*[early] * 5, None, None)  # a day named alone wins
    assert {date(2026, 11, 13), date(2026, 11, 26)} <= digger.calendar.days_off
    assert digger.calendar.exceptions == job.calendar.exceptions
    assert digger.cost_per_hour == 95.0


def test_a_duration_comes_from_a_rate_or_from_the_booked_hours(job: Job) -> None:
    backfill, windows = job.task("backfill"), job.task("windows")
    assert (backfill.duration_h, backfill.quantity, backfill.quantity_unit) == (7.0, 56.0, "yd3")
    assert windows.duration_h == 6.5
    assert windows.booked == datetime(2026, 12, 7, 13, tzinfo=UTC)


def test_a_job_is_filed_under_its_id_or_its_name(job: Job) -> None:
    assert job.id == "heron-north"
    text = WHOLE.read_text(encoding="utf-8").replace("id: heron-north\n", "")
    assert parse(text).id == "heron-ferry-north-house"


def test_overrides_keep_their_bands_as_numbers_and_words(job: Job) -> None:
    (override,) = job.overrides
    assert (override.row, override.task, override.who) == (
        "lay_block_cold",
        "lay",
        "M. Oduya, engineer",
    )
    assert override.bands == (
        {"up_to": 40.5, "outcome": "no_go"},
        {"outcome": "go", "measures": ("wind_break",)},
    )
    assert [c.on for c in job.confirmations] == [date(2026, 10, 1)]


def test_daylight_and_what_ifs_are_in_utc(job: Job) -> None:
    (light,) = job.daylight
    assert light.sunrise == datetime(2026, 11, 10, 11, 45, tzinfo=UTC)
    assert light.sunset == datetime(2026, 11, 10, 21, 31, tzinfo=UTC)
    (heat,) = job.what_ifs
    assert (heat.start, heat.value, heat.value_until_then, heat.cost) == (
        datetime(2026, 11, 10, 23, tzinfo=UTC), 55.0, 44.0, 190.0,
    )  # fmt: skip
