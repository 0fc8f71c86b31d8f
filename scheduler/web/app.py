"""The pages, their files, signing in, ``/v1/`` and ``/health``, as one application."""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable, Mapping
from functools import cache
from importlib import resources
from typing import Final

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Mount, Route

from rules.errors import BadInput, CloseinError
from scheduler.service.health_page import health_route
from scheduler.web import answers
from scheduler.web.api import make_api
from scheduler.web.asking import Asked, by_session, by_token, cookie_of, is_own
from scheduler.web.forms import Form, form_of
from scheduler.web.job_pages import PAGES, JobPages
from scheduler.web.limits import Limits
from scheduler.web.people_page import people
from scheduler.web.shown import Shown
from scheduler.web.signing import Signing
from scheduler.web.site import Site

FILES: Final[Mapping[str, str]] = {
    "closein.css": "text/css",
    "icon.svg": "image/svg+xml",
    "page.js": "text/javascript",
    "worker.js": "text/javascript",
}
LOG: Final = logging.getLogger("closein.pages")
BROKEN: Final = "An error of Closein's own; who runs it finds it in its log."
UNWRITTEN: Final = "Nothing was written down. Go back, and send it again in a while."
Answer = Callable[[Request], Awaitable[Response]]


def make_app(site: Site) -> Starlette:
    """Return the application.

    Parameters
    ----------
    site : Site
        What it works with.
    """
    pages, signing = JobPages(site), Signing(site)
    routes = [
        health_route(site.health),
        Route("/", signing.home, methods=["GET"]),
        Route("/login", signing.login, methods=["GET", "POST"]),
        Route("/logout", signing.logout, methods=["POST"]),
        Route("/jobs", signing.jobs, methods=["GET"]),
        Route("/files/{name}", _file, methods=["GET"]),
        Route("/worker.js", _worker, methods=["GET"]),
        Mount("/v1", make_api(site, pages)),
    ]
    for root in ("/p/{token}", "/j/{job}"):
        routes += [
            Route(root, _slash, methods=["GET"]),
            Route(f"{root}/log", _log(pages), methods=["GET", "POST"]),
            Route(f"{root}/people", _people(pages), methods=["GET", "POST"]),
            Route(f"{root}/photos/{{identity}}", _photo(pages, whole=True), methods=["GET"]),
            Route(f"{root}/photos/{{identity}}/small", _photo(pages, whole=False)),
            Route(f"{root}/{{name:path}}", _get(pages), methods=["GET"]),
        ]
    app = Starlette(
        routes=routes,
        middleware=[Middleware(Limits)],
        exception_handlers={
            404: _nothing,
            405: _nothing,
            ClientDisconnect: _gone,
            CloseinError: _cannot,  # a store that is full, damaged or in use
            OSError: _cannot,
            Exception: _broken,
        },
    )
    app.router.redirect_slashes = False  # its redirects name whatever host was asked for
    return app


def _slash(request: Request) -> Response:
    """Send to the same address with a slash at its end: the pages' own addresses hang on it."""
    told = answers.headers(answers.CLOSED)
    return RedirectResponse(f"{request.url.path}/", 307, headers=told)


def _asked(pages: JobPages, request: Request) -> Asked | None:
    """Return who asks, by their link or their session; None: nobody who may."""
    site, given = pages.site, request.path_params
    if "token" in given:
        return by_token(site.store, given["token"])
    now, secure = site.clock(), site.is_secure
    return by_session(site.store, request, given["job"], now=now, is_secure=secure)


def _stranger(pages: JobPages, request: Request) -> Response:
    """Answer who may not: a forged link finds nothing, who is not signed in may sign in."""
    if "job" in request.path_params and not cookie_of(request, is_secure=pages.site.is_secure):
        return RedirectResponse("/login", 303, headers=answers.headers(answers.CLOSED))
    return answers.nothing()


def _get(pages: JobPages) -> Callable[[Request], Response]:
    def answer(request: Request) -> Response:  # not async: starlette runs it beside the loop
        asked = _asked(pages, request)
        name = request.path_params["name"]
        if asked is None:
            return _stranger(pages, request)
        return pages.get(asked, name) if name in PAGES or "/" not in name else answers.nothing()

    return answer


def _photo(pages: JobPages, *, whole: bool) -> Callable[[Request], Response]:
    def answer(request: Request) -> Response:
        asked = _asked(pages, request)
        if asked is None:
            return _stranger(pages, request)
        return pages.photo(asked, request.path_params["identity"], whole=whole)

    return answer


def _log(pages: JobPages) -> Answer:
    async def answer(request: Request) -> Response:
        asked = await run_in_threadpool(_asked, pages, request)
        if asked is None:
            return await run_in_threadpool(_stranger, pages, request)
        if request.method == "GET":
            return await run_in_threadpool(pages.get, asked, "log")
        if not (asked.visitor.may_log or asked.visitor.releases):
            return answers.nothing()
        form = await form_of(request)
        if form is None or not is_own(request, form.fields.get("csrf", ""), asked.form):
            return answers.nothing(400, "not taken: load the page again\n")
        by = form.fields.get("by", "")
        if by != asked.visitor.who:  # it waited on a phone, and somebody else has signed in since
            told = f"not taken: {by or 'nobody'} wrote it, {asked.visitor.who} sends it\n"
            return answers.nothing(403, told)
        shown = await run_in_threadpool(pages.shown, asked)
        if shown is None:
            return await run_in_threadpool(pages.none, asked)
        as_json = _wants_json(request)
        return await run_in_threadpool(_written, pages, asked, shown, form, as_json)

    return answer


def _written(pages: JobPages, asked: Asked, shown: Shown, form: Form, as_json: bool) -> Response:
    """Write a form down and say what became of it."""
    said: tuple[str, ...] = ()
    wrong: tuple[str, ...] = ()
    try:
        said = (pages.site.take(asked.visitor, form.fields, form.photo).told,)
    except CloseinError as error:
        wrong = tuple(error.lines())
        if not isinstance(error, BadInput):  # not the entry's fault: it may be sent again
            LOG.error("not written down", extra={"told": "; ".join(wrong)})
            if as_json:
                return answers.cannot_json(wrong)
            return pages.log(asked, shown, wrong=wrong, given=form.fields, status=503)
    status = 400 if wrong else 200
    if as_json:
        return answers.document({"said": said, "wrong": wrong}, status=status)
    given = form.fields if wrong else {}
    return pages.log(asked, shown, said=said, wrong=wrong, given=given, status=status)


def _people(pages: JobPages) -> Answer:
    async def answer(request: Request) -> Response:
        asked = await run_in_threadpool(_asked, pages, request)
        if asked is None:
            return await run_in_threadpool(_stranger, pages, request)
        if not asked.visitor.is_owner:
            return answers.nothing()
        fields: dict[str, str] = {}
        if request.method == "POST":
            form = await form_of(request)
            if form is None or not is_own(request, form.fields.get("csrf", ""), asked.form):
                return answers.nothing(400, "not taken: load the page again\n")
            fields = form.fields
        return await run_in_threadpool(people, pages, asked, fields)

    return answer


def _file(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in FILES or name == "worker.js":
        return answers.nothing()
    return _sent(name)


def _worker(_: Request) -> Response:
    return _sent("worker.js")


def _sent(name: str) -> Response:
    told = answers.headers("default-src 'none'; connect-src 'self'")
    told["Cache-Control"] = "no-cache"
    return Response(_content(name), 200, told, media_type=FILES[name])


@cache
def _content(name: str) -> bytes:
    return resources.files("scheduler.web").joinpath(f"files/{name}").read_bytes()


def _wants_json(request: Request) -> bool:
    return "application/json" in request.headers.get("accept", "")


def _gone(_: Request, __: Exception) -> Response:
    """Answer nobody: who asked has broken off, which is no fault of ours to be logged."""
    return answers.nothing(400)


def _cannot(request: Request, error: Exception) -> Response:
    """Say what is wrong with the input, or that it cannot be done now and may be sent again."""
    lines = error.lines() if isinstance(error, CloseinError) else [str(error)]
    if isinstance(error, BadInput):
        if _wants_json(request):
            return answers.document({"said": [], "wrong": lines}, status=400)
        return answers.cannot(lines, title="Not taken", status=400)
    LOG.error("not done", extra={"told": "; ".join(lines)})
    return _told_cannot(request, lines)


def _broken(request: Request, _: Exception) -> Response:
    """Say that Closein broke; what broke is logged by who serves."""
    return _told_cannot(request, [BROKEN])


def _told_cannot(request: Request, lines: list[str]) -> Response:
    if _wants_json(request):
        return answers.cannot_json(lines)
    return answers.cannot([*lines, *([UNWRITTEN] if request.method == "POST" else [])])


def _nothing(request: Request, _: Exception) -> Response:
    """Answer what no route takes, such as a line break in a name; under ``/v1`` as JSON."""
    if request.url.path.startswith("/v1/"):
        return answers.document({"wrong": ["not here"]}, status=404)
    return answers.nothing()
