"""Weather days under a contract as the answer to a claim. No legal advice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime, time, timedelta
from typing import Final

from scheduler.planning.contract.weather_day_rules import (
    anticipated,
    day_records,
    first_beyond,
    judged_days,
    notice_by,
)
from scheduler.planning.evidence.known import Known
from scheduler.planning.model.answer import (
    Call,
    CautionLine,
    CheckLine,
    DecideBy,
    MeasureLine,
    NumberLine,
    Outcome,
    TaskAnswer,
    TellLine,
)
from scheduler.planning.model.job import Document, Task
from scheduler.planning.model.log import Progress

OWNER: Final = "owner"
RULE: Final = "document:{}"


def claim(known: Known, task: Task) -> TaskAnswer:
    """Return the weather-day record of a task: days counted and why, days beyond, notice date."""
    papers = [d for d in known.documents_for(task) if d.kind == "contract"]
    contract = papers[0] if papers else Document(id="contract", kind="contract")
    terms = contract.terms
    records = day_records(known.job, Progress(known.entries))
    judged = judged_days(known.job, records, contract)
    days = [line for _, line in judged]
    counted = [line.date for line in days if line.counted]
    allowed = anticipated(contract)
    excess = first_beyond(judged, contract)
    deadline = notice_by(excess or (counted[-1] if counted else None), contract)
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
