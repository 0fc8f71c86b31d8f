"""The rule book of one job: its edition, what the job overrides, what a person has confirmed."""

from __future__ import annotations

from rules.book import Book, load_book
from rules.errors import CloseinError, Faults
from rules.overrides import confirm, override
from scheduler.planning.model.job import Job


def job_book(job: Job) -> Book:
    """Return the rows that bind a job.

    Raises
    ------
    BookFault
        If no edition has the name the job cites.
    Faults
        Every override or confirmation that cannot stand.
    """
    book = load_book(job.book)
    faults: list[CloseinError] = []
    for set_ in job.overrides:
        try:
            book = override(
                book, row=set_.row, bands=set_.bands, who=set_.who, why=set_.why, task=set_.task
            )
        except CloseinError as error:
            faults += error.faults if isinstance(error, Faults) else [error]
    for seen in job.confirmations:
        try:
            book = confirm(
                book, row=seen.row, who=seen.who, on=seen.on.isoformat(), edition=seen.edition
            )
        except CloseinError as error:
            faults.append(error)
    if faults:
        raise Faults(faults)
    return book
