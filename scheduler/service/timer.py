"""The timer: beats in UTC and nothing more. What a beat does is decided from the store."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Final

LOG: Final = logging.getLogger("closein.timer")
BEAT_S: Final = 20
REPLAN_S: Final = 10  # for what another process, or one that is gone, has written down


@contextmanager
def beating(
    beat: Callable[[], None],
    *,
    replan: Callable[[], None] = lambda: None,
    every_s: int = BEAT_S,
) -> Iterator[Callable[[], None]]:
    """Call ``beat`` and ``replan`` every so many seconds until the block ends.

    Neither is ever called twice at once. Gives a function that has ``replan`` called at once.
    """
    from apscheduler.schedulers.background import BackgroundScheduler

    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    timer = BackgroundScheduler(timezone="UTC")
    for name, call, every in (("beat", beat, every_s), ("replan", replan, REPLAN_S)):
        timer.add_job(
            _guarded(call), "interval", seconds=every, id=name, max_instances=1, coalesce=True,
            misfire_grace_time=None, next_run_time=datetime.now(UTC),
        )  # fmt: skip
    timer.start()

    def wake() -> None:
        timer.modify_job("replan", next_run_time=datetime.now(UTC))

    try:
        yield wake
    finally:
        timer.shutdown(wait=True)


def _guarded(beat: Callable[[], None]) -> Callable[[], None]:
    """Return a beat whose fault is logged: the timer goes on, and health says what is overdue."""

    def guarded() -> None:
        try:
            beat()
        except Exception:  # the store was locked, the disk full: the next beat tries again
            LOG.exception("beat failed")

    return guarded
