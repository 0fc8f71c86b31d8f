"""Why a job has no pages, told where they would stand."""

from __future__ import annotations

from rules.errors import CloseinError
from scheduler.service.desks import Service
from scheduler.service.due import MORNING


def why_none(service: Service, job: str) -> list[str]:
    """Return what stood in the way of a job's morning, or when the first one is made.

    Parameters
    ----------
    service : Service
    job : str
        Id of the job.
    """
    watched = next((one for one in service.store.runs.watched() if one.job == job), None)
    if watched is None:
        return ["Nobody looks after this job any more."]
    try:
        morning = service.job(watched).messages.morning
    except CloseinError as error:
        return ["The job file cannot be read:", *error.lines()]
    last = service.store.runs.last(job, MORNING)
    if last and last[0].told:
        return [f"The morning of {last[0].slot} was not made: {last[0].told}"]
    return [f"No morning was made yet. Mornings are made at {morning:%H:%M} on site."]
