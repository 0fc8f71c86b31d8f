"""How moments, numbers and keys read for a person: local time, the job's units, plain words."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from rules.shown import number_shown, prose
from rules.words import words as book_words
from scheduler.planning.model.job import StrengthGate
from scheduler.planning.rulings.papers import allowed


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
    return number_shown(float(value), unit, units)


def gate_words(gate: StrengthGate) -> str:
    """Return what a gate asks: a share of the 28-day strength, or the engineer's own bound."""
    share = (
        "the book's strength" if gate.share is None else f"{gate.share:.0%} of its 28-day strength"
    )
    if gate.criterion is None:
        return share
    own = f"{words(gate.criterion.quantity)} {allowed(gate.criterion)}"
    return f"{own} (allowed by {gate.allowed_by})" if gate.allowed_by else f"{share} and {own}"


def told(kind: str, key: str, units: str = "") -> str:
    """Return what a check, caution or measure means, in the book's words and the job's units."""
    meanings: dict[str, dict[str, str]] = {
        "check": dict(book_words().checks),
        "caution": dict(book_words().cautions),
        "measure": dict(book_words().measures),
    }
    return prose(meanings[kind].get(key, words(key)), units)


def words(key: str) -> str:
    """Return a key as plain words: ``heat_mixing_water`` → ``heat mixing water``."""
    return key.replace("_", " ")
