"""The date in a few words, for answers that are not the plan: as planned now, or as kept last."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from scheduler.planning.plan.plan_answer import PlanAnswer


@dataclass(frozen=True, slots=True)
class CloseInLine:
    """Date, margin, chance, binding limit, and the lever that buys most."""

    as_of: datetime  # UTC; the moment of the plan it is taken from
    planned: date | None
    latest_safe: date | None
    ends: str  # limit, season_end, too_few_years, not_known; "": no past years
    margin_days: int | None
    margin_at_least: bool
    chance: float | None
    binding: str
    lever: str = ""
    years_made: int | None = None  # in so many of ``years``, where they are too few for a chance
    years: int = 0


def line_of(plan: PlanAnswer) -> CloseInLine:
    """Return the line of a plan."""
    found = plan.date
    lever = plan.levers[0].what if plan.levers else ""
    if found is None:
        return CloseInLine(plan.at, None, None, "", None, False, None, "", lever)
    return CloseInLine(
        as_of=plan.at,
        planned=found.planned,
        latest_safe=found.latest_safe,
        ends=found.overall.ends.value,
        margin_days=found.margin_days,
        margin_at_least=found.margin_at_least,
        chance=found.chance,
        binding=found.binding,
        lever=lever,
        years_made=found.years_made,
        years=found.years,
    )


def line_of_kept(answer: bytes) -> CloseInLine:
    """Return the line of a plan that was kept, as its documented JSON."""
    plan: dict[str, Any] = json.loads(answer)["plan"]
    found: dict[str, Any] = plan.get("date") or {}
    levers = plan.get("levers") or [{}]
    return CloseInLine(
        as_of=datetime.fromisoformat(plan["at"]),
        planned=_day(found.get("planned")),
        latest_safe=_day(found.get("overall", {}).get("latest_safe")),
        ends=found.get("overall", {}).get("ends", ""),
        margin_days=found.get("margin_days"),
        margin_at_least=bool(found.get("margin_at_least")),
        chance=found.get("chance"),
        binding=found.get("binding", ""),
        lever=levers[0].get("what", ""),
        years_made=found.get("years_made"),
        years=found.get("years", 0),
    )


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
