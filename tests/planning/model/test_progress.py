from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.model.log import Entry, EntryKind
from scheduler.planning.model.progress import progress_until

NOON = datetime(2026, 11, 10, 17, tzinfo=UTC)
HOUR = timedelta(hours=1)


def note(seq: int, happened_h: float, written_h: float) -> Entry:
    return Entry(seq, NOON + happened_h * HOUR, NOON + written_h * HOUR, EntryKind.NOTE)


def undo(seq: int, of: int, at_h: float) -> Entry:
    moment = NOON + at_h * HOUR
    return Entry(seq, moment, moment, EntryKind.UNDO, payload={"seq": of})


def seqs(log: list[Entry], at_h: float | None = None) -> list[int]:
    moment = None if at_h is None else NOON + at_h * HOUR
    return [entry.seq for entry in progress_until(log, moment).entries]


def test_entries_come_by_the_time_they_happened() -> None:
    assert seqs([note(1, 3, 3), note(2, 1, 4), note(3, 1, 5)]) == [2, 3, 1]


def test_what_was_not_written_yet_does_not_exist() -> None:
    log = [note(1, 0, 0), note(2, 0, 6)]
    assert seqs(log, 5) == [1]
    assert seqs(log, 6) == [1, 2]


def test_an_undone_entry_is_gone_from_the_undo_on_but_not_before() -> None:
    log = [note(1, 0, 0), note(2, 1, 1), undo(3, 1, 4)]
    assert seqs(log, 3) == [1, 2]
    assert seqs(log, 4) == [2]


@given(
    hours=st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=8),
    at=st.integers(0, 9),
)
def test_a_past_moment_looks_the_same_whatever_is_written_later(
    hours: list[tuple[int, int]], at: int
) -> None:
    log = [note(n, min(a, b), max(a, b)) for n, (a, b) in enumerate(hours, start=1)]
    then = [entry for entry in log if entry.entered_at <= NOON + at * HOUR]
    later = [*log, *(undo(len(log) + n, n, at + 1) for n in range(1, len(log) + 1))]
    assert seqs(later, at) == seqs(then, at)
