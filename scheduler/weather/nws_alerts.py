"""Warnings in force, from the alert lists of the National Weather Service.

An alert tells when its *message* lapses (expires) and when the *event* ends (ends); only the
event counts. An update stands beside what it replaces until that lapses, so what is referenced is
taken out. No list of alerts is ever good news: that none is in force says nothing about the hours.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Final

from scheduler.planning.tables.hours import Alert
from scheduler.weather.intervals import instant
from scheduler.weather.json_text import JsonDocument, Path

NOT_MEANT: Final = frozenset({"Test", "Exercise", "Draft", "System"})  # statuses, CAP 1.2


def read_alerts(document: JsonDocument, zones: Collection[str] = ()) -> tuple[Alert, ...] | None:
    """Return the warnings of a list, by their beginning; faults are noted in ``document``.

    None where the answer holds no list at all: not asked, rather than none in force.

    Parameters
    ----------
    document
        An answer with ``features``.
    zones
        Codes of the site's zones and county, e.g. ``NYZ052``; where given, only alerts for one
        of them are kept. Outlines are often absent, so codes decide.
    """
    data = document.data if isinstance(document.data, dict) else {}
    features = data.get("features")
    if not isinstance(features, list):
        document.fault(("features",), features, "want a list of alerts")
        return None
    rows: list[tuple[Path, Mapping[str, object]]] = []
    for i, feature in enumerate(features):
        inner = feature.get("properties") if isinstance(feature, dict) else None
        path: Path = ("features", i, "properties")
        if not isinstance(inner, dict):
            document.fault(path, inner, "want an alert")
        else:
            rows.append((path, inner))
    gone = {name for _, row in rows for name in _references(row)}
    kept = [
        _alert(document, path, row)
        for path, row in rows
        if row.get("status") not in NOT_MEANT
        and row.get("messageType") != "Cancel"
        and not gone & {row.get("id"), row.get("@id")}
        and (not zones or _codes(row) & set(zones))
    ]
    return tuple(sorted(kept, key=lambda alert: (_sortable(alert.start), alert.event)))


def _alert(document: JsonDocument, path: Path, row: Mapping[str, object]) -> Alert:
    """Return one alert: from onset, else effective, to ends, else expires."""
    told = {
        key: _moment(document, (*path, key), row.get(key))
        for key in ("onset", "effective", "ends", "expires")
    }
    start = told["onset"] or told["effective"]
    end = told["ends"] or told["expires"]
    if start is not None and end is not None and end <= start:
        later = told["expires"]
        end = later if later is not None and later > start else None  # open rather than over
    return Alert(
        event=str(row.get("event") or "unnamed warning"),
        start=start,
        end=end,
        headline=str(row.get("headline") or row.get("event") or ""),
        source=str(row.get("senderName") or "National Weather Service"),
    )


def _moment(document: JsonDocument, path: Path, value: object) -> datetime | None:
    if value is None:
        return None
    try:
        if isinstance(value, str):
            return instant(value)
        document.fault(path, value, "want a moment with its offset")
    except ValueError as error:
        document.fault(path, value, str(error))
    return None


def _references(row: Mapping[str, object]) -> set[object]:
    listed = row.get("references")
    if not isinstance(listed, list):
        return set()
    return {
        str(name)
        for entry in listed
        if isinstance(entry, dict)
        for name in (entry.get("identifier"), entry.get("@id"))
        if name
    }


def _codes(row: Mapping[str, object]) -> set[str]:
    geocode, zones = row.get("geocode"), row.get("affectedZones")
    listed = geocode.get("UGC") if isinstance(geocode, dict) else None
    codes = [str(code) for code in listed] if isinstance(listed, list) else []
    if isinstance(zones, list):
        codes += [str(zone).rpartition("/")[2] for zone in zones]
    return set(codes)


def _sortable(moment: datetime | None) -> float:
    return moment.timestamp() if moment is not None else 0.0
