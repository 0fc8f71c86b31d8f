"""Small gridpoint answers to try things on."""

from __future__ import annotations

import json

from scheduler.planning.tables.hours import Forecast
from scheduler.weather.json_text import JsonDocument
from scheduler.weather.nws_grid import read_gridpoint

START = "2026-01-05T00:00:00+00:00"


def layer(uom: str | None, *entries: tuple[str, object]) -> dict[str, object]:
    """Return a layer of (interval, value); an interval may leave its date out."""
    values = [
        {"validTime": span if "T" in span[:11] else f"2026-01-05T{span}", "value": value}
        for span, value in entries
    ]
    return {"values": values} if uom is None else {"uom": uom, "values": values}


def answer(**layers: object) -> dict[str, object]:
    """Return an answer with these layers around it."""
    return {
        "type": "Feature",
        "properties": {
            "updateTime": START,
            "gridId": "BTV",
            "gridX": 10,
            "gridY": 20,
            **layers,
        },
    }


def read(data: object) -> tuple[Forecast, list[str]]:
    """Return the forecast and the lines of its faults."""
    document = JsonDocument(json.dumps(data, indent=1).encode(), "answer.json")
    forecast = read_gridpoint(document)
    return forecast, [str(fault) for fault in document.faults()]
