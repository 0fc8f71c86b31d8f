"""A release lifts a row's hold in plan and call alike: by its role, of what was found before."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rules.judge import hour_verdicts
from rules.verdict import Verdict
from rules.weather import Weather
from scheduler.planning.calls.decide import decide
from scheduler.planning.evidence.facts import asked_with
from scheduler.planning.model.answer import Call
from scheduler.planning.model.job import Task
from scheduler.planning.model.log import Entry, EntryKind, Fact, Progress
from tests.planning.evidence.made import BOOK, NOW, job, known_of, log, mild

RAISE = Task("raise", "Raise", "raise_house", 4.0)
ICE = Fact("cribs", "ice_on_top", value=True, at=NOW - timedelta(hours=2))


def release(role: str, before_h: float, row: str | None) -> Entry:
    at = NOW - timedelta(hours=before_h)
    return Entry(
        9, at, at, EntryKind.RELEASE, "raise", who="L. Orr", payload={"role": role, "row": row}
    )


@pytest.mark.parametrize(
    ("one", "goes"),
    [
        (release("house_lifter", 1.0, "cribs.ice"), True),
        (release("house_lifter", 1.0, None), True),  # the only row that holds it
        (release("house_lifter", 1.0, "cribs.settled"), False),
        (release("house_lifter", 3.0, "cribs.ice"), False),  # before the ice
        (release("engineer", 1.0, None), False),
    ],
)
def test_what_was_released_goes_in_plan_and_call(one: Entry, goes: bool) -> None:
    """Ice under a raised load comes off before the jacks move: common practice of lifters."""
    entries = tuple(sorted((*log(ICE), one), key=lambda entry: entry.at))
    made = job(RAISE)
    call = decide(made, mild(), None, Progress(entries), BOOK, NOW)[0].call
    table = mild(before_h=0).table
    weather = Weather(dict(table.columns), table.hours)
    planned = hour_verdicts(BOOK, asked_with(known_of(made, entries), RAISE, NOW), weather)
    assert (call in {Call.GO, Call.GO_WITH_PROTECTION}) is goes
    assert bool(planned[0] <= Verdict.GO_WITH_PROTECTION) is goes


@pytest.mark.parametrize(("seq", "goes"), [(1, True), (12, False)])
def test_a_log_written_up_later_tells_what_was_known_at_the_release(seq: int, goes: bool) -> None:
    """The ice of before is told at the same time as the release, or after it: then nobody knows
    whether who released it had seen it. Common practice, no source."""
    ice = Entry(seq, NOW, NOW, EntryKind.FACT, fact=ICE)
    entries = tuple(sorted((ice, release("house_lifter", 1.0, None)), key=lambda e: e.at))
    call = decide(job(RAISE), mild(), None, Progress(entries), BOOK, NOW)[0].call
    table = mild(before_h=0).table
    weather = Weather(dict(table.columns), table.hours)
    asked = asked_with(known_of(job(RAISE), entries), RAISE, NOW)
    assert (call in {Call.GO, Call.GO_WITH_PROTECTION}) is goes
    assert bool(hour_verdicts(BOOK, asked, weather)[0] <= Verdict.GO_WITH_PROTECTION) is goes
