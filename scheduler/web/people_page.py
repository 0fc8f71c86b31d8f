"""The owner's page: who has a link to the job, giving one, withdrawing, and who opened what."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.responses import Response

from rules.errors import BadInput
from scheduler.output.words import clock
from scheduler.service.links import give, withdraw
from scheduler.web import answers
from scheduler.web.asking import Asked
from scheduler.web.job_pages import JobPages

NEWEST = 40  # openings that are shown


def people(pages: JobPages, asked: Asked, fields: Mapping[str, str]) -> Response:
    """Return the page, after doing what a form of it asks."""
    site, job = pages.site, asked.visitor.job
    shown = pages.shown(asked)
    if shown is None:
        return pages.none(asked)
    said, wrong, given = _done(pages, job, fields)
    zone = str(shown.parts["time_zone"])
    told = {
        "said": said,
        "wrong": wrong,
        "given": given,
        "has_root": bool(site.root),
        "links": [
            {"who": link.who, "since": clock(link.given_at, zone), "may_log": link.may_log}
            for link in site.store.people.links(job)
        ],
        "seen": [
            {"who": one.who, "at": clock(one.at, zone), "decision": one.decision}
            for one in reversed(site.store.people.who_saw(job)[-NEWEST:])
        ],
    }
    inside = answers.body("people", {**told, "csrf": asked.form})
    return pages.framed("People", "people", asked, shown, inside, status=400 if wrong else 200)


def _done(
    pages: JobPages, job: str, fields: Mapping[str, str]
) -> tuple[list[str], list[str], str]:
    """Do what a form asks; return what was done, what was wrong, and a new link's address."""
    site, now = pages.site, pages.site.clock()
    try:
        if fields.get("withdraw"):
            count = withdraw(site.store, job, fields["withdraw"], now=now)
            return [f"Withdrawn from {fields['withdraw']}: {count}"], [], ""
        if "who" in fields:
            may_log = fields.get("may_log") == "yes"
            token = give(site.store, job, fields["who"], now=now, may_log=may_log)
            return [], [], f"{site.root.rstrip('/')}/p/{token}/"
    except BadInput as error:
        return [], error.lines(), ""
    return [], [], ""
