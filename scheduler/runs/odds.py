"""The odds of the season as of a moment: gather, plan, count."""

from __future__ import annotations

from rules.errors import BadInput
from scheduler.planning.model.job_book import job_book
from scheduler.planning.reports.job_odds import JobOdds, job_odds
from scheduler.runs.desk import Desk, Gathered, gather, keep
from scheduler.runs.plan import planned_of, with_climate


def odds(desk: Desk) -> tuple[JobOdds, Gathered]:
    """Return the odds and what they were made from; the weather read is kept.

    Raises
    ------
    BadInput
        If no past years were ever given.
    CloseinError
        If the weather cannot be had or read.
    """
    gathered, climate = with_climate(desk, gather(desk, command="odds"))
    if climate is None:
        raise BadInput("odds past the forecast rest on past years; give --climate FILE")
    book = job_book(desk.job)
    planned = planned_of(desk, gathered, climate, book)
    keep(desk, gathered)
    return job_odds(planned, book), gathered
