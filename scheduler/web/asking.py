"""Who asks, by a link in the address or a session in the cookie, and is a form their own."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Final

from starlette.requests import HTTPConnection, Request
from starlette.responses import Response

from scheduler.interfaces.people import Account
from scheduler.interfaces.protocols import Store
from scheduler.service.links import link_of
from scheduler.service.signing_in import LASTS, session_of
from scheduler.service.visitor import Visitor, by_account, by_link

COOKIE: Final = "closein"
SECURE_COOKIE: Final = "__Host-closein"  # browsers take it over https and for this host only


@dataclass(frozen=True, slots=True)
class Asked:
    """A visitor with what their pages hang on."""

    visitor: Visitor
    root: str  # where the job's pages stand, with a slash at its end
    form: str  # what a form of theirs carries
    account: Account | None = None


def by_token(store: Store, token: str) -> Asked | None:
    """Return who comes by a link; None where it is forged or withdrawn."""
    link = link_of(store, token)
    if link is None:
        return None
    return Asked(by_link(link), f"/p/{token}/", form_token(token))


def by_session(
    store: Store, request: HTTPConnection, job: str, *, now: datetime, is_secure: bool
) -> Asked | None:
    """Return who has signed in, at a job that the store has; None else."""
    token = cookie_of(request, is_secure=is_secure)
    account = session_of(store, token, now=now) if token else None
    if account is None or job not in store.jobs():
        return None
    return Asked(by_account(account, job), f"/j/{job}/", form_token(token), account)


def cookie_of(request: HTTPConnection, *, is_secure: bool) -> str:
    """Return the token of a session; empty where there is none."""
    return request.cookies.get(SECURE_COOKIE if is_secure else COOKIE, "")


def set_cookie(response: Response, token: str, *, is_secure: bool) -> None:
    """Give a browser its session, out of reach of scripts and of other sites' forms."""
    response.set_cookie(
        SECURE_COOKIE if is_secure else COOKIE,
        token,
        max_age=int(LASTS.total_seconds()),
        path="/",
        secure=is_secure,
        httponly=True,
        samesite="lax",
    )


def drop_cookie(response: Response, *, is_secure: bool) -> None:
    """Take a browser's session away."""
    name = SECURE_COOKIE if is_secure else COOKIE
    response.delete_cookie(name, path="/", secure=is_secure, httponly=True, samesite="lax")


def form_token(token: str) -> str:
    """Return what forms carry: known to who can read the page, and no way back to the token."""
    return sha256(f"form:{token}".encode()).hexdigest()


def is_own(request: Request, given: str, wanted: str) -> bool:
    """Tell whether a form comes from a page of ours: its token fits, and so does its origin."""
    return same_site(request) and secrets.compare_digest(given.encode(), wanted.encode())


def same_site(request: Request) -> bool:
    """Tell whether a browser says that a request comes from this site."""
    if request.headers.get("sec-fetch-site", "same-origin") not in {"same-origin", "none"}:
        return False
    origin, host = request.headers.get("origin"), request.headers.get("host", "")
    return origin in (None, f"http://{host}", f"https://{host}")
