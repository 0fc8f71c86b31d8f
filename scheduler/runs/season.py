"""The season question: what each start date would bring, in every past year."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from rules.errors import BadInput, WeatherUnavailable
from scheduler.planning.model.job_book import job_book
from scheduler.planning.model.progress import progress_until
from scheduler.planning.season import Asked, SeasonAnswer, season
from scheduler.runs.desk import Desk
from scheduler.runs.plan import given_before

YEAR_D = 364


@dataclass(frozen=True, slots=True)
class Starts:
    """Which start dates are asked about; None: from today, a year on, a week apart."""

    first: date | None = None
    last: date | None = None
    step: int = 7

    @classmethod
    def told(cls, first: str | None, last: str | None, step: int) -> Starts:
        """Return the days that were written as texts.

        Raises
        ------
        BadInput
            If one is no day, or the last comes before the first.
        """
        days = [None if text is None else _day(text) for text in (first, last)]
        if days[0] is not None and days[1] is not None and days[1] < days[0]:
            raise BadInput(f"--until {days[1]} comes before --from {days[0]}")
        return cls(days[0], days[1], step)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(f"{text!r} is no day; write it as 2026-11-09") from error


def season_of(desk: Desk, starts: Starts) -> SeasonAnswer:
    """Return what each start date would bring.

    Raises
    ------
    WeatherUnavailable
        If no past years were ever given.
    Faults
        If the file cannot be read.
    """
    weather = desk.climate() or given_before(desk)
    if weather is None:
        raise WeatherUnavailable("the season rests on past years; give --climate FILE")
    today = desk.now.astimezone(ZoneInfo(desk.job.site.time_zone)).date()
    first = starts.first or today
    last = max(starts.last or first + timedelta(days=YEAR_D), first)
    asked = Asked.of(desk.job, first=first, last=last, step=starts.step)
    climate = desk.parse_climate(weather.source, weather.raw, asked.hour_zero, asked.hours)
    entries = desk.store.entries(desk.job.id, until=desk.now if desk.replay else None)
    return season(
        desk.job,
        asked=asked,
        book=job_book(desk.job),
        progress=progress_until(entries, desk.now),
        climate=climate,
    )
