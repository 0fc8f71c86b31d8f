"""The steps of a run by name, told to whoever watches; the core itself looks at no clock."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

Watch = Callable[[str], None]  # called with a step's name as it begins

READING: Final = "reading job, log and weather"
CALLS: Final = "calls for the day"
TRACES: Final = "weather of every scenario"
VERDICTS: Final = "verdicts and windows"
STRENGTH: Final = "strength, freezing and waits"
SCHEDULE: Final = "schedule"
ODDS: Final = "odds of every date"
DATE: Final = "exposure and close-in date"
LEVERS: Final = "what would buy chance"
STOP_AND_MONEY: Final = "winter stop and money"
OF_A_PLAN: Final = (
    READING, TRACES, VERDICTS, STRENGTH, SCHEDULE, ODDS, DATE, LEVERS, STOP_AND_MONEY,
)  # fmt: skip


def unwatched(step: str) -> None:
    """Watch nothing."""
