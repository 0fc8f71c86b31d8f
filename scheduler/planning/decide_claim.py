"""Weather days under a contract: which logged days count, how many are beyond the allowance.

A day counts when weather itself, or what it left behind, stopped critical work for the share of
the scheduled day that the contract names. No legal advice; the contract's own words decide.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

from scheduler.planning.answer import (
    Call,
    CautionLine,
    CheckLine,
    DayLine,
    DecideBy,
    MeasureLine,
    NumberLine,
    Outcome,
    TaskAnswer,
    TellLine,
)
from scheduler.planning.decide_known import Known, logged
from scheduler.planning.job import Document, Task
from scheduler.planning.log import Entry, EntryKind

WEATHER: Final = ("rain", "snow", "ice", "wind", "cold", "heat", "after_effect")
WEEK: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
WHY_NOT: Final = {
    "forecast_only": "stopped on the forecast alone; the weather did not come",
    "concurrent_delay": "the work was held up by something else at the same time",
    "access": "access, not weather at the site",
    "none": "no weather cause",
}
OWNER: Final = "owner"
RULE: Final = "document:{}"


@dataclass(frozen=True, slots=True)
class Record:
    """One day of the log that weather touched."""

    day: date
    scheduled_h: float
    lost_h: float
    critical: bool
    cause: str
    measured: Mapping[str, object]


def claim(known: Known, task: Task) -> TaskAnswer:
    """Return the weather-day record of a task: days counted and why, days beyond, notice date."""
    papers = [d for d in known.documents_for(task) if d.kind == "contract"]
    contract = papers[0] if papers else Document(id="contract", kind="contract")
    terms = contract.terms
    days = [_judged(record, terms) for record in sorted(_records(known), key=lambda r: r.day)]
    counted = [line.date for line in days if line.counted]
    allowed = int(_number(terms, "anticipated_days", 0.0))
    excess = counted[allowed] if len(counted) > allowed else None
    deadline = _deadline(excess or (counted[-1] if counted else None), terms)
    return TaskAnswer(
        task=task.id,
        work_type=task.work_type,
        call=Call.CLAIM,
        outcome=Outcome.GO if papers else Outcome.NOT_KNOWN,
        measures=(_attach(contract),),
        checks=(CheckLine("photos_and_log"),),
        tell=_tell(known, excess, deadline),
        decide_by=_decide_by(known, deadline, contract),
        cautions=tuple(_cautions(known, terms, deadline)),
        numbers=tuple(_numbers(len(counted), allowed, excess, deadline)),
        days=tuple(days),
        reason=_reason(len(counted), allowed, excess, deadline),
    )


def _records(known: Known) -> Iterable[Record]:
    by_day: dict[date, Record] = {}
    for entry in logged(known, EntryKind.LOST):
        record = _record(known, entry)
        by_day[record.day] = record
    return by_day.values()


def _record(known: Known, entry: Entry) -> Record:
    told = dict(entry.payload)
    day = told.pop("date", None)
    return Record(
        day=date.fromisoformat(str(day)) if day else known.local_day(entry.at),
        scheduled_h=_number(told, "scheduled_h", 8.0),
        lost_h=float(entry.hours or 0.0),
        critical=bool(told.get("critical", True)),
        cause=entry.cause,
        measured=told,
    )


def _judged(record: Record, terms: Mapping[str, object]) -> DayLine:
    for fault in _faults(record, terms):
        return DayLine(record.day, counted=False, why=fault)
    share = record.lost_h / record.scheduled_h
    return DayLine(
        record.day,
        counted=True,
        why=f"{record.cause}: {record.lost_h:g} of {record.scheduled_h:g} h lost ({share:.0%})",
    )


def _faults(record: Record, terms: Mapping[str, object]) -> Iterable[str]:
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


def _deadline(event: date | None, terms: Mapping[str, object]) -> date | None:
    if event is None or terms.get("notice_days") is None:
        return None
    return event + timedelta(days=int(_number(terms, "notice_days", 0.0)))


def _end_of(known: Known, day: date) -> datetime:
    return datetime.combine(day, time(17), tzinfo=known.zone)


def _attach(contract: Document) -> MeasureLine:
    return MeasureLine(
        measure="attach_log_and_station_record",
        start=None,
        end=None,
        rule=RULE.format(contract.id),
    )


def _tell(known: Known, excess: date | None, deadline: date | None) -> tuple[TellLine, ...]:
    if excess is None:
        return ()
    by = None if deadline is None else _end_of(known, deadline)
    return (TellLine(OWNER, "notice of weather days beyond those anticipated, with records", by),)


def _decide_by(known: Known, deadline: date | None, contract: Document) -> tuple[DecideBy, ...]:
    if deadline is None:
        return ()
    return (DecideBy(_end_of(known, deadline), f"last day for notice under {contract.id}"),)


def _cautions(
    known: Known, terms: Mapping[str, object], deadline: date | None
) -> Iterable[CautionLine]:
    if terms.get("money_for_time") is not True:
        yield CautionLine("time_not_money", "the clause gives time; nothing here speaks of money")
    late = deadline is None or deadline - known.local_day(known.now) <= timedelta(days=7)
    if late:
        yield CautionLine("notice_may_be_late", "last date for notice is near, gone or not stated")


def _numbers(
    counted: int, allowed: int, excess: date | None, deadline: date | None
) -> Iterable[NumberLine]:
    yield NumberLine("counted_weather_days", "count", counted, "count")
    yield NumberLine("anticipated_weather_days", "count", allowed, "count")
    yield NumberLine("claimable_days", "count", max(counted - allowed, 0), "count")
    if excess is not None:
        yield NumberLine("excess_weather_day", "first_time", excess, "date")
    if deadline is not None:
        yield NumberLine("notice_deadline", "last_time", deadline, "date")


def _reason(counted: int, allowed: int, excess: date | None, deadline: date | None) -> str:
    text = f"{counted} days count, {allowed} were anticipated, {max(counted - allowed, 0)} beyond"
    if excess is not None and deadline is not None:
        text += f"; first beyond {excess.isoformat()}, notice by {deadline.isoformat()}"
    return text
