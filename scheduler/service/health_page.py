"""``/health``: open without login, 200 where the service is fit, 503 where it is not."""

from __future__ import annotations

from collections.abc import Callable

from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.routing import Route

from scheduler.service.health import Health


def health_route(health: Callable[[], Health]) -> Route:
    """Return the route; it names jobs and faults, and nobody's address."""

    def answer(_: Request) -> JSONResponse:  # not async: starlette runs it beside the loop
        found = health()
        document = {
            "fit": found.fit,
            "faults": list(found.lines),
            "jobs": found.jobs,
            "alarms": found.alarms,
        }
        headers = {"Cache-Control": "no-store"}
        return JSONResponse(document, status_code=200 if found.fit else 503, headers=headers)

    return Route("/health", answer, methods=["GET"])
