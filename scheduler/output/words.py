"""How moments, numbers and keys read for a person: local time, the job's units, plain words."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from rules.units import convert
from rules.words import words as book_words
from scheduler.planning.model.job import StrengthGate
from scheduler.planning.rulings.papers import allowed

SIGN: Final = {
    "degC": "°C",
    "degF": "°F",
    "delta_degC": "°C",
    "delta_degF": "°F",
    "m/s": "m/s",
    "mph": "mph",
    "yes_no": "",
    "count": "",
    "1": "",
    "h": "h",
    "d": "d",
}
# What a person reads in each system for a unit of the other one.
SHOWN: Final = {
    "us": {
        "degC": "degF",
        "delta_degC": "delta_degF",
        "m/s": "mph",
        "km/h": "mph",
        "mm": "in",
        "m": "ft",
        "MPa": "psi",
        "kg/m2/h": "lb/ft2/h",
    },
    "si": {
        "degF": "degC",
        "delta_degF": "delta_degC",
        "mph": "m/s",
        "in": "mm",
        "ft": "m",
        "psi": "MPa",
        "lb/ft2/h": "kg/m2/h",
    },
}


def local(moment: datetime, time_zone: str) -> datetime:
    """Return the moment on the site's clock."""
    return moment.astimezone(ZoneInfo(time_zone))


def clock(moment: datetime | None, time_zone: str) -> str:
    """Return weekday, day and clock time, e.g. ``Tue 10 Nov 14:00``."""
    if moment is None:
        return "–"
    return local(moment, time_zone).strftime("%a %-d %b %H:%M")


def day(moment: datetime | date, time_zone: str) -> str:
    """Return weekday and day, e.g. ``Tue 10 Nov``."""
    if isinstance(moment, datetime):
        moment = local(moment, time_zone).date()
    return moment.strftime("%a %-d %b")


def span(start: datetime | None, end: datetime | None, time_zone: str) -> str:
    """Return ``Tue 10 Nov 08:00–14:00``, with the second day only where it differs."""
    if start is None:
        return f"until {clock(end, time_zone)}" if end is not None else "–"
    if end is None:
        return f"from {clock(start, time_zone)}"
    same = local(start, time_zone).date() == local(end, time_zone).date()
    last = local(end, time_zone).strftime("%H:%M") if same else clock(end, time_zone)
    return f"{clock(start, time_zone)}–{last}"


def number(value: object, unit: str, units: str, time_zone: str) -> str:
    """Return a value with its unit in the job's units, moments on the site's clock."""
    if value is None:
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return clock(value, time_zone)
    if isinstance(value, date):
        return day(value, time_zone)
    if isinstance(value, str):
        return value
    if not isinstance(value, int | float):
        return str(value)
    shown_unit = SHOWN.get(units, {}).get(unit, unit)
    shown = float(convert(float(value), unit, shown_unit)) if shown_unit != unit else float(value)
    text = f"{shown:.2f}" if abs(shown) < 1 and shown != 0 else f"{shown:.1f}"
    text = text.rstrip("0").rstrip(".").replace("-", "−")
    sign = SIGN.get(shown_unit, shown_unit)
    return f"{text} {sign}".strip()


def gate_words(gate: StrengthGate) -> str:
    """Return what a gate asks: a share of the 28-day strength, or the engineer's own bound."""
    share = (
        "the book's strength" if gate.share is None else f"{gate.share:.0%} of its 28-day strength"
    )
    if gate.criterion is None:
        return share
    own = f"{words(gate.criterion.quantity)} {allowed(gate.criterion)}"
    return f"{own} (allowed by {gate.allowed_by})" if gate.allowed_by else f"{share} and {own}"


def told(kind: str, key: str) -> str:
    """Return what a check, caution or measure means, in the book's words."""
    meanings: dict[str, dict[str, str]] = {
        "check": dict(book_words().checks),
        "caution": dict(book_words().cautions),
        "measure": dict(book_words().measures),
    }
    return meanings[kind].get(key, words(key))


def words(key: str) -> str:
    """Return a key as plain words: ``heat_mixing_water`` → ``heat mixing water``."""
    return key.replace("_", " ")
