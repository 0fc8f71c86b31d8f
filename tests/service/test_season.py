"""A season with time moved: a briefing a day, none doubled, staleness told, no go on old data."""

from __future__ import annotations

import json
import os
from collections import Counter
from datetime import datetime, timedelta
from email import message_from_bytes, policy
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from scheduler.service.rounds import round_of
from tests.service.made_job import HOUR, Made, made_job, made_service, utc

ZONE = ZoneInfo("America/New_York")
# Both clock changes lie in the whole season; the short one is two stretches around them.
WHOLE = [(utc(2026, 10, 20, 4), 150)]
SHORT = [(utc(2026, 10, 31, 4), 2), (utc(2027, 3, 13, 5), 2)]
STRETCHES = WHOLE if os.environ.get("CLOSEIN_SOAK") else SHORT
STEP = timedelta(minutes=30)
GOES = {"go", "go_with_protection"}


def season(made: Made, start: datetime, days: int) -> None:
    end = (start.astimezone(ZONE) + timedelta(days=days)).replace(hour=0)
    made.clock.now = start
    while made.clock.now < end:
        round_of(made.service)
        made.clock.now += STEP


@pytest.mark.soak
@pytest.mark.parametrize(("start", "days"), STRETCHES, ids=lambda value: str(value)[:10])
def test_a_season_has_one_briefing_a_day_and_no_go_on_stale_data(
    tmp_path: Path, start: datetime, days: int
) -> None:
    made = made_service(
        tmp_path / "closein.db", made_job(tmp_path, season_end="2027-03-31"), start
    )
    made.fails, made.age_limit_h = 0.2, 4.0
    season(made, start, days)
    failed = made.calls.count(False) / len(made.calls)
    assert days < 100 or 0.1 < failed < 0.3, "the sources did not fail as they should"
    mornings = [pair for pair in made.post.took if pair[0].kind == "morning"]
    first = start.astimezone(ZONE).date()
    assert [one.day for one, _ in mornings] == [str(first + timedelta(n)) for n in range(days)]
    assert max(Counter(one.message_id for one, _ in made.post.took).values()) == 1
    store, (job,) = made.service.store, made.service.store.jobs()
    kept = store.decisions(job, kind="brief")
    assert len(kept) == days
    stale = 0
    for answer, (_, raw) in zip(kept, mornings, strict=True):
        document = json.loads(answer.answer)
        text = message_from_bytes(raw, policy=policy.default).get_body(("plain",)).get_content()
        calls = {one["call"] for one in document["brief"]["answers"]}
        local = answer.at.astimezone(ZONE)
        assert (local.hour, local.minute) == (5, 30)
        if document["brief"]["age_h"] > 4.0:
            stale += 1
            assert document["brief"]["stale"]
            assert "TOO OLD" in text
            assert not calls & GOES
        else:
            assert calls & GOES, "mild dry weather that is fresh must go"
    assert stale > 0 or days < 100, "no morning had old data, so nothing is shown"
    assert store.verify() == ()
    assert store.outbox.alarms() == ()


def test_a_morning_on_old_data_says_so_and_nothing_goes(tmp_path: Path) -> None:
    start = utc(2026, 11, 9, 3)
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), start)
    made.age_limit_h = 4.0
    round_of(made.service)  # a look at three in the night
    made.fails = 1.0
    made.clock.now = utc(2026, 11, 9, 10, 30)
    round_of(made.service)
    ((one, raw),) = made.post.took
    text = message_from_bytes(raw, policy=policy.default).get_body(("plain",)).get_content()
    assert one.kind == "morning"
    assert "Forecast: 8 h old, TOO OLD. Nothing below says go on it." in text
    assert "gfs: no answer" in text
    assert not any(line.startswith("GO") for line in text.splitlines())


def test_a_morning_without_any_forecast_says_that_nothing_is_known(tmp_path: Path) -> None:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), utc(2026, 11, 9, 3))
    made.fails = 1.0
    made.clock.now += 8 * HOUR
    round_of(made.service)
    ((_, raw),) = made.post.took
    mail = message_from_bytes(raw, policy=policy.default)
    assert mail["Subject"] == "Mon: nothing is known, treat everything as no-go"
    assert "no forecast of North end lift is kept" in mail.get_content()
