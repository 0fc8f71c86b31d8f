"""How every page is answered: its headers, and what is said where there is nothing."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from hashlib import sha256
from typing import TYPE_CHECKING, Final

from markupsafe import Markup
from starlette.responses import JSONResponse, PlainTextResponse, Response

from scheduler.planning.reports.briefing import LINE

if TYPE_CHECKING:
    from jinja2 import Environment

STYLE: Final = re.compile(r"<style>(.*?)</style>", re.DOTALL)
NOTHING: Final = "not here\n"
AGAIN_S: Final = 30  # after which what could not be done now may be asked again
COMMON: Final = {
    "X-Content-Type-Options": "nosniff",
    # no address leaves for another site; with no-referrer browsers post forms with Origin: null
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "X-Robots-Tag": "noindex",
    "Cache-Control": "private, no-store",
}
CLOSED: Final = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


@cache
def environment() -> Environment:
    """Return the environment that every page is read in; everything in it is escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("scheduler.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def body(name: str, told: Mapping[str, object]) -> Markup:
    """Return what stands inside a page's frame, escaped."""
    text = environment().get_template(f"{name}.html.jinja").render(told)
    return Markup(text)  # noqa: S704 - its template has escaped what it was told


def page(name: str, told: Mapping[str, object], *, status: int = 200) -> Response:
    """Return a page; it may load from its own address only, and runs no script but its own."""
    text = environment().get_template(f"{name}.html.jinja").render({**told, "line": LINE})
    policy = (
        "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; "
        "connect-src 'self'; worker-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    )
    response = Response(text, status, headers(policy), media_type="text/html")
    if status == 503:
        response.headers["Retry-After"] = str(AGAIN_S)
    return response


def sheet(text: str) -> Response:
    """Return a page that brings its own style and nothing else."""
    policy = f"{CLOSED}; style-src {_styles(text)}"
    return Response(text, 200, headers(policy), media_type="text/html")


@lru_cache(maxsize=64)
def _styles(text: str) -> str:
    """Return the hashes of a page's own styles, as a policy names them (CSP Level 3)."""
    own = [base64.b64encode(sha256(s.encode()).digest()).decode() for s in STYLE.findall(text)]
    return " ".join(f"'sha256-{one}'" for one in own) or "'none'"


def raw(content: bytes, media_type: str, *, keeps: bool = False) -> Response:
    """Return bytes as they are; ``keeps`` for what never changes under its name."""
    own = headers(f"{CLOSED}; sandbox")
    if keeps:
        own["Cache-Control"] = "private, max-age=31536000, immutable"
    return Response(content, 200, own, media_type=media_type)


def document(told: object, *, status: int = 200) -> Response:
    """Return JSON."""
    response = JSONResponse(told, status, headers(CLOSED))
    if status == 503:
        response.headers["Retry-After"] = str(AGAIN_S)
    return response


def nothing(status: int = 404, text: str = NOTHING) -> Response:
    """Answer alike what is not there, what was withdrawn, and what is forged."""
    return PlainTextResponse(text, status, headers(CLOSED))


def cannot(
    lines: Sequence[str], *, root: str = "/", title: str = "Not to be had now", status: int = 503
) -> Response:
    """Return a page that says why nothing can be shown or done at this moment (RFC 9110, 15.6.4).

    ``root`` is where the visitor's own pages stand.
    """
    return page("cannot", {"title": title, "lines": lines, "root": root}, status=status)


def cannot_json(lines: Sequence[str]) -> Response:
    """Say the same to a program; what it sent was not taken and may be sent again."""
    return document({"said": [], "wrong": list(lines)}, status=503)


def headers(policy: str) -> dict[str, str]:
    """Return the headers of an answer."""
    return {**COMMON, "Content-Security-Policy": policy}
