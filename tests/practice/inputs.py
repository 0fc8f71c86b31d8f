"""From a case to what the product reads in daily use: a job file, weather files, log entries.

Only ``place``, ``asked`` and ``inputs`` are taken; nothing here knows a single case.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from tests.practice.reading import moment

Row = Mapping[str, Any]
HOUSE = "closein-weather/1"
# Endings of the columns a case uses: the unit that a weather file states beside the name.
ENDINGS = {"_f": "degF", "_pct": "%", "_mph": "mph", "_in": "in", "_w_m2": "W m-2"}
CF_NAMES = {
    "snowfall_amount": "thickness_of_snowfall_amount",
    "shortwave": "surface_downwelling_shortwave_flux_in_air",
}
FORECAST_KEYS = {
    "issued_at", "start", "step_h", "hours", "source", "wind_height_ft", "station", "periods",
    "days",
}  # fmt: skip
# Task keys that a job file has under the same name, and those it keeps under `element`.
PLACE_KEYS = ("name", "latitude", "longitude", "elevation_ft", "time_zone")
SAME_JOB_KEYS = ("documents", "daylight", "what_if")
SAME_TASK_KEYS = (
    "id", "work_type", "booked", "offered", "slots", "days", "duration_h", "grouted", "load",
    "beside", "place", "label", "after",
)  # fmt: skip
ELEMENT_KEYS = ("hours", "hours_on_request", "sealed", "under_cover")
# A column that no forecast of a case has does not bear on it: the runner fills it with mild dry
# weather, since for the product an absent column is not known (../shared/cases/README.md).
MILD = {
    "precipitation_amount": ("in", 0.0), "precipitation_probability": ("%", 5.0),
    "wind_speed": ("mph", 4.0), "wind_speed_of_gust": ("mph", 7.0),
    "thunderstorm_probability": ("%", 0.0), "relative_humidity": ("%", 50.0),
    "air_temperature": ("degF", 50.0),
}  # fmt: skip
# One told, by the hour, the day or the period, tells of the other; that is left to the product.
NOT_OF_DAYS = ("relative_humidity", "thunderstorm_probability")
SAME_WEATHER = (
    {"precipitation_amount", "precipitation_probability", "precipitation_from",
     "precipitation_until"},
    {"relative_humidity", "dew_point_temperature"},
)  # fmt: skip
DEFAULT_DURATION_H = 1.0
ID_KEYS = ("id", "after", "label", "for_task")
SLUG = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,39}")  # what a job file takes as an id
FOOT_M = 0.3048


@dataclass(frozen=True)
class Papers:
    """What the product is given: the job, forecasts oldest first, the past, the log."""

    job: Row
    forecasts: tuple[tuple[datetime, Row], ...]
    observed: Row | None
    entries: tuple[Row, ...]
    asked_at: datetime


def papers(case: Row) -> Papers:
    """Return what the product reads for a case."""
    zone = ZoneInfo(case["place"]["time_zone"])
    inputs: Row = _named_safely(case.get("inputs") or {})
    asked_at = moment(case["asked"]["at"], zone)
    return Papers(
        job=_job(case["place"], inputs, asked_at, zone),
        forecasts=tuple(_forecasts(inputs, asked_at, zone)),
        observed=_observed(inputs, asked_at),
        entries=tuple(_entries(inputs, asked_at, zone)),
        asked_at=asked_at,
    )


def _named_safely(inputs: Row) -> Row:
    """Return inputs whose ids a job file can hold; ids that it can stay as they are."""
    names = {
        str(row["id"]): _safe(str(row["id"]))
        for key in ("tasks", "documents", "what_if")
        for row in inputs.get(key) or []
    }

    def renamed(value: object) -> object:
        if isinstance(value, list):
            return [renamed(item) for item in value]
        return names.get(str(value), value)

    made = dict(inputs)
    for key in ("tasks", "documents", "what_if"):
        if inputs.get(key):
            made[key] = [
                {k: renamed(v) if k in ID_KEYS else v for k, v in row.items()}
                for row in inputs[key]
            ]
    return made


def safe_names(inputs: Row) -> dict[str, str]:
    """Return the ids as the case has them by the name the job file was given."""
    rows = [row for key in ("tasks", "what_if") for row in inputs.get(key) or []]
    return {_safe(str(row["id"])): str(row["id"]) for row in rows}


def _safe(name: str) -> str:
    if SLUG.fullmatch(name):
        return name
    return f"n{name.encode().hex()}"[:40]


# the job


def _job(place: Row, inputs: Row, asked_at: datetime, zone: ZoneInfo) -> Row:
    return {
        "closein": 1,
        "name": str(place["name"]),
        "site": {
            key: place[key]
            for key in ("name", "latitude", "longitude", "elevation_ft", "time_zone")
        },
        "units": "us",
        "hours": {"mon-sun": "06:00-18:00"},
        "measures": {"on_hand": list(inputs.get("on_hand") or [])},
        "tasks": [_task(task, asked_at, zone) for task in inputs.get("tasks") or []],
        **{key: list(inputs[key]) for key in SAME_JOB_KEYS if inputs.get(key)},
    }


def _task(task: Row, asked_at: datetime, zone: ZoneInfo) -> dict[str, Any]:
    made = {key: task[key] for key in SAME_TASK_KEYS if task.get(key) is not None}
    if task.get("from") is not None:
        made["booked"] = task["from"]
    for ours, theirs in (("until", "to"), ("started", "started"), ("finished", "finished")):
        if task.get(theirs) is not None:
            made[ours] = task[theirs]
    if "finished" in made:
        made["state"] = "done"
    if task.get("quantity_yd3") is not None:
        made["quantity"] = {"amount": task["quantity_yd3"], "unit": "yd3"}
    if not {"duration_h", "finished"} & made.keys() and not {"booked", "until"} <= made.keys():
        made["duration_h"] = DEFAULT_DURATION_H
    if "started" in made and "finished" not in made:
        made |= _under_way(made, asked_at, zone)
    element = {key: _plain(task[key]) for key in ELEMENT_KEYS if task.get(key) is not None}
    return made | ({"element": element} if element else {})


def _under_way(made: Row, asked_at: datetime, zone: ZoneInfo) -> dict[str, Any]:
    """Say what a person would of work that was begun: what is left of its hours."""
    begun = moment(made["started"], zone)
    end = moment(made["until"], zone) if "until" in made else None
    if end is None:
        end = begun + timedelta(hours=float(made.get("duration_h", DEFAULT_DURATION_H)))
    left = (end - asked_at).total_seconds() / 3600.0
    return {"state": "under_way", "hours_left": max(left, 0.25)}


def _plain(value: object) -> object:
    return value if isinstance(value, str | bool | int | float) else json.dumps(value)


# weather


def _forecasts(inputs: Row, asked_at: datetime, zone: ZoneInfo) -> Iterable[tuple[datetime, Row]]:
    given = list(inputs.get("forecasts") or [])
    if inputs.get("forecast"):
        given.append(inputs["forecast"])
    if not given:
        given.append({"issued_at": asked_at.isoformat()})
        if not {"daily", "source_status"} & inputs.keys():  # the weather does not bear on it
            given[0] |= {"start": asked_at.isoformat(), "hours": _hours_to_come(inputs, asked_at)}
    files = [_weather(forecast) for forecast in given]
    told = {name for file in [*files, _beside(inputs)] for name in _told(file)}
    told |= {name for group in SAME_WEATHER if group & told for name in group}
    mild = {name: {"unit": unit, "values": value} for name, (unit, value) in MILD.items()
            if name not in told}  # fmt: skip
    for place, (forecast, file) in enumerate(zip(given, files, strict=True)):
        newest = place == len(given) - 1
        if newest:
            file.update(_beside(inputs))
        _fill(file, mild, zone)
        if not {"hours", "daily"} & file.keys():
            file.setdefault("source_status", [])  # a file that says nothing must say so
        issued = moment(forecast.get("issued_at") or asked_at.isoformat(), zone)
        yield min(issued, asked_at), file


def _fill(file: dict[str, Any], mild: Row, zone: ZoneInfo) -> None:
    """Put mild columns beside a file's own; beside days only what no daily row can say."""
    if "hours" in file:
        file["hours"]["columns"] |= mild
        return
    of_days = {name: mild[name] for name in NOT_OF_DAYS if name in mild}
    if file.get("daily") and of_days:
        file["hours"] = _hours_of_days(file["daily"], zone) | {"columns": of_days}


def _told(file: Row) -> Iterable[str]:
    """Yield the columns that a weather file has: by the hour, over periods, by the day."""
    yield from file.get("hours", {}).get("columns", {})
    for row in (*file.get("periods", ()), *file.get("daily", ())):
        yield from (re.sub("_(max|min|min_next_night)$", "", name) for name in row)


def _hours_to_come(inputs: Row, asked_at: datetime) -> int:
    """Return the hours from now to two days behind the last time that a task names."""
    named = [t for task in inputs.get("tasks") or [] for t in _moments(task, asked_at.tzinfo)]
    return round((max([asked_at, *named]) - asked_at) / timedelta(hours=1)) + 48


def _moments(value: object, zone: Any) -> Iterable[datetime]:
    if isinstance(value, Mapping | list):
        for part in value.values() if isinstance(value, Mapping) else value:
            yield from _moments(part, zone)
    elif isinstance(value, str) and re.match(r"\d{4}-\d\d-\d\d", value):
        yield moment(value, zone)


def _hours_of_days(days: list[Row], zone: ZoneInfo) -> dict[str, Any]:
    first = moment(str(min(row["date"] for row in days)), zone)
    last = moment(str(max(row["date"] for row in days)), zone)
    count = round((last - first) / timedelta(hours=1)) + 24
    return {"start": first.isoformat(), "step_h": 1, "hours": count}


def _beside(inputs: Row) -> dict[str, Any]:
    kept = ("ensemble", "climate", "source_status", "forecast_check")
    made = {key: list(inputs[key]) for key in kept if inputs.get(key)}
    if "alerts" in inputs:
        made["alerts"] = list(inputs["alerts"] or [])
    if inputs.get("daily"):
        made["daily"] = [_day(row) for row in inputs["daily"]]
    return made


def _weather(forecast: Row) -> dict[str, Any]:
    made: dict[str, Any] = {"format": HOUSE}
    for key in ("issued_at", "source", "station"):
        if forecast.get(key) is not None:
            made[key] = forecast[key]
    if forecast.get("periods"):
        made["periods"] = [
            {k.removesuffix("_pct"): v for k, v in period.items()}
            for period in forecast["periods"]
        ]
    if forecast.get("wind_height_ft") is not None:
        made["wind_height_m"] = float(forecast["wind_height_ft"]) * FOOT_M
    columns = {**dict(_columns(forecast)), **_thunder(forecast.get("weather"))}
    if columns or forecast.get("start"):
        made["hours"] = {
            "start": forecast["start"],
            "step_h": forecast.get("step_h", 1),
            "hours": _count(forecast),
            "columns": columns,
        }
    return made


def _columns(forecast: Row) -> Iterable[tuple[str, Row]]:
    for key, values in forecast.items():
        if key in FORECAST_KEYS or key == "weather":
            continue
        name, unit = _named(key)
        yield name, {"unit": unit, "values": values}


def _thunder(words: object) -> dict[str, Row]:
    """Return the sky's words as the column that a weather source gives for them."""
    if not isinstance(words, list | str):
        return {}
    told = [words] if isinstance(words, str) else words
    chance = [100 if re.search("thunder|lightning", str(word)) else 0 for word in told]
    values = chance if isinstance(words, list) else chance[0]
    return {"thunderstorm_probability": {"unit": "%", "values": values}}


def _named(key: str) -> tuple[str, str]:
    for ending, unit in ENDINGS.items():
        if key.endswith(ending):
            bare = key.removesuffix(ending)
            return CF_NAMES.get(bare, bare), unit
    return key, ""


def _count(forecast: Row) -> int:
    if forecast.get("hours") is not None:
        return int(forecast["hours"])
    return max(len(v) for v in forecast.values() if isinstance(v, list))


def _day(row: Row) -> dict[str, Any]:
    made: dict[str, Any] = {"date": row["date"]}
    for key, value in row.items():
        name, unit = _named(key)
        if key == "date":
            continue
        made[name if unit else key] = {"unit": unit, "value": value} if unit else value
    return made


def _observed(inputs: Row, asked_at: datetime) -> Row | None:
    observed = inputs.get("observed")
    if not observed:
        return None
    made = _weather(observed) | {"issued_at": asked_at.isoformat()}
    if observed.get("days"):
        made["daily"] = [_day(row) for row in observed["days"]]
    return made


# the log


def _entries(inputs: Row, asked_at: datetime, zone: ZoneInfo) -> Iterable[Row]:
    for reading in inputs.get("readings") or []:
        when = reading.get("at") or reading.get("until") or asked_at.isoformat()
        kept = {k: v for k, v in reading.items() if k != "place_on_site" and v is not None}
        place = reading.get("place_on_site")
        yield {"kind": "reading", "when": moment(when, zone).isoformat(), **kept,
               **({"place": place} if place else {})}  # fmt: skip
    for fact in inputs.get("state") or []:
        when = moment(fact.get("at") or asked_at.isoformat(), zone)
        yield {"kind": "fact", "when": min(when, asked_at).isoformat(), **fact}
    for day in inputs.get("day_record") or []:
        yield {"kind": "day", "when": min(moment(day["date"], zone), asked_at).isoformat(), **day}
