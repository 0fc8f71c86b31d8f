"""Which logged days count as weather days under a contract, and which do not, and why.

A day counts when weather itself, or what it left behind, stopped critical work for the share of
the scheduled day that the contract names. No legal advice; the contract's own words decide.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from rules.kinds import Form, kind_of
from scheduler.planning.contract.critical_tasks import critical_tasks
from scheduler.planning.model.answer import DayLine
from scheduler.planning.model.calendars import shift_on
from scheduler.planning.model.job import Document, Job
from scheduler.planning.model.log import Entry, EntryKind, Progress

WEATHER: Final = ("rain", "snow", "ice", "wind", "cold", "heat", "after_effect")
WEEK: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
WHY_NOT: Final = {
    "forecast_only": "stopped on the forecast alone; the weather did not come",
    "concurrent_delay": "the work was held up by something else at the same time",
    "access": "access, not weather at the site",
    "none": "no weather cause",
}
DAY_H: Final = 8.0  # where neither the entry nor the job's hours say how long the day was


@dataclass(frozen=True, slots=True)
class Record:
    """One day of the log that weather touched."""

    day: date
    scheduled_h: float
    lost_h: float
    critical: bool
    cause: str
    measured: Mapping[str, object]
    tasks: tuple[str, ...] = ()  # whose hours were lost; (): everybody's


def day_records(job: Job, progress: Progress) -> tuple[Record, ...]:
    """Return the days on which hours were lost, oldest first.

    A line of the day's own record stands for the whole day; else the day's lost hours are summed,
    up to its scheduled ones, under the cause that took most.
    """
    zone = ZoneInfo(job.site.time_zone)
    whole: dict[date, Record] = {}
    parts: dict[date, list[Entry]] = {}
    for entry in progress.entries:
        if entry.kind is not EntryKind.LOST:
            continue
        if entry.payload.get("date"):
            record = _told(job, entry)
            whole[record.day] = record
        else:
            parts.setdefault(entry.at.astimezone(zone).date(), []).append(entry)
    critical = critical_tasks(job)
    summed = {day: _summed(job, day, found, critical) for day, found in parts.items()}
    return tuple(sorted((summed | whole).values(), key=lambda record: record.day))


def judged_days(
    job: Job, records: Iterable[Record], contract: Document
) -> tuple[tuple[Record, DayLine], ...]:
    """Return each day with whether it counts under the contract, and why.

    Where the contract names tasks (``for_task``), only days that stopped one of them count.
    """
    work = {task.id for task in job.tasks if kind_of(task.work_type).form is not Form.PAPER}
    named = frozenset(contract.for_tasks) & work
    return tuple((record, _judged(record, contract, named)) for record in records)


def first_beyond(days: Iterable[tuple[Record, DayLine]], contract: Document) -> date | None:
    """Return the first counted day beyond those anticipated; None while there is none."""
    counted = [line.date for _, line in days if line.counted]
    allowed = anticipated(contract)
    return counted[allowed] if len(counted) > allowed else None


def anticipated(contract: Document) -> int:
    """Return the weather days that the contract foresees."""
    return int(_number(contract.terms, "anticipated_days", 0.0))


def notice_by(event: date | None, contract: Document) -> date | None:
    """Return the last day for notice of an event."""
    if event is None or contract.terms.get("notice_days") is None:
        return None
    return event + timedelta(days=int(_number(contract.terms, "notice_days", 0.0)))


def _told(job: Job, entry: Entry) -> Record:
    told = dict(entry.payload)
    day = date.fromisoformat(str(told.pop("date")))
    return Record(
        day=day,
        scheduled_h=_number(told, "scheduled_h", _scheduled_h(job, day)),
        lost_h=float(entry.hours or 0.0),
        critical=bool(told.get("critical", True)),
        cause=entry.cause,
        measured=told,
        tasks=(entry.task,) if entry.task else (),
    )


def _summed(job: Job, day: date, entries: list[Entry], critical: frozenset[str]) -> Record:
    scheduled = _scheduled_h(job, day)
    by_cause: dict[str, float] = {}
    for entry in entries:
        by_cause[entry.cause] = by_cause.get(entry.cause, 0.0) + float(entry.hours or 0.0)
    tasks = tuple(dict.fromkeys(entry.task for entry in entries if entry.task))
    return Record(
        day=day,
        scheduled_h=scheduled,
        lost_h=min(sum(by_cause.values()), scheduled),
        critical=any(not entry.task or entry.task in critical for entry in entries),
        cause=max(by_cause, key=by_cause.__getitem__),
        measured={},
        tasks=tasks,
    )


def _scheduled_h(job: Job, day: date) -> float:
    shift = shift_on(job.calendar, day)
    if shift is None:
        return 0.0 if any(job.calendar.week) else DAY_H
    begin, end = datetime.combine(day, shift.start), datetime.combine(day, shift.end)
    return (end - begin) / timedelta(hours=1)


def _judged(record: Record, contract: Document, named: frozenset[str]) -> DayLine:
    if named and record.tasks and not named & set(record.tasks):
        return DayLine(record.day, counted=False, why="the contract does not name the task")
    for fault in _faults(record, contract):
        return DayLine(record.day, counted=False, why=fault)
    share = record.lost_h / record.scheduled_h
    return DayLine(
        record.day,
        counted=True,
        why=f"{record.cause}: {record.lost_h:g} of {record.scheduled_h:g} h lost ({share:.0%})",
    )


def _faults(record: Record, contract: Document) -> Iterable[str]:
    terms = contract.terms
    month = terms.get("month")
    if month and record.day.strftime("%Y-%m") != str(month)[:7]:
        yield f"not in {month}"
    workdays = terms.get("workdays")
    if isinstance(workdays, list | tuple) and WEEK[record.day.weekday()] not in workdays:
        yield "no working day under the contract"
    if record.scheduled_h <= 0:
        yield "no work was scheduled"
        return
    if record.cause not in WEATHER:
        yield WHY_NOT.get(record.cause, f"cause {record.cause} is no weather")
    if not record.critical:
        yield "the work that stopped was not critical"
    share = _number(terms, "counted_when_lost_share_at_least", 0.0)
    if record.lost_h / record.scheduled_h < share - 1e-9:
        yield f"{record.lost_h:g} of {record.scheduled_h:g} h lost, less than {share:.0%}"
    yield from _unproven(record, terms)
    yield from _priced(record, terms)


def _unproven(record: Record, terms: Mapping[str, object]) -> Iterable[str]:
    """Tell a rain day that only an unapproved gauge shows."""
    if record.cause != "rain" or terms.get("site_gauge_approved") is not False:
        return
    station = record.measured.get("station_precipitation_amount_in")
    if station is not None and float(str(station)) <= 0.0:
        yield "the approved station shows no rain; the site gauge is not approved"


def _priced(record: Record, terms: Mapping[str, object]) -> Iterable[str]:
    """Tell a cold day that the price already covers."""
    floor = terms.get("priced_cold_down_to_f")
    if record.cause != "cold" or floor is None:
        return
    at = str(terms.get("priced_cold_at", "08:00"))
    column = "air_temperature_max_f" if "max" in at else "air_temperature_f_at_0800"
    told = record.measured.get(column)
    if told is None:
        yield f"no temperature written down to compare with the priced {floor} °F"
    elif float(str(told)) >= float(str(floor)):
        yield f"{told} °F is not colder than the {floor} °F that is priced in"


def _number(terms: Mapping[str, object], key: str, default: float) -> float:
    value = terms.get(key)
    return default if value is None else float(str(value))
