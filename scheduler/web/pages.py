"""The pages of a job behind a person's link: today, the plan, the close-in date, the rules.

Every page is made of what the service has kept; a request plans nothing and writes nothing. An
unknown link, a withdrawn one and a page that is not there answer alike.
"""

from __future__ import annotations

import base64
import html
import json
import re
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from importlib import resources
from typing import Any, Final
from urllib.parse import parse_qsl
from zoneinfo import ZoneInfo

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from rules.errors import CloseinError
from scheduler.interfaces import Store
from scheduler.planning.briefing import LINE
from scheduler.service.health import Health
from scheduler.service.health_page import health_route
from scheduler.service.links import Link, link_of
from scheduler.service.page_parts import PAGE
from scheduler.web.log_page import log_body

OLD_AFTER: Final = timedelta(hours=26)  # a morning missed; common practice, no source
STYLE: Final = re.compile(r"<style>(.*?)</style>", re.DOTALL)
OWN_STYLE: Final = (
    "body{font:16px/1.45 system-ui,sans-serif;color:#1c1c1c;background:#fff;margin:0 auto;"
    "max-width:44rem;padding:1rem}img{width:100%;max-width:40rem;height:auto}"
    "nav a{display:inline-block;padding:.7rem 1rem .7rem 0}"
    "form{border:1px solid #bbb;padding:.5rem 1rem 1rem;margin:1rem 0}h2{font-size:1.1rem}"
    "label{display:block;margin:.6rem 0}input,select,button{font:inherit;display:block;width:100%;"
    "min-height:3.2rem;padding:.4rem .6rem;box-sizing:border-box}"
    "pre{white-space:pre-wrap;overflow-wrap:anywhere}"
    ".late{border:2px solid #9b1c1c;padding:.5rem;font-weight:700}"
)
NAV: Final = (
    ("Today", ""), ("Plan", "plan"), ("Close-in", "close-in"), ("Log", "log"), ("Rules", "rules"),
)  # fmt: skip
MOST_BYTES: Final = 4096  # of a form; a note of 200 letters fits many times
Take = Callable[[Link, Mapping[str, str]], str]


@dataclass(frozen=True, slots=True)
class Kept:
    """The newest morning of a job, as it was kept."""

    at: datetime
    parts: dict[str, Any]


def make_app(
    store: Store,
    *,
    clock: Callable[[], datetime],
    health: Callable[[], Health],
    take: Take,
) -> Starlette:
    """Return the pages and ``/health``.

    Parameters
    ----------
    store : Store
        What the service keeps.
    clock : callable
        The moment, UTC.
    health : callable
        Whether the service is fit.
    take : callable
        Writes down what a form of the log page says.
    """

    def page(name: str) -> Callable[[Request], Response]:
        def answer(request: Request) -> Response:  # not async: starlette runs it beside the loop
            link = link_of(store, request.path_params["token"])
            kept = None if link is None else _newest(store, link)
            if link is None or kept is None:
                return _not_there(link)
            return PAGES[name](kept, request.path_params["token"], clock())

        return answer

    routes = [health_route(health)]
    routes.append(Route("/p/{token}/log", _log(store, clock, take), methods=["GET", "POST"]))
    routes += [Route(f"/p/{{token}}/{name}", page(name), methods=["GET"]) for name in PAGES]
    return Starlette(routes=routes, exception_handlers={404: _nothing, 405: _nothing})


def _log(
    store: Store, clock: Callable[[], datetime], take: Take
) -> Callable[[Request], Awaitable[Response]]:
    """Return the log page: shown and written on by who may log."""

    async def answer(request: Request) -> Response:
        token = request.path_params["token"]
        link = await run_in_threadpool(link_of, store, token)
        kept = None if link is None else await run_in_threadpool(_newest, store, link)
        if link is None or kept is None or not link.may_log:
            return _not_there(link if link is not None and link.may_log else None)
        said, status = [], 200
        if request.method == "POST":
            fields = await _fields(request)
            if fields is None:
                return PlainTextResponse("not taken\n", status_code=400, headers=_headers())
            try:
                said = [await run_in_threadpool(take, link, fields)]
            except CloseinError as error:
                said, status = error.lines(), 400
        body = log_body(kept.parts, said)
        return _html(_framed(kept, token, clock(), "Log", body), forms=True, status=status)

    return answer


async def _fields(request: Request) -> dict[str, str] | None:
    """Return a form's fields; None for one that is too long, not a form, or of another site."""
    origin, host = request.headers.get("origin"), request.headers.get("host", "")
    if origin not in (None, f"http://{host}", f"https://{host}"):
        return None
    if not request.headers.get("content-type", "").startswith("application/x-www-form-urlencoded"):
        return None
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > MOST_BYTES:
            return None
    try:
        pairs = parse_qsl(body.decode(), keep_blank_values=True, max_num_fields=20)
    except ValueError:
        return None
    return dict(pairs)


def _newest(store: Store, link: Link) -> Kept | None:
    kept = store.decisions(link.job, kind=PAGE, last=1)
    return Kept(kept[-1].at, json.loads(kept[-1].answer)) if kept else None


def _not_there(link: Link | None) -> Response:
    """Answer an unknown link; one that stands learns that no morning was made yet."""
    if link is None:
        return PlainTextResponse("not here\n", status_code=404, headers=_headers())
    return PlainTextResponse("no morning was made yet\n", status_code=503, headers=_headers())


def _nothing(_: Request, __: Exception) -> Response:
    return PlainTextResponse("not here\n", status_code=404, headers=_headers())


def _today(kept: Kept, token: str, now: datetime) -> Response:
    whole = str(kept.parts["today"])
    return _html(whole.replace("<body>", f"<body>\n{_head(kept, token, now)}", 1))


def _plan(kept: Kept, token: str, now: datetime) -> Response:
    words = "The plan as bars; the words for it stand under Today"
    body = _image("bars.svg", words) if kept.parts["bars"] else "<p>The bars were not drawn.</p>"
    return _html(_framed(kept, token, now, "Plan", body))


def _close_in(kept: Kept, token: str, now: datetime) -> Response:
    if not kept.parts["risk"]:
        body = "<p>No risk is known without past years.</p>"
    else:
        body = _image("risk.svg", "Risk against date, with the plan and the latest safe date")
    return _html(_framed(kept, token, now, "Close-in", body))


def _rules(kept: Kept, token: str, now: datetime) -> Response:
    book = resources.files("rules").joinpath("book/BOOK.md").read_text(encoding="utf-8")
    return _html(_framed(kept, token, now, "Rules", f"<pre>{html.escape(book)}</pre>"))


def _bars_svg(kept: Kept, _: str, __: datetime) -> Response:
    return Response(kept.parts["bars"], media_type="image/svg+xml", headers=_headers())


def _risk_svg(kept: Kept, _: str, __: datetime) -> Response:
    return Response(kept.parts["risk"], media_type="image/svg+xml", headers=_headers())


PAGES: Final[dict[str, Callable[[Kept, str, datetime], Response]]] = {
    "": _today,
    "plan": _plan,
    "close-in": _close_in,
    "rules": _rules,
    "bars.svg": _bars_svg,
    "risk.svg": _risk_svg,
}


def _framed(kept: Kept, token: str, now: datetime, title: str, body: str) -> str:
    name = html.escape(f"{kept.parts['name']}: {title}")
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{name}</title>\n<style>{OWN_STYLE}</style>\n</head>\n<body>\n"
        f"{_head(kept, token, now)}\n<h1>{name}</h1>\n{body}\n"
        f"<p>{LINE}</p>\n</body>\n</html>\n"
    )


def _head(kept: Kept, token: str, now: datetime) -> str:
    """Return the way to the other pages, and how old what they show is."""
    zone = ZoneInfo(str(kept.parts["time_zone"]))
    at = kept.at.astimezone(zone).strftime("%a %-d %b %H:%M")
    hours = max((now - kept.at) / timedelta(hours=1), 0.0)
    age = f"Made {at}, {hours:.0f} h ago."
    if now - kept.at > OLD_AFTER:
        age = f"Made {at}, {hours:.0f} h ago: OLD. Nothing here says go today."
    kind = ' class="late"' if now - kept.at > OLD_AFTER else ""
    root = f"/p/{html.escape(token)}/"
    ways = " ".join(f'<a href="{root}{where}">{name}</a>' for name, where in NAV)
    return f'<nav aria-label="Pages">{ways}</nav>\n<p{kind}>{age}</p>'


def _image(name: str, words: str) -> str:
    return f'<img src="{name}" alt="{html.escape(words)}">'


def _html(text: str, *, forms: bool = False, status: int = 200) -> Response:
    """Return a page; of styles only its own are let through, and no script at all."""
    own = [base64.b64encode(sha256(s.encode()).digest()).decode() for s in STYLE.findall(text)]
    styles = " ".join(f"'sha256-{one}'" for one in own)
    return Response(
        text, status_code=status, media_type="text/html", headers=_headers(styles, forms=forms)
    )


def _headers(styles: str = "", *, forms: bool = False) -> dict[str, str]:
    to = "'self'" if forms else "'none'"
    policy = (
        f"default-src 'none'; img-src 'self'; style-src {styles or chr(39) + 'none' + chr(39)}; "
        f"base-uri 'none'; form-action {to}; frame-ancestors 'none'"
    )
    return {
        "Content-Security-Policy": policy,
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cache-Control": "private, no-store",
        "X-Robots-Tag": "noindex",
    }
