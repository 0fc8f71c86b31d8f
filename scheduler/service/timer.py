"""The timer: a beat in UTC and nothing more. What a beat does is decided from the store."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Final

LOG: Final = logging.getLogger("closein.timer")
BEAT_S: Final = 20


@contextmanager
def beating(beat: Callable[[], None], *, every_s: int = BEAT_S) -> Iterator[None]:
    """Call ``beat`` every so many seconds until the block ends; never two at once."""
    from apscheduler.schedulers.background import BackgroundScheduler

    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    timer = BackgroundScheduler(timezone="UTC")
    timer.add_job(
        _guarded(beat), "interval", seconds=every_s, max_instances=1, coalesce=True,
        misfire_grace_time=None, next_run_time=datetime.now(UTC),
    )  # fmt: skip
    timer.start()
    try:
        yield
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
