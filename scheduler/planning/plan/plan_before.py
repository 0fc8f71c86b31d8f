"""The plan that was told last, so that a new one changes no more of it than it must."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from scheduler.planning.model.frame import Frame
from scheduler.planning.plan.plan_answer import PlanAnswer


def starts_told(answer: bytes) -> dict[str, datetime]:
    """Return the start of each task not done in an answer that was kept as its documented JSON.

    Empty where the answer holds no plan.
    """
    plan: dict[str, Any] = json.loads(answer).get("plan") or {}
    return {
        line["id"]: datetime.fromisoformat(line["start"])
        for line in plan.get("tasks", ())
        if line.get("start") and not line.get("done")
    }


def starts_of(plan: PlanAnswer) -> dict[str, datetime]:
    """Return the start of each task not done in a plan."""
    return {line.id: line.start for line in plan.tasks if line.start and not line.done}


def starts_before(frame: Frame, told: Mapping[str, datetime]) -> dict[str, int]:
    """Return the hours at which open tasks were to begin; those that are past are left out."""
    hours = {task.id: frame.hour(told[task.id]) for task in frame.open_tasks if task.id in told}
    return {name: hour for name, hour in hours.items() if frame.now <= hour < frame.hours}
