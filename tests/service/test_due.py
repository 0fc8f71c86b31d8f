"""What is due hangs on the local day: one morning a day, late once after a stop, never twice."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.interfaces.messages import RunRow
from scheduler.jobfile import parse
from scheduler.planning.model.job import Job, Rhythm, SourceChoice
from scheduler.service.due import (
    EVENING,
    MORNING,
    Due,
    due,
    missed_days,
    overdue,
    quiet_until,
    slots,
)
from tests.demo_job import DEMO

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)
ZONES = ("America/New_York", "Europe/Berlin", "Australia/Lord_Howe", "America/St_Johns", "UTC")


def job(zone: str = "America/New_York", rhythm: Rhythm = Rhythm()) -> Job:  # noqa: B008
    made = parse((DEMO / "job.yaml").read_bytes())
    return replace(made, site=replace(made.site, time_zone=zone), messages=rhythm)


def row(one: Due, now: datetime, *, done: bool = True) -> RunRow:
    return RunRow(
        "x", one.kind, one.slot, "c", 1, now, now + 5 * MINUTE, now if done else None, "", ""
    )


def walked(
    made: Job, start: datetime, end: datetime, step: timedelta, *, since: datetime = LONG_AGO
) -> list[tuple[datetime, Due]]:
    """Ask again and again, doing all that is due."""
    found: list[tuple[datetime, Due]] = []
    rows: dict[tuple[str, str], RunRow] = {}
    now = start
    while now < end:
        wanted = set(slots(made, now))
        known = [one for key, one in rows.items() if key in wanted]
        for one in due(made, since=since, done=known, now=now):
            found.append((now, one))
            rows[one.kind, one.slot] = row(one, now)
        now += step
    return found


def mornings(found: list[tuple[datetime, Due]]) -> list[tuple[datetime, Due]]:
    return [pair for pair in found if pair[1].kind == MORNING]


@pytest.mark.parametrize(
    ("change", "hours"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25)], ids=str
)
@pytest.mark.parametrize("clock", [time(1, 30), time(2, 30), time(5, 30)], ids=str)
def test_a_day_of_23_or_25_hours_has_one_morning(change: date, hours: int, clock: time) -> None:
    zone = ZoneInfo("America/New_York")
    begin = datetime.combine(change - DAY, time(), zone).astimezone(UTC)
    end = datetime.combine(change + 2 * DAY, time(), zone).astimezone(UTC)
    assert end - begin == timedelta(hours=48 + hours)
    found = mornings(walked(job(rhythm=Rhythm(morning=clock)), begin, end, 10 * MINUTE))
    assert [one.slot for _, one in found] == [str(change + n * DAY) for n in (-1, 0, 1)]
    wall = [now.astimezone(zone).time() for now, _ in found]
    skipped = hours == 23 and clock == time(2, 30)
    assert wall == [clock, time(3, 30) if skipped else clock, clock]
    assert not any(one.late for _, one in found)


@settings(max_examples=30)
@given(
    zone=st.sampled_from(ZONES),
    begin=st.integers(0, 330 * 24).map(lambda n: datetime(2026, 1, 1, tzinfo=UTC) + n * HOUR),
    step=st.integers(1, 300),
    clock=st.times(),
)
def test_no_day_has_two_mornings_whatever_the_rhythm_of_the_timer(
    zone: str, begin: datetime, step: int, clock: time
) -> None:
    clock = clock.replace(second=0, microsecond=0)
    made = job(zone, Rhythm(morning=clock, evening=None))
    found = mornings(walked(made, begin, begin + 4 * DAY, step * MINUTE))
    days = [one.slot for _, one in found]
    assert len(days) == len(set(days))
    for now, one in found:
        assert now.astimezone(ZoneInfo(zone)).date().isoformat() == one.slot
        assert one.at <= now


def test_after_a_stop_of_days_there_is_one_late_morning_and_the_missed_days_are_named() -> None:
    made = job()
    back = datetime(2026, 11, 12, 15, tzinfo=UTC)  # ten in the morning, two days missed
    found = mornings(walked(made, back, back + 2 * HOUR, 10 * MINUTE))
    assert [(one.slot, one.late) for _, one in found] == [("2026-11-12", True)]
    missed = missed_days(made, since=LONG_AGO, last=date(2026, 11, 9), now=back)
    assert missed == (date(2026, 11, 10), date(2026, 11, 11))
    assert missed_days(made, since=LONG_AGO, last=date(2026, 11, 11), now=back) == ()


def test_a_job_watched_since_noon_has_no_morning_that_day() -> None:
    noon = datetime(2026, 11, 12, 17, tzinfo=UTC)
    found = walked(job(), noon, noon + DAY, 10 * MINUTE, since=noon)
    assert [one.slot for _, one in mornings(found)] == ["2026-11-13"]
    assert missed_days(job(), since=noon, last=None, now=noon + DAY) == ()


def test_a_run_another_process_has_at_hand_is_left_to_it_until_its_time_is_up() -> None:
    now = datetime(2026, 11, 12, 11, tzinfo=UTC)
    (one,) = [d for d in due(job(), since=LONG_AGO, done=(), now=now) if d.kind == MORNING]
    held = row(one, now, done=False)
    assert one not in due(job(), since=LONG_AGO, done=[held], now=now + MINUTE)
    late = due(job(), since=LONG_AGO, done=[held], now=now + 6 * MINUTE)
    assert [d.slot for d in late if d.kind == MORNING] == [one.slot]


def test_sources_are_looked_at_in_their_own_rhythm() -> None:
    made = replace(job(), sources=(SourceChoice("nws"), SourceChoice("gfs")))
    begin = datetime(2026, 11, 12, tzinfo=UTC)
    kinds = [one.kind for _, one in walked(made, begin, begin + DAY, 10 * MINUTE)]
    assert (kinds.count("look:nws"), kinds.count("look:gfs")) == (24, 8)


def test_an_evening_that_comes_when_people_sleep_is_left_out() -> None:
    at = datetime(2026, 11, 12, 21, 30, tzinfo=UTC)
    for after, wanted in ((HOUR, [EVENING]), (5 * HOUR, [])):
        found = due(job(), since=LONG_AGO, done=(), now=at + after)
        assert [one.kind for one in found if one.kind == EVENING] == wanted


def test_a_morning_is_overdue_half_an_hour_after_its_time() -> None:
    at = datetime(2026, 11, 12, 10, 30, tzinfo=UTC)
    made = job()
    assert not overdue(made, since=LONG_AGO, done=(), now=at + 29 * MINUTE)
    assert overdue(made, since=LONG_AGO, done=(), now=at + HOUR)
    (one,) = [d for d in due(made, since=LONG_AGO, done=(), now=at) if d.kind == MORNING]
    assert not overdue(made, since=LONG_AGO, done=[row(one, at)], now=at + HOUR)
    assert overdue(made, since=LONG_AGO, done=[row(one, at, done=False)], now=at + HOUR)
    assert not overdue(made, since=at + MINUTE, done=(), now=at + HOUR)


@pytest.mark.parametrize(
    ("clock", "ends"),
    [
        ("19:59", None),
        ("20:00", "05:00+1"),
        ("23:59", "05:00+1"),
        ("04:59", "05:00"),
        ("05:00", None),
    ],
)
def test_quiet_hours_run_over_midnight(clock: str, ends: str | None) -> None:
    zone = ZoneInfo("America/New_York")
    now = datetime.combine(date(2026, 11, 12), time.fromisoformat(clock), zone).astimezone(UTC)
    found = quiet_until(Rhythm(), "America/New_York", now)
    local = None if found is None else found.astimezone(zone)
    told = None
    if local is not None:
        told = f"{local:%H:%M}" + ("+1" if local.date() > date(2026, 11, 12) else "")
    assert told == ends
