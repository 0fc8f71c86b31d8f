"""Cut-offs that expire before the weather does: suppliers, visitors, rental yard, daylight."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import Final

from scheduler.planning.evidence.ages import as_moment
from scheduler.planning.evidence.known import Known
from scheduler.planning.model.answer import TaskAnswer
from scheduler.planning.model.job import Document, Task

# Who answers the telephone for what is supplied.
SUPPLIERS: Final = {
    "concrete": "concrete_supplier",
    "grout": "grout_supplier",
    "block": "block_supplier",
    "windows": "window_supplier",
    "heated_enclosure": "rental_yard",
    "heater": "rental_yard",
    "insulating_blankets": "rental_yard",
    "pump_truck": "concrete_supplier",
    "house_lifting": "house_lifter",
    "fuel": "rental_yard",
}
# What a supply is called where it is a measure that an answer asks for.
SUPPLIED_MEASURES: Final = {
    "heated_enclosure": ("heated_enclosure", "electric_blankets"),
    "heater": ("heated_enclosure", "stage_heater", "vented_indirect_heat"),
    "insulating_blankets": ("insulating_blankets",),
    "pump_truck": ("pump_truck",),
    "fuel": ("heated_enclosure", "stage_heater"),
}
CLOSING: Final = "closing time"  # of a day; the next one opens again, so it does not pass
PASSED_FOR: Final = timedelta(hours=48)  # told so long where no slot says; common practice
CLOCK: Final = re.compile(r"^(\d{1,2}):(\d{2})$")


@dataclass(frozen=True, slots=True)
class Deadline:
    """The last moment at which somebody outside still takes a word, and what word."""

    at: datetime
    why: str
    role: str
    document: str
    frees: bool = False  # until then a booking can be let go without charge


def role_of(document: Document) -> str:
    """Return whom a document's terms concern; empty where it does not say."""
    told = document.terms.get("role")
    if isinstance(told, str) and told:
        return told
    return SUPPLIERS.get(str(document.terms.get("supplier_of", "")), "")


def deadlines(known: Known, document: Document, slot: datetime | None) -> list[Deadline]:
    """Return a document's cut-offs for a slot, soonest first; passed ones while they matter."""
    role = role_of(document)
    found = [
        Deadline(at, why, role, document.id, frees)
        for at, why, frees in cut_offs(known, document, slot)
        if _matters(known, at, slot) and (at >= known.now or not why.startswith(CLOSING))
    ]
    return sorted(found, key=lambda d: d.at)


def _matters(known: Known, at: datetime, slot: datetime | None) -> bool:
    """Tell whether a cut-off is to come, or has passed for a slot that is still ahead."""
    if at >= known.now:
        return True
    return slot > known.now if slot is not None else known.now - at <= PASSED_FOR


def said_passed(answers: Iterable[TaskAnswer], now: datetime) -> tuple[TaskAnswer, ...]:
    """Return the answers with each deadline that has passed told as passed."""
    return tuple(
        replace(
            answer,
            decide_by=tuple(
                replace(d, why=f"{d.why}, passed") if d.at < now else d for d in answer.decide_by
            ),
        )
        for answer in answers
    )


def cut_offs(
    known: Known, document: Document, slot: datetime | None
) -> Iterable[tuple[datetime, str, bool]]:
    """Return when a document's words must be said, why, and whether that frees a booking."""
    terms = document.terms
    simple = (
        ("confirm_by", "last confirmation", False),
        ("free_release_until", "last free release", True),
        ("closes", CLOSING, False),
    )
    for key, why, frees in simple:
        at = _moment(known, terms.get(key), known.now)
        if at is not None:
            yield at, f"{why}, {document.id}", frees
    if slot is None:
        return
    notice_h = terms.get("notice_h")
    if notice_h is not None:
        yield slot - timedelta(hours=float(str(notice_h))), f"{notice_h} h notice", True
    days = terms.get("confirm_days_before")
    if days is not None:
        day = slot.astimezone(known.zone) - timedelta(days=int(float(str(days))))
        clock = terms.get("confirm_at")
        at = _moment(known, clock if clock is not None else "12:00", day)
        if at is not None:
            yield at, f"confirmation {days} days before", False


def _moment(known: Known, value: object, near: datetime) -> datetime | None:
    """Return a moment, or a clock time on the local day of ``near``."""
    match = CLOCK.match(value) if isinstance(value, str) else None
    if match is not None:
        clock = time(int(match[1]), int(match[2]))
        return datetime.combine(near.astimezone(known.zone).date(), clock, tzinfo=known.zone)
    if isinstance(value, time):
        return datetime.combine(near.astimezone(known.zone).date(), value, tzinfo=known.zone)
    return as_moment(known, value)


def available_from(known: Known, document: Document) -> datetime | None:
    """Return from when something supplied is there: its delivery, or when it may be fetched."""
    for key in ("available_from", "delivery"):
        at = as_moment(known, document.terms.get(key))
        if at is not None:
            return at
    return None


def of_task(known: Known, task: Task, slot: datetime | None) -> list[Deadline]:
    """Return the cut-offs of everybody who must hear about a task's slot, soonest first."""
    found = [d for paper in known.documents_for(task) for d in deadlines(known, paper, slot)]
    booked = task.appointment
    if booked is not None:
        for at, why, frees in (
            (booked.start - timedelta(hours=booked.notice_h), "notice", booked.notice_h > 0),
            (booked.free_until, "last free move", True),
        ):
            told = at is not None and _matters(known, at, booked.start)
            if at is not None and told and (frees or booked.notice_h > 0):
                found.append(Deadline(at, why, booked.who, "", frees))
    return sorted(found, key=lambda d: d.at)


def of_measures(known: Known, measures: Iterable[str]) -> list[Deadline]:
    """Return the cut-offs of who supplies the measures that an answer asks for."""
    asked = set(measures)
    return [
        deadline
        for document in known.job.documents
        if asked & set(SUPPLIED_MEASURES.get(str(document.terms.get("supplier_of", "")), ()))
        for deadline in deadlines(known, document, None)
    ]
