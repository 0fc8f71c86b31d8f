"""From a checked job file to the job that planning sees: SI, UTC, frozen."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, time, tzinfo
from pathlib import PurePath
from zoneinfo import ZoneInfo

from rules.units import convert
from scheduler.jobfile import schema
from scheduler.jobfile.delivery_parts import recipient_of, rhythm_of
from scheduler.jobfile.element import inside
from scheduler.jobfile.exposure_parts import exposure_limits
from scheduler.jobfile.fields import value_of
from scheduler.jobfile.moments import end_of_day, start_of_day
from scheduler.planning.model.job import (
    Alternative,
    Appointment,
    Calendar,
    Confirmation,
    Costs,
    Crew,
    Criterion,
    DailyCost,
    Daylight,
    Document,
    Hire,
    Hold,
    Job,
    Link,
    LinkKind,
    MeasureOffer,
    ObservedChoice,
    OnCall,
    Order,
    Override,
    RentedEquipment,
    Shift,
    Site,
    SourceChoice,
    State,
    StrengthGate,
    Task,
    WhatIf,
)

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def job_of(part: schema.JobPart, holidays: Iterable[date]) -> Job:
    """Return the job; ``holidays`` are the free days of its region."""
    zone = ZoneInfo(part.site.time_zone)
    calendar = Calendar(
        week=_week(part.hours),
        days_off=frozenset(part.days_off) | frozenset(holidays),
        exceptions={on: _shift(hours) for on, hours in part.exceptions.items()},
    )
    return Job(
        name=part.name,
        site=_site(part.site),
        units=part.units,
        book=part.book,
        calendar=calendar,
        tasks=tuple(_task(task, zone) for task in part.tasks),
        crews=tuple(_crew(crew, calendar) for crew in part.crews),
        on_hand=tuple(part.measures.on_hand),
        can_be_had=tuple(
            MeasureOffer(
                o.measure, notice_h=o.notice_h, cost_per_day=o.cost_per_day, from_whom=o.from_whom
            )
            for o in part.measures.can_be_had
        ),
        orders=tuple(
            Order(o.what, o.amount, o.unit, o.for_task, o.lead_days, o.from_whom)
            for o in part.orders
        ),
        built_from=dict(part.built_from),
        sources=tuple(_source(source) for source in part.sources),
        observed=ObservedChoice(
            part.observed.file or "", part.observed.stations, part.observed.within_km
        ),
        confidence=part.confidence,
        season_end=part.season_end,
        documents=tuple(_document(document) for document in part.documents),
        overrides=tuple(
            Override(o.row, o.task or "", tuple(_plain_band(b) for b in o.bands), o.who, o.why)
            for o in part.overrides
        ),
        confirmations=tuple(Confirmation(c.row, c.who, c.on, c.edition) for c in part.confirmed),
        exposure=exposure_limits(part.exposure),
        delivery=tuple(recipient_of(one) for one in part.delivery),
        messages=rhythm_of(part.messages),
        rented=tuple(
            RentedEquipment(r.id, tuple(r.for_tasks), r.per_day, _from(r.since, zone))
            for r in part.costs.rented
        ),
        costs=_costs(part.costs),
        stop_under=part.stop_under,
        on_call=tuple(
            OnCall(o.name, o.phone, tuple(DAYS.index(day) for day in o.evenings))
            for o in part.on_call
        ),
        daylight=tuple(_daylight(day, zone) for day in part.daylight),
        what_ifs=tuple(_what_if(what) for what in part.what_if),
        id=part.id or _id_of(part.name),
    )


def _id_of(name: str) -> str:
    """Return a name as an id: ``Heron Ferry, north house`` is ``heron-ferry-north-house``."""
    return re.sub(r"[^\w]+", "-", name.casefold()).strip("-") or "job"


def _costs(part: schema.CostsPart) -> Costs:
    daily = tuple(DailyCost(one.what, one.per_day) for one in part.daily)
    tent, panels = part.heated_enclosure, part.temporary_closing
    return Costs(
        part.currency,
        part.heat_per_kwh,
        daily,
        heated_enclosure=None
        if tent is None
        else Hire(tent.per_day, tent.fuel_per_day, tent.once),
        temporary_closing=None
        if panels is None
        else Hire(panels.per_day or 0.0, 0.0, panels.once or 0.0),
    )


def _source(part: schema.SourcePart) -> SourceChoice:
    return SourceChoice(
        name=part.source or PurePath(part.file or "").name,
        file=part.file or "",
        fallback=part.use == "fallback",
        age_limit_h=part.age_limit_h,
        cells=part.cells,
        lapse_rate_c_per_km=part.lapse_rate_c_per_km,
    )


def _site(part: schema.SitePart) -> Site:
    if part.elevation_m is not None:
        elevation_m = part.elevation_m
    else:
        elevation_m = convert(float(part.elevation_ft or 0.0), "ft", "m")
    return Site(
        name=part.name,
        latitude_deg=part.latitude,
        longitude_deg=part.longitude,
        elevation_m=elevation_m,
        time_zone=part.time_zone,
        exposure=part.exposure,
    )


def _shift(hours: tuple[time, time] | None) -> Shift | None:
    return None if hours is None else Shift(*hours)


def _week(hours: schema.Week) -> tuple[Shift | None, ...]:
    """Return seven days; a day named alone wins over a range, a day not named is off."""
    week: list[Shift | None] = [None] * 7
    for days, shift in sorted(hours.items(), key=lambda item: -len(item[0])):
        for day in days:
            week[day] = _shift(shift)
    return tuple(week)


def _crew(part: schema.CrewPart, calendar: Calendar) -> Crew:
    own = None
    if part.hours is not None or part.days_off or part.exceptions:
        jobs = {on: it for on, it in calendar.exceptions.items() if on not in part.days_off}
        own = replace(
            calendar,
            week=calendar.week if part.hours is None else _week(part.hours),
            days_off=calendar.days_off | frozenset(part.days_off),
            exceptions=jobs | {on: _shift(hours) for on, hours in part.exceptions.items()},
        )
    return Crew(
        part.id,
        part.name or part.id,
        part.size,
        own,
        part.cost_per_hour,
        another_per_hour=part.another_per_hour,
        another_per_day=part.another_per_day,
        saturday_extra_per_hour=part.saturday_extra_per_hour,
        overtime_extra_per_hour=part.overtime_extra_per_hour,
    )


def _link(part: schema.LinkPart) -> Link:
    gate = part.gate
    return Link(
        task=part.task,
        kind=LinkKind(part.kind),
        wait_h=part.wait_h,
        wait_working_h=part.wait_working_h,
        within_h=part.within_h,
        gate=None if gate is None else _gate(gate),
    )


def _gate(part: schema.GatePart) -> StrengthGate:
    own = None if part.criterion is None else _criterion(part.criterion)
    return StrengthGate(part.share, part.wait_h, part.purpose, own, part.allowed_by or "")


def _appointment(part: schema.AppointmentPart | None) -> Appointment | None:
    if part is None:
        return None
    slots = tuple(part.slots)
    return Appointment(
        part.who,
        part.at,
        part.notice_h,
        part.free_until,
        slots,
        part.late_move_fee,
        part.other_date_fee,
    )


def _task(part: schema.TaskPart, zone: tzinfo) -> Task:
    amount = part.quantity
    return Task(
        id=part.id,
        name=part.name or part.id.replace("_", " "),
        work_type=part.work_type,
        duration_h=_duration_h(part, zone),
        crew=tuple(part.crew),
        after=tuple(_link(link) for link in part.after),
        may_pause=part.may_pause,
        set_up_h=part.set_up_h,
        cover_up_h=part.cover_up_h,
        least_piece_h=part.least_piece_h,
        apart_from=tuple(part.apart_from),
        daylight_only=part.daylight_only,
        sooner_fee=part.sooner_fee,
        appointment=_appointment(part.appointment),
        not_before=_from(part.not_before, zone),
        opens=tuple(part.opens),
        closes=tuple(part.closes),
        state=_state(part),
        hours_left=part.hours_left,
        started_at=part.started,
        finished_at=part.finished,
        booked=_from(part.booked, zone),
        until=_until(part.until, zone),
        offered=_from(part.offered, zone),
        slots=tuple(part.slots),
        days=tuple(part.days),
        place=part.place or "",
        label=part.label or "",
        beside=part.beside or "",
        load=part.load or "",
        holds=tuple(Hold(tuple(hold.by), hold.needs) for hold in part.holds),
        element=_element(part),
        quantity=None if amount is None else amount.amount,
        quantity_unit="" if amount is None else amount.unit,
    )


def _duration_h(part: schema.TaskPart, zone: tzinfo) -> float:
    """Return the hours given, by the rate, or from booked to until; a done task may lack them."""
    amount = part.quantity
    if part.duration_h is not None:
        return part.duration_h
    if amount is not None and amount.per_hour is not None:
        return amount.amount / amount.per_hour
    start, end = _from(part.booked, zone), _until(part.until, zone)
    return 0.0 if start is None or end is None else (end - start).total_seconds() / 3600.0


def _state(part: schema.TaskPart) -> State:
    if part.state is not None:
        return State(part.state)
    return State.DONE if part.finished is not None else State.TO_DO


def _from(when: date | datetime | None, zone: tzinfo) -> datetime | None:
    if when is None or isinstance(when, datetime):
        return when
    return start_of_day(when, zone)


def _until(when: date | datetime | None, zone: tzinfo) -> datetime | None:
    if when is None or isinstance(when, datetime):
        return when
    return end_of_day(when, zone)


def _element(part: schema.TaskPart) -> dict[str, object]:
    said = {} if part.grouted is None else {"grouted": part.grouted}
    return inside(part.element) | said


def _criterion(part: schema.CriterionPart) -> Criterion:
    return Criterion(
        quantity=part.quantity,
        unit=part.unit,
        at_least=part.at_least,
        above=part.above,
        at_most=part.at_most,
        below=part.below,
        equals=part.equals,
        for_h=part.for_h,
        specimens=part.specimens,
        datum=part.datum,
    )


def _document(part: schema.DocumentPart) -> Document:
    alternatives = [Alternative(tuple(map(_criterion, part.criteria)))] if part.criteria else []
    alternatives += [
        Alternative(tuple(map(_criterion, way.criteria)), way.with_measure or "")
        for way in part.any_of
    ]
    aside = {"id", "kind", "for_task", "criteria", "any_of"}
    terms = {
        name: tuple(value) if isinstance(value, list) else value
        for name in type(part).model_fields
        if name not in aside and (value := getattr(part, name)) not in (None, [])
    }
    return Document(part.id, part.kind, tuple(part.for_task), tuple(alternatives), terms)


def _plain_band(band: dict[str, object]) -> dict[str, object]:
    return {key: _plain(value) for key, value in band.items()}


def _plain(value: object) -> object:
    """Return a text of the file as the number or yes or no it writes, where it writes one."""
    if isinstance(value, list):
        return tuple(_plain(item) for item in value)
    return value_of(value) if isinstance(value, str) else value


def _daylight(part: schema.DaylightPart, zone: tzinfo) -> Daylight:
    def at(when: time | datetime | None) -> datetime | None:
        if when is None or isinstance(when, datetime):
            return when
        return datetime.combine(part.day, when, tzinfo=zone).astimezone(UTC)

    return Daylight(part.day, at(part.sunrise), at(part.sunset))


def _what_if(part: schema.WhatIfPart) -> WhatIf:
    return WhatIf(
        id=part.id,
        measure=part.measure,
        quantity=part.quantity,
        value=part.value,
        unit=part.unit,
        start=part.start,
        taken_as=part.taken_as,
        value_until_then=part.value_until_then,
        cost=part.cost_usd,
        cost_below_waiting=part.cost_below_waiting,
    )
