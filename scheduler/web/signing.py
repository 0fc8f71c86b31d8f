"""Signing in and out, and the list of jobs for who has signed in."""

from __future__ import annotations

import anyio
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from scheduler.interfaces.people import Account
from scheduler.service.links import digest_of
from scheduler.service.signing_in import SignedIn, session_of, sign_in, wait_s
from scheduler.web import answers
from scheduler.web.asking import cookie_of, drop_cookie, form_token, is_own, same_site, set_cookie
from scheduler.web.forms import form_of
from scheduler.web.site import Site

AT_ONCE = 2  # passwords looked at at one time: each takes 64 MiB for a moment
WRONG = "Name and password do not belong together"


class Signing:
    """Answers for signing in."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._turn: anyio.CapacityLimiter | None = None  # made in the loop that serves

    def home(self, request: Request) -> Response:
        """Send to the jobs, or to signing in."""
        return _to("/jobs" if self._account(request) is not None else "/login")

    async def login(self, request: Request) -> Response:
        """Show the form, or begin a session; an older one of the same browser ends."""
        if request.method == "GET":
            return _form("")
        form = await form_of(request)
        if form is None or not same_site(request):
            return answers.nothing(400, "not taken: load the page again\n")
        name = " ".join(form.fields.get("name", "").split())
        password = form.fields.get("password", "")
        address = request.client.host if request.client is not None else ""
        if self._turn is None:
            self._turn = anyio.CapacityLimiter(AT_ONCE)
        async with self._turn:
            begun = await run_in_threadpool(self._sign_in, name, password, address)
        if isinstance(begun, int):
            slow = _form(f"Too many tries; try again in {begun // 60} minutes", status=429)
            slow.headers["Retry-After"] = str(begun)
            return slow
        if begun is None:
            return _form(WRONG, status=403)
        old = cookie_of(request, is_secure=self._site.is_secure)
        if old:
            await run_in_threadpool(self._site.store.people.end_session, digest_of(old))
        answer = _to("/jobs")
        set_cookie(answer, begun.token, is_secure=self._site.is_secure)
        return answer

    async def logout(self, request: Request) -> Response:
        """End the session."""
        form = await form_of(request)
        token = cookie_of(request, is_secure=self._site.is_secure)
        given = "" if form is None else form.fields.get("csrf", "")
        if not token or not is_own(request, given, form_token(token)):
            return answers.nothing(400, "not taken: load the page again\n")
        await run_in_threadpool(self._site.store.people.end_session, digest_of(token))
        answer = _to("/login")
        drop_cookie(answer, is_secure=self._site.is_secure)
        answer.headers["Clear-Site-Data"] = '"cache"'  # not the storage: entries may wait there
        return answer

    def jobs(self, request: Request) -> Response:
        """Return the jobs that something is kept for."""
        account = self._account(request)
        if account is None:
            return _to("/login")
        token = cookie_of(request, is_secure=self._site.is_secure)
        told = {
            "title": "Jobs",
            "jobs": self._site.store.jobs(),
            "who": account.name,
            "csrf": form_token(token),
        }
        return answers.page("jobs", told)

    def _account(self, request: Request) -> Account | None:
        token = cookie_of(request, is_secure=self._site.is_secure)
        return session_of(self._site.store, token, now=self._site.clock()) if token else None

    def _sign_in(self, name: str, password: str, address: str) -> SignedIn | int | None:
        """Return a session, None where the two do not belong together, or how long to wait."""
        store, now = self._site.store, self._site.clock()
        wait = wait_s(store, name, address=address, now=now)
        return wait or sign_in(store, name, password, address=address, now=now)


def _form(wrong: str, *, status: int = 200) -> Response:
    return answers.page("login", {"title": "Sign in", "wrong": wrong}, status=status)


def _to(where: str) -> Response:
    return RedirectResponse(where, 303, headers=answers.headers(answers.CLOSED))
