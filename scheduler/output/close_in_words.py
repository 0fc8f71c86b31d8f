"""The date in words: what decides it, what each source alone says, who stands behind it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from scheduler.output.money_lines import money_words
from scheduler.output.words import clock, day, words
from scheduler.planning.forecast.scenarios import FEWEST_YEARS
from scheduler.planning.open_house.closein_date import CloseInAnswer, Ends
from scheduler.planning.plan.plan_answer import Lever
from scheduler.planning.reports.close_in_line import CloseInLine


def date_lines(
    found: CloseInAnswer | None, zone: str, levers: Sequence[Lever] = (), currency: str = "$"
) -> list[str]:
    """Return the latest safe date, its margin, its chance, and what they rest on."""
    if found is None:
        return ["Latest safe close-in: not known; give past years with --climate FILE"]
    few = found.years < FEWEST_YEARS
    share = "in the forecast" if few else f"{found.confidence:.0%} of scenarios"
    ends = found.overall.ends
    if found.latest_safe is not None:
        text = f"{day(found.latest_safe, zone)} ({share}; {words(found.binding)} decides)"
    elif ends is Ends.SEASON_END:
        text = f"not before season's end, {day(found.days[-1], zone)} ({share})"
    else:
        text = f"not known; no limit passed up to {day(found.overall.known_safe_until, zone)}"
    lines = [f"Latest safe close-in: {text}"]
    if found.margin_days is not None:
        least = "at least " if found.margin_at_least else ""
        lines.append(f"Margin: {least}{found.margin_days} days")
    if found.chance is not None:
        lines.append(f"Chance of closing in before the first breach: {found.chance:.0%}")
    if found.years_made is not None:
        lines.append(
            f"Closed in before the first breach in {found.years_made} of {found.years} past years"
        )
    if levers:
        said = [lever_words(lever, currency) for lever in levers[:3]]
        lines.append(f"What buys most: {said[0]}")
        lines += [f"Then: {'; '.join(said[1:])}"] if said[1:] else []
    lines += _rests_on(found, zone)
    return [*lines, *(f"Note: {note}" for note in found.notes)]


def lever_words(lever: Lever, currency: str) -> str:
    """Return a lever with what it does to the chance, to the date, and its price."""
    gain = "" if lever.chance_gain is None else f", chance up {100 * lever.chance_gain:.0f} points"
    to = "" if lever.chance is None else f" to {lever.chance:.0%}"
    sooner = f", {lever.days_gained:.0f} days sooner" if (lever.days_gained or 0.0) >= 1.0 else ""
    price = "price not given" if lever.cost is None else money_words(currency, lever.cost)
    return f"{lever.what}{gain}{to}{sooner}, {price}"


def _rests_on(found: CloseInAnswer, zone: str) -> list[str]:
    """Return the spread, what forecast and past years say alone, and the other limits."""
    if found.overall.ends in {Ends.NOT_KNOWN, Ends.TOO_FEW_YEARS}:
        return []
    forecast = _or(found.overall.forecast_only, zone, "no limit passed within it")
    climate = _or(found.overall.climate_only, zone, "not before season's end")
    lines = [f"Latest safe on the forecast alone: {forecast}; on past years alone: {climate}"]
    if found.overall.passes:
        passes = " / ".join(_or(found.overall.passes[q], zone, "later") for q in (10, 50, 90))
        lines.insert(0, f"Left open, a limit is passed by (10 / 50 / 90 %): {passes}")
    others = [
        one
        for one in found.limits
        if one.limit != found.binding and one.ends is not Ends.SEASON_END
    ]
    if others:
        told = (f"{words(one.limit)} {_or(one.latest_safe, zone, 'not known')}" for one in others)
        lines.append("Other limits: " + "; ".join(told))
    return lines


def _or(found: date | None, zone: str, otherwise: str) -> str:
    return otherwise if found is None else day(found, zone)


def close_in_words(line: CloseInLine | None, zone: str) -> str:
    """Return the date of the last plan in one line, with how old that plan is."""
    if line is None:
        return "Close-in: no plan is kept yet; closein plan JOB --climate FILE gives the date"
    parts = [f"Close-in planned {_or(line.planned, zone, 'not known')}"]
    if line.latest_safe is not None:
        parts.append(f"latest safe {day(line.latest_safe, zone)} ({words(line.binding)} decides)")
    elif line.ends == Ends.SEASON_END.value:
        parts.append("no limit passed before season's end")
    else:
        parts.append("latest safe not known")
    if line.margin_days is not None:
        least = "at least " if line.margin_at_least else ""
        parts.append(f"margin {least}{line.margin_days} days")
    if line.chance is not None:
        parts.append(f"chance {line.chance:.0%}")
    if line.years_made is not None:
        parts.append(f"made in {line.years_made} of {line.years} past years")
    if line.lever:
        parts.append(f"what buys most: {line.lever}")
    return f"{'; '.join(parts)} (as planned {clock(line.as_of, zone)})"
