"""Make a job file from answers, and count again what a job made so takes."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from rules.errors import BadInput
from scheduler.newjob.job_text import job_text
from scheduler.newjob.numbers import numbers_of
from scheduler.newjob.takeoff import Counted, counted
from scheduler.planning.model.job import Job


def new(given: Mapping[str, str], *, today: date) -> str:
    """Return the job file that the answers make.

    Raises
    ------
    Faults
        Every answer that cannot be taken.
    """
    numbers = numbers_of(given, today=today)
    kept = dict(given) | {"start": numbers.start.isoformat(), "kind": numbers.kind.value}
    return job_text(numbers, kept)


def amounts(job: Job) -> Counted:
    """Return what a job takes, counted from the answers it was made of.

    Raises
    ------
    BadInput
        If the job was not made from numbers.
    Faults
        If its answers no longer fit.
    """
    if not job.built_from:
        raise BadInput(
            f"{job.name} has no built_from: amounts are counted for jobs that `closein new` made"
        )
    start = job.built_from.get("start", "")
    if not start:
        raise BadInput("built_from.start is missing; give the first day of work")
    numbers = numbers_of(job.built_from, today=date.fromisoformat(start))
    return counted(numbers)
