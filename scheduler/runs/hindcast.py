"""Past mornings of a record replayed for a job's tasks."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from rules.errors import BadInput, WeatherUnavailable
from scheduler.planning.model.job_book import job_book
from scheduler.planning.reports.skill import AHEAD_H, SkillAnswer, skill
from scheduler.runs.desk import Desk
from scheduler.runs.plan import given_before


def hindcast(desk: Desk, *, first: str, last: str, every_days: int) -> SkillAnswer:
    """Return how the calls of past mornings came out.

    Parameters
    ----------
    desk : Desk
        Its past years are the record that is replayed.
    first, last
        Month and day of the season's first and last morning, as 10-01.
    every_days
        Every so many days a morning is replayed.

    Raises
    ------
    BadInput
        If a day is none, or the record has no such season.
    WeatherUnavailable
        If no past years were ever given.
    """
    weather = desk.climate() or given_before(desk)
    if weather is None:
        raise WeatherUnavailable("mornings are replayed on a record; give --climate FILE")
    zone = ZoneInfo(desk.job.site.time_zone)
    year = desk.now.astimezone(zone).year
    begin, end = (_day(text, year) for text in (first, last))
    if end <= begin:
        end = end.replace(year=year + 1)
    start = datetime.combine(begin, time(0), zone).astimezone(UTC)
    hours = round((end - begin) / timedelta(hours=1)) + 24 + AHEAD_H
    record = desk.parse_climate(weather.source, weather.raw, start, hours)
    found = skill(
        desk.job, book=job_book(desk.job), record=record, seed=desk.seed, every_days=every_days
    )
    if not found.mornings:
        raise BadInput(f"{record.station}: no morning from {first} to {last} is known whole")
    return found


def _day(text: str, year: int) -> date:
    try:
        return date.fromisoformat(f"{year}-{text}")
    except ValueError as error:
        raise BadInput(f"{text!r} is no day of the year; write it as 10-01") from error
