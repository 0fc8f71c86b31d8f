"""The morning message: calls and plan together, from one gathering."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from scheduler.planning.forecast.climate_years import ClimateYears
from scheduler.planning.model.free_time import SOON
from scheduler.planning.model.job_book import job_book
from scheduler.planning.model.steps import CALLS, READING, Watch, unwatched
from scheduler.planning.plan.planned import Planned
from scheduler.planning.reports.briefing import Brief
from scheduler.planning.reports.briefing import brief as sort_answers
from scheduler.runs.desk import Desk, gather, keep
from scheduler.runs.plan import planned_of, with_climate
from scheduler.runs.today import Today, today_of
from scheduler.runs.tonight import leaves_of


@dataclass(frozen=True, slots=True)
class Morning:
    """What a morning says: calls, plan, and the message made of them."""

    today: Today
    planned: Planned
    brief: Brief
    climate: ClimateYears | None  # the past years that it was planned on


def brief(
    desk: Desk, *, told: Mapping[str, datetime] | None = None, watch: Watch = unwatched
) -> Morning:
    """Return the morning's message; the weather read is kept.

    Parameters
    ----------
    desk : Desk
    told : mapping, optional
        Starts that the plan keeps to where it can; else, or where empty, those told last.
    watch : callable
        Told the name of each step as it begins.

    Raises
    ------
    CloseinError
        If the weather cannot be had or read.
    """
    watch(READING)
    gathered = gather(desk, command="brief")
    gathered, climate = with_climate(desk, gathered.after(told) if told else gathered)
    book = job_book(desk.job)
    watch(CALLS)
    found = today_of(gathered, book)
    planned = planned_of(desk, gathered, climate, book, watch=watch)
    keep(desk, gathered)
    made = sort_answers(
        desk.job,
        found.answers,
        at=desk.now,
        forecast=gathered.forecast,
        stale=found.stale,
        date=planned.answer.date,
        leaves=[one for one in leaves_of(found, book) if one.away.start <= desk.now + SOON],
    )
    return Morning(found, planned, made, climate)
