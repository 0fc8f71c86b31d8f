"""The made scenario, morning first, then a rain delay and what it moves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from scheduler.planning.model.steps import Watch, unwatched
from scheduler.planning.plan.planned import Planned
from scheduler.runs.brief import Morning, brief
from scheduler.runs.desk import Desk
from scheduler.runs.log import Logged, log

AGAIN: Final = "the same after a lost day"


@dataclass(frozen=True, slots=True)
class Demo:
    """The morning, and what a lost day does to it."""

    morning: Morning
    delay: Logged

    @property
    def after(self) -> Planned:
        """Return the plan after the lost day."""
        if self.delay.after is None:
            raise RuntimeError(f"the demo was not replanned: {self.delay.why_not}")
        return self.delay.after


def demo(desk: Desk, *, watch: Watch = unwatched) -> Demo:
    """Run the main job: calls, plan, date; then a lost day, logged and replanned."""
    morning = brief(desk, watch=watch)
    watch(AGAIN)
    lost = {"kind": "lost", "hours": 8.0, "cause": "rain"}
    return Demo(morning, log(desk, [lost], replan=True, before=morning.planned))
