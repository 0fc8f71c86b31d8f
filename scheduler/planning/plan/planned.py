"""A plan with all that was reckoned for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rules.verdict import VerdictArray
from scheduler.planning.forecast.scenarios import Scenarios
from scheduler.planning.model.frame import Frame
from scheduler.planning.plan.plan_answer import PlanAnswer
from scheduler.planning.replay.replay import Replayed
from scheduler.planning.schedule.network import Plan, Problem
from scheduler.planning.windows.task_weather import TaskWeather


@dataclass(frozen=True, slots=True)
class Planned:
    """The plan with what it was made of."""

    answer: PlanAnswer
    plan: Plan
    problem: Problem
    frame: Frame
    weather: Scenarios
    told: Replayed | None = None  # the plan's order in every scenario
    hourly: Mapping[str, VerdictArray] = field(default_factory=dict)  # by task, what is forecast
    many: Mapping[str, TaskWeather] = field(default_factory=dict)  # by task, in every scenario
