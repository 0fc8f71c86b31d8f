"""``/v1/``: the same answers as JSON, for a link's token or an account's session.

A token goes into ``Authorization: Bearer``. Writing takes a token: a browser's cookie alone
writes nothing here, so no other site can make a browser do it.
"""

from __future__ import annotations

import json
from typing import Any, Final

from fastapi import Depends, FastAPI, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from fastapi.security import HTTPBearer
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.responses import Response

from rules.book import all_rows
from rules.errors import BadInput, CloseinError
from scheduler.planning.rulings.asks import allowed
from scheduler.service.messages import TOLD
from scheduler.service.signing_in import session_of
from scheduler.web import answers, api_models
from scheduler.web.asking import Asked, by_session, by_token, cookie_of
from scheduler.web.job_pages import JobPages
from scheduler.web.shown import Shown
from scheduler.web.site import Site

WRONG: Final[dict[int | str, dict[str, Any]]] = {
    code: {"model": api_models.Wrong, "description": text}
    for code, text in (
        (401, "no token, and no session"),
        (404, "no such job for who asks"),
        (422, "the request is not as described"),
        (503, "no morning was made yet, or the store cannot be used now: ask again"),
    )
}
REFUSED: Final[dict[int | str, dict[str, Any]]] = {
    409: {"model": api_models.Wrong, "description": "the job or its log cannot take the entry"},
    403: {"model": api_models.Wrong, "description": "who asks may read, not write"},
    413: {"description": "too long"},
}
BEARER: Final = HTTPBearer(auto_error=False, description="the token of a person's link")


def make_api(site: Site, pages: JobPages) -> FastAPI:
    """Return the application under ``/v1``."""
    api = FastAPI(
        title="Closein",
        version="1",
        description="Calls, plan and log of the jobs that a service looks after.",
        docs_url=None,
        redoc_url=None,
        openapi_url="/openapi.json",
        responses=WRONG,
        dependencies=[Depends(BEARER)],
        redirect_slashes=False,
    )
    api.add_exception_handler(StarletteHTTPException, _told)
    api.add_exception_handler(RequestValidationError, _unreadable)
    api.add_exception_handler(CloseinError, _not_now)
    _reading(api, site, pages)
    _writing(api, site)
    return api


def _reading(api: FastAPI, site: Site, pages: JobPages) -> None:
    """Add what is read."""

    @api.get("/jobs")
    def jobs(request: Request) -> list[api_models.JobLine]:
        """Return the jobs that who asks may see."""
        return [_job_line(pages, job) for job in _jobs(site, request)]

    @api.get("/jobs/{job}/today")
    def today(request: Request, job: str) -> api_models.Today:
        """Return today's calls; of an old answer none says go."""
        asked, shown = _both(site, pages, request, job)
        told = shown.parts["today"]
        names = ("waiting", "decide", "tell", "leaves", "notes", "weather", "cautions")
        return api_models.Today(
            **_made(site, asked, shown),
            subject=shown.subject(),
            rows=[api_models.CallRow(**row) for row in shown.rows()],
            **{name: told[name] for name in names},
        )

    @api.get("/jobs/{job}/week")
    def week(request: Request, job: str) -> api_models.Week:
        """Return the coming days hour by hour."""
        asked, shown = _both(site, pages, request, job)
        tasks = [] if shown.is_old else shown.parts["week"]
        return api_models.Week(**_made(site, asked, shown), tasks=tasks)

    @api.get("/jobs/{job}/plan")
    def plan(request: Request, job: str) -> api_models.Plan:
        """Return the plan, its odds and what the last entries moved."""
        asked, shown = _both(site, pages, request, job)
        told = shown.parts
        return api_models.Plan(
            **_made(site, asked, shown),
            rows=told["plan"],
            lines=told["plan_lines"],
            levers=told["levers"],
            lever_notes=told["lever_notes"],
            moved=told["moved"],
        )

    @api.get("/jobs/{job}/whole")
    def whole(request: Request, job: str) -> api_models.Whole:
        """Return calls and plan with every number; nothing of an old answer."""
        asked, shown = _both(site, pages, request, job)
        told = None if shown.is_old else _newest_document(site, job)
        return api_models.Whole(**_made(site, asked, shown), document=told)

    @api.get("/jobs/{job}/walls")
    def walls(request: Request, job: str) -> api_models.Walls:
        """Return fresh work with its protections compared, and the readings."""
        asked, shown = _both(site, pages, request, job)
        made = _made(site, asked, shown)
        return api_models.Walls(
            **made, walls=shown.parts["walls"], readings=shown.parts["readings"]
        )

    @api.get("/jobs/{job}/log")
    def log(request: Request, job: str) -> api_models.Log:
        """Return the newest entries that the answer was made from."""
        asked, shown = _both(site, pages, request, job)
        return api_models.Log(**_made(site, asked, shown), entries=shown.parts["entries"])

    @api.get("/rules")
    def rules(request: Request) -> api_models.Rules:
        """Return the rule book with its sources."""
        _jobs(site, request)
        return api_models.Rules(rules=[_rule(row) for row in all_rows()[0]])


def _writing(api: FastAPI, site: Site) -> None:
    """Add what is written."""

    @api.post("/jobs/{job}/log", responses=REFUSED)
    def write(request: Request, job: str, entry: api_models.NewEntry) -> api_models.Written:
        """Write an entry down, once for each key; the plan follows."""
        asked = _asked(site, request, job)
        if asked.account is not None:
            raise HTTPException(403, "writing takes a link's token")
        if not asked.visitor.may_log:
            raise HTTPException(403, f"{asked.visitor.who} may read, not write")
        given = entry.model_dump(exclude_none=True)
        fields = {name: str(value) for name, value in given.items()}
        try:
            taken = site.take(asked.visitor, fields, b"")
        except BadInput as error:
            raise HTTPException(409, error.lines()) from error
        return api_models.Written(told=taken.told, again=taken.again)


def _token(request: Request) -> str:
    kind, _, token = request.headers.get("authorization", "").partition(" ")
    return token.strip() if kind.lower() == "bearer" else ""


def _jobs(site: Site, request: Request) -> tuple[str, ...]:
    """Return the jobs that who asks may see.

    Raises
    ------
    HTTPException
        401 where nobody is known to ask.
    """
    token = _token(request)
    asked = by_token(site.store, token) if token else None
    if asked is not None:
        return (asked.visitor.job,)
    session = cookie_of(request, is_secure=site.is_secure)
    if not token and session:
        account = session_of(site.store, session, now=site.clock())
        if account is not None:
            return site.store.jobs()
    raise HTTPException(401, "give a link's token: Authorization: Bearer ...")


def _asked(site: Site, request: Request, job: str) -> Asked:
    token = _token(request)
    if token:
        asked = by_token(site.store, token)
    else:
        asked = by_session(site.store, request, job, now=site.clock(), is_secure=site.is_secure)
    if asked is None:
        _jobs(site, request)  # 401 where nobody is known
        raise HTTPException(404, "no such job")
    if asked.visitor.job != job:
        raise HTTPException(404, "no such job")
    return asked


def _both(site: Site, pages: JobPages, request: Request, job: str) -> tuple[Asked, Shown]:
    asked = _asked(site, request, job)
    shown = pages.shown(asked)
    if shown is None:
        raise HTTPException(503, "no morning was made yet")
    return asked, shown


def _newest_document(site: Site, job: str) -> dict[str, Any] | None:
    last = [site.store.last_decision(job, kind) for kind in TOLD]
    numbers = [one[0] for one in last if one is not None]
    if not numbers:
        return None
    told: dict[str, Any] = json.loads(site.store.decision(job, max(numbers)).answer)
    return told


def _made(site: Site, asked: Asked, shown: Shown) -> dict[str, Any]:
    return {
        "job": asked.visitor.job,
        "name": shown.parts["name"],
        "time_zone": shown.parts["time_zone"],
        "answer": shown.number,
        "made": shown.made,
        "good_until": shown.good_until,
        "is_old": shown.is_old,
        "behind": site.behind(asked.visitor.job, shown.position),
    }


def _job_line(pages: JobPages, job: str) -> api_models.JobLine:
    shown = pages.newest.shown(job, pages.site.clock())
    if shown is None:
        return api_models.JobLine(job=job, name=None, made=None, good_until=None, is_old=None)
    return api_models.JobLine(
        job=job,
        name=shown.parts["name"],
        made=shown.made,
        good_until=shown.good_until,
        is_old=shown.is_old,
    )


def _rule(row: Any) -> api_models.Rule:
    return api_models.Rule(
        id=row.id,
        says=row.says,
        work_types=list(row.work_types),
        quantity=row.name,
        allowed=allowed(row),
        source=row.source,
        clause=row.clause,
        verify=row.verify,
    )


async def _told(_: Request, error: Exception) -> Response:
    status = getattr(error, "status_code", 500)
    detail = getattr(error, "detail", "")
    lines = detail if isinstance(detail, list) else [str(detail)]
    response = answers.document({"wrong": lines}, status=status)
    if status == 401:
        response.headers["WWW-Authenticate"] = "Bearer"
    return response


async def _not_now(_: Request, error: Exception) -> Response:
    lines = error.lines() if isinstance(error, CloseinError) else []
    return answers.document({"wrong": lines}, status=503)


async def _unreadable(_: Request, error: Exception) -> Response:
    faults = error.errors() if isinstance(error, RequestValidationError) else []
    lines = [f"{'.'.join(str(part) for part in one['loc'])}: {one['msg']}" for one in faults]
    return answers.document({"wrong": lines}, status=422)
