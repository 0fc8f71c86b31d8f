"""Finished grout counts the cover that was logged, else that was asked for, and no longer.

TMS 602-16 1.8 C asks covers for 24 h or 48 h; blankets in the store room keep nothing warm.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import numpy as np

from rules.freeze import Fate
from scheduler.planning.model.frame import Frame, frame_of
from scheduler.planning.model.job import (
    Calendar,
    Job,
    Link,
    Shift,
    Site,
    State,
    StrengthGate,
    Task,
)
from scheduler.planning.model.log import AskedCover, Entry, EntryKind, Fact, Progress
from scheduler.planning.strength.done_work import FOLLOWED_H, DoneWork
from scheduler.planning.strength.gate_weather import gate_weather
from scheduler.planning.strength.job_gates import job_gates
from scheduler.planning.strength.kept_covers import kept_cover
from scheduler.planning.tables.hours import HourlyTable

FINISHED = datetime(2026, 11, 11, 20, tzinfo=UTC)
NOW = FINISHED + timedelta(hours=60)
BLANKETS = "insulating_blankets"


def frame(*asked: AskedCover, logged: tuple[tuple[float, str], ...] = ()) -> Frame:
    grout = Task(
        "grout", "Grout", "place_grout", 5.0, state=State.DONE, finished_at=FINISHED, place="north"
    )
    gate = StrengthGate(share=0.4, wait_h=72.0, purpose="lower_house")
    lower = Task("lower", "Lower", "lower_house", 7.0, after=(Link("grout", gate=gate),))
    job = Job(
        "north", Site("Heron Ferry", 44.3, -75.1, 125.0, "America/New_York"), "us", "tms602-2016",
        Calendar((Shift(time(7), time(16)),) * 7), (grout, lower),
        on_hand=(BLANKETS, "heated_enclosure"),
    )  # fmt: skip
    entries = []
    for n, (after_h, word) in enumerate(logged):
        at = FINISHED + timedelta(hours=after_h)
        fact = Fact("wall", "covered_with", word, at=at, place="North")
        entries.append(Entry(n, at, at, EntryKind.FACT, fact=fact))
    progress = Progress(tuple(entries), asked)
    return frame_of(job, progress, hour_zero=NOW, hours=400, now_hour=0)


def asked(until_h: float, *, told_h: float = -8.0, call: str = "go_with_protection") -> AskedCover:
    told, end = (FINISHED + timedelta(hours=h) for h in (told_h, until_h))
    return AskedCover(told, "grout", call, BLANKETS, None, end)


def under(one: Frame) -> list[str]:
    """Return the cover of each hour since the finish."""
    kept = kept_cover(one, one.job.task("grout"), FINISHED)
    words = [cover.measure for cover in kept.covers]
    return [words[at] for at in kept.schedule(FOLLOWED_H)]


def told(one: Frame) -> DoneWork:
    """Follow the work through a frost in its second night, by observed hours."""
    start = FINISHED - timedelta(hours=5)
    hours = np.arange(65 + 400)
    air = np.where((hours > 34) & (hours < 41), -4.0, 5.0)
    first = np.datetime64(int(start.timestamp() // 3600), "h") + hours * np.timedelta64(1, "h")
    seen = HourlyTable(first[:65], {"air_temperature_c": air[:65]})
    table = HourlyTable(first[65:], {"air_temperature_c": air[None, 65:]})
    return job_gates(one, weather=gate_weather(one, table, seen), finish={}).done["grout"]


def test_what_is_merely_on_hand_protects_nothing() -> None:
    assert set(under(frame())) == {""}


def test_a_cover_counts_for_the_hours_it_was_asked_for() -> None:
    hours = under(frame(asked(24.0)))
    assert hours[:24] == [BLANKETS] * 24
    assert set(hours[24:]) == {""}


def test_of_calls_before_the_work_the_last_that_let_it_go_counts_and_all_since() -> None:
    calls = (asked(90.0, told_h=-32.0), asked(24.0), asked(80.0, told_h=-2.0, call="wait"))
    assert under(frame(*calls))[20:26] == [BLANKETS] * 4 + [""] * 2
    longer = asked(48.0, told_h=16.0, call="prepare")
    assert under(frame(*calls, longer))[46:50] == [BLANKETS] * 2 + [""] * 2


def test_the_log_goes_before_what_was_asked_and_not_past_now() -> None:
    hours = under(frame(asked(90.0), logged=((10.0, "none"),)))
    assert hours[:10] == [BLANKETS] * 10
    assert set(hours[10:60]) == {""}
    assert hours[60:90] == [BLANKETS] * 30
    seen = under(frame(logged=((2.0, "two blankets"),)))
    assert seen[2:60] == [BLANKETS] * 58
    assert set(seen[60:]) == {""}


def test_grout_that_froze_after_its_24_hours_is_not_told_to_come_through() -> None:
    """The blankets came off as they were asked for; those in the yard kept nothing warm."""
    assert told(frame(asked(24.0))).fate is Fate.FREEZES
    assert told(frame(asked(72.0))).fate is not Fate.FREEZES


def test_fewer_hours_of_cover_never_open_a_gate_sooner() -> None:
    gates = [int(told(frame(asked(h))).ready["lower grout"]) for h in (72.0, 60.0, 48.0)]
    assert gates == sorted(gates)
    assert replace(frame(asked(72.0)), now=0).hours == 400
