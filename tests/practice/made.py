"""Cases made at random from the vocabulary: nothing is right about them but an answer."""

from __future__ import annotations

import random
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from rules.words import site_quantities

ZONE = "America/New_York"
WORDS = ("none", "outdoors", "pockets", "direct_fired", "silty clay", "west", "headache")
CRITERIA = (
    "surface_temperature", "surface_dry", "air_temperature", "precipitation_amount", "dry_time",
    "age_of_grout", "grout_temperature", "temperature_time_factor", "grout_strength",
    "wood_moisture", "wind_speed_of_gust", "equivalent_age", "relative_humidity",
)  # fmt: skip


def made_case(seed: int, vocabulary: Mapping[str, Any]) -> dict[str, Any]:
    """Return a case of the format with everything drawn from the vocabulary."""
    draw = random.Random(seed)
    now = datetime(2026, 10, 5, 11, tzinfo=UTC) + timedelta(hours=draw.randrange(2000))
    tasks = [_task(draw, now, i, vocabulary) for i in range(draw.randint(1, 4))]
    return {
        "id": f"MADE-{seed}",
        "place": {"name": "Made", "latitude": 43.5, "longitude": -73.5, "elevation_ft": 500,
                  "time_zone": ZONE},
        "asked": {"at": _text(now), "by": "nobody", "device": "none"},
        "inputs": {
            **_weather(draw, now),
            "readings": [_reading(draw, now, vocabulary) for _ in range(draw.randint(0, 6))],
            "state": [_fact(draw, now, vocabulary) for _ in range(draw.randint(0, 12))],
            "on_hand": draw.sample(sorted(vocabulary["measures"]), draw.randint(0, 6)),
            "documents": [_document(draw, now, tasks, i) for i in range(draw.randint(0, 2))],
            "tasks": tasks,
        },
    }  # fmt: skip


def _text(moment: datetime) -> str:
    return moment.isoformat(timespec="minutes")


def _task(
    draw: random.Random, now: datetime, number: int, vocabulary: Mapping[str, Any]
) -> dict[str, Any]:
    start = now + timedelta(hours=draw.randint(-4, 60))
    task: dict[str, Any] = {
        "id": f"task-{number}",
        "work_type": draw.choice(sorted(vocabulary["work_types"])),
        "duration_h": draw.randint(1, 9),
    }
    form = draw.choice(["span", "slots", "days", "done", "none"])
    if form == "span":
        task |= {"from": _text(start), "to": _text(start + timedelta(hours=draw.randint(1, 10)))}
    elif form == "slots":
        task["slots"] = [_text(now + timedelta(hours=h)) for h in (5, 30, 55)]
    elif form == "days":
        task["days"] = [(now + timedelta(days=d)).date().isoformat() for d in (0, 1, 2)]
    elif form == "done":
        task["finished"] = _text(now - timedelta(hours=draw.randint(1, 60)))
    for key, values in (("grouted", [True, False]), ("beside", ["wall"]), ("place", ["south"]),
                        ("load", ["uniform", "concentrated"])):  # fmt: skip
        if draw.random() < 0.4:
            task[key] = draw.choice(values)
    return task


def _weather(draw: random.Random, now: datetime) -> dict[str, Any]:
    hours = draw.randint(3, 60)
    base = draw.uniform(0, 95)

    def column(low: float, high: float) -> list[float | None]:
        values: list[float | None] = [round(draw.uniform(low, high), 1) for _ in range(hours)]
        if draw.random() < 0.15:
            values[draw.randrange(hours)] = None
        return values

    columns = {
        "air_temperature_f": column(base - 12, base + 12),
        "wind_speed_mph": column(0, 30),
        "wind_speed_of_gust_mph": column(0, 45),
        "precipitation_probability_pct": column(0, 90),
        "precipitation_amount_in": column(0, 0.1),
        "relative_humidity_pct": column(20, 100),
    }
    kept = {name: values for name, values in columns.items() if draw.random() < 0.85}
    issued = now - timedelta(hours=draw.choice([1, 1, 3, 20]))
    forecast = {"issued_at": _text(issued), "start": _text(issued), "step_h": 1, "hours": hours,
                "source": "made", **(kept or columns)}  # fmt: skip
    days = [{"date": (now + timedelta(days=d)).date().isoformat(),
             "air_temperature_max_f": base + 8, "air_temperature_min_f": base - 8,
             "precipitation_amount_in": draw.choice([0, 0.4])} for d in range(4)]  # fmt: skip
    return draw.choice([{"forecast": forecast}, {"forecast": forecast}, {"daily": days}, {}])


def _reading(draw: random.Random, now: datetime, vocabulary: Mapping[str, Any]) -> dict[str, Any]:
    named = [q for q in site_quantities().values() if q.name in vocabulary["quantities"]]
    own = draw.choice([q for q in named if q.unit != "yes_no"])
    return {
        "quantity": own.name,
        "value": round(draw.uniform(own.low, min(own.high, own.low + 150)), 2),
        "unit": own.unit,
        "place_on_site": draw.choice(["south", "north", "bottom"]),
        "at": _text(now - timedelta(hours=draw.randint(0, 40))),
    }


def _fact(draw: random.Random, now: datetime, vocabulary: Mapping[str, Any]) -> dict[str, Any]:
    element = draw.choice(sorted(vocabulary["state_elements"]))
    condition = draw.choice(vocabulary["state_elements"][element])
    value: Any = draw.choice([True, False, True, False, draw.randint(0, 12), draw.choice(WORDS)])
    words = vocabulary["state_words"]
    for name in (condition, f"{element}.{condition}"):
        if name in words:
            value = draw.choice(words[name])
    fact = {"element": element, "condition": condition, "value": value}
    if isinstance(value, int) and not isinstance(value, bool):
        fact["unit"] = draw.choice(["ft", "in"])
    if draw.random() < 0.6:
        fact["at"] = _text(now - timedelta(hours=draw.randint(0, 100)))
    return fact


def _document(
    draw: random.Random, now: datetime, tasks: list[dict[str, Any]], number: int
) -> dict[str, Any]:
    name = draw.choice(CRITERIA)
    own = site_quantities()[name]
    criterion: dict[str, Any] = {"quantity": name, "unit": own.unit}
    if own.unit == "yes_no":
        criterion["is"] = True
    else:
        criterion[draw.choice(["at_least", "at_most", "above", "below"])] = draw.randint(0, 60)
    if draw.random() < 0.4:
        criterion["for_h"] = draw.choice([4, 24, 168])
    return {
        "id": f"paper-{number}",
        "kind": draw.choice(["label", "engineer", "specification"]),
        "for_task": draw.choice(tasks)["id"],
        "any_of": [{"criteria": [criterion]}],
        "confirm_by": _text(now + timedelta(hours=draw.randint(-3, 9))),
    }
