"""The shares of a run's steps."""

from __future__ import annotations

import pytest

from scheduler.output.stopwatch import Stopwatch, timed


def test_the_same_step_again_adds_to_it_and_the_order_is_kept() -> None:
    clock = Stopwatch()
    for step in ("read", "plan", "read"):
        clock.watch(step)
    clock.stop()
    assert list(clock.seconds) == ["read", "plan"]
    assert all(seconds >= 0.0 for seconds in clock.seconds.values())


def test_shares_are_printed_beside_the_answer_only_where_they_are_asked_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for asked in (False, True):
        with timed(("one", "two"), asked=asked) as clock:
            clock.watch("one")
            clock.watch("two")
        out, err = capsys.readouterr()
        assert out == ""
        assert ("Share" in err, "100%" in err) == (asked, asked)
