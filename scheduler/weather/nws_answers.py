"""What an answer of the National Weather Service is, and why it may be no forecast."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Final

PERMANENT: Final = {  # these never heal: another try, or tomorrow, changes nothing
    "InvalidPoint": "the service does not cover this point",
    "MarineForecastNotSupported": "the service gives no land forecast for this cell over water",
}
EXPIRED: Final = "ForecastGridExpired"


def problem_of(body: str) -> Mapping[str, object]:
    """Return the problem report that an error answer holds, empty where it holds none."""
    try:
        data = json.loads(body)
    except (ValueError, RecursionError):
        return {}
    return data if is_problem(data) else {}


def is_problem(data: object) -> bool:
    """Tell whether a JSON value is a problem report rather than an answer."""
    return (
        isinstance(data, dict)
        and isinstance(data.get("type"), str)
        and isinstance(data.get("status"), int)
        and "properties" not in data
    )


def unfit(body: bytes, holds: Callable[[Mapping[str, object]], bool], want: str) -> str:
    """Return why a body of status 200 is no answer of a kind, empty where it is one."""
    try:
        data = json.loads(body)
    except (ValueError, RecursionError):
        return f"the answer is no JSON; {want}"
    if is_problem(data):
        return reason(int(data["status"]), data)
    return "" if isinstance(data, dict) and holds(data) else want


def inner_of(data: Mapping[str, object]) -> Mapping[str, object]:
    """Return the properties of an answer, empty where it has none."""
    inner = data.get("properties")
    return inner if isinstance(inner, dict) else {}


def problem_kind(problem: Mapping[str, object]) -> str:
    """Return the last word of a problem's type, by which problems are told apart."""
    return str(problem.get("type", "")).rpartition("/")[2]


def reason(status: int, problem: Mapping[str, object], *, html: bool = False) -> str:
    """Return in plain words why an answer with this status is no forecast."""
    kind = problem_kind(problem)
    detail = str(problem.get("detail") or problem.get("title") or "").strip()
    if kind in PERMANENT:
        return f"{PERMANENT[kind]}; this stays so ({detail})"
    if kind == EXPIRED:
        return f"the office has not renewed its forecast grid ({detail})"
    if status == 403:
        page = ", with a page of HTML" if html else ""
        return f"the service refused the request{page}; set CLOSEIN_CONTACT to a mail address"
    if status == 404:
        return f"the service does not have this ({detail or 'no detail given'})"
    if status == 429:
        return "the service asks for fewer requests; try again later"
    return f"the service answered {status} ({detail or 'no detail given'})"


def kind_of(data: object) -> str:
    """Name what a JSON value of this service is, in plain words; "" for none of its answers."""
    if is_problem(data):
        return "problem report"
    if not isinstance(data, dict):
        return "recorded exchange" if _is_exchange(data) else ""
    inner = data.get("properties")
    inner = inner if isinstance(inner, dict) else data
    if isinstance(inner.get("periods"), list):
        return "period forecast"
    if "forecastGridData" in inner:
        return "points answer"
    if data.get("type") == "FeatureCollection" and isinstance(data.get("features"), list):
        return "list of alerts"
    return ""


def _is_exchange(data: object) -> bool:
    return (
        isinstance(data, list)
        and bool(data)
        and all(isinstance(step, dict) and {"request", "response"} <= step.keys() for step in data)
    )


def answered_body(data: object) -> str | None:
    """Return the body that a recorded exchange ended with, None where it ended in a refusal."""
    if not _is_exchange(data):
        return None
    answer = data[-1]["response"]  # type: ignore[index]
    if not isinstance(answer, dict) or answer.get("status") != 200:
        return None
    body = answer.get("body")
    return body if isinstance(body, str) else None
