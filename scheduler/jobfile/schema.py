"""The schema of a job file, format mark ``closein: 1``; JOBFILE.md and JSON Schema come from it.

Each field's description is what a person reads who left it out or got it wrong.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from rules.gates import gates
from rules.units import UNITS
from rules.words import site_quantities
from scheduler.jobfile.delivery_parts import MessagesPart, RecipientPart
from scheduler.jobfile.element import Element
from scheduler.jobfile.exposure_parts import ExposurePart
from scheduler.jobfile.fields import (
    AnswerKey,
    AnswerText,
    ClockOrMoment,
    CrewId,
    Day,
    DayOrMoment,
    DocumentId,
    DocumentKind,
    Hours,
    Listed,
    Measure,
    Moment,
    OrJust,
    Quantity,
    Role,
    Share,
    ShiftHours,
    Slug,
    Source,
    Supply,
    TakenAs,
    TaskId,
    Text,
    TimeZone,
    Unit,
    WeekDays,
    WorkType,
)
from scheduler.jobfile.parts import Part
from scheduler.mail_address import PATTERN
from scheduler.planning.model.job import LEAST_PIECE_H

Week = dict[WeekDays, ShiftHours]
Price = Annotated[float, Field(ge=0.0, le=1e6)]


def _says(text: str, **bounds: Any) -> Any:  # pydantic's own type of a field
    return Field(description=text, **bounds)


class SitePart(Part):
    """Where the job stands."""

    exactly_one = (("elevation_ft", "elevation_m"),)

    name: Text = _says("name of the place")
    latitude: float = _says("degrees, north is positive", ge=-90, le=90)
    longitude: float = _says("degrees, west is negative", ge=-180, le=180)
    elevation_ft: float | None = _says("feet above the sea", ge=-1500, le=29100, default=None)
    elevation_m: float | None = _says("metres above the sea", ge=-450, le=8850, default=None)
    time_zone: TimeZone = _says("IANA name such as America/New_York")
    exposure: Literal["open", "sheltered", "exposed"] = _says(
        "how the wind meets the site", default="open"
    )


class CrewPart(Part):
    """People who work together."""

    at_most_one = (("another_per_hour", "another_per_day"),)

    id: Slug = _says("short name that tasks refer to")
    name: Text | None = _says("name for people", default=None)
    size: int = _says("how many tasks they can do at the same time", ge=1, le=50, default=1)
    hours: Week | None = _says("working hours, where they differ from the job's", default=None)
    days_off: list[Day] = _says("days they do not come", default=[])
    exceptions: dict[Day, ShiftHours] = _says("their hours of single days", default={})
    cost_per_hour: Price | None = _says("cost of an hour", default=None)
    another_per_hour: Price | None = _says(
        "what one more such crew costs for each hour it works", default=None
    )
    another_per_day: Price | None = _says("the same for each day it works", default=None)
    saturday_extra_per_hour: Price | None = _says(
        "what an hour on a Saturday costs more than one of the week", default=None
    )
    overtime_extra_per_hour: Price | None = _says(
        "what an hour past the day's end costs more", default=None
    )


class OfferPart(Part):
    """A measure that is not on site but can be had."""

    measure: Measure = _says("the measure")
    notice_h: Hours = _says("hours from asking to having it")
    cost_per_day: Price | None = _says("cost of a day, fuel in it", default=None)
    from_whom: Text = _says("who has it", alias="from", default="-")


class MeasuresPart(Part):
    """Measures on site, and those that can be had."""

    on_hand: list[Measure] = _says("measures on site", default=[])
    can_be_had: list[OfferPart] = _says("measures that can be had", default=[])


class CriterionPart(Part):
    """One condition: a quantity and its bound, in the document's own unit."""

    quantity: Quantity = _says("what is asked of")
    unit: Unit = _says("unit of the bound")
    at_least: float | None = _says("lowest that is allowed", default=None)
    above: float | None = _says("must be higher than", default=None)
    at_most: float | None = _says("highest that is allowed", default=None)
    below: float | None = _says("must be lower than", default=None)
    equals: bool | None = _says("true or false", alias="is", default=None)
    for_h: Hours | None = _says("hours it must hold", default=None)
    specimens: int | None = _says("how many specimens show it", ge=1, le=100, default=None)
    datum: float | None = _says("datum of degree-hours", default=None)

    @classmethod
    def clashes(cls, given: Mapping[str, object]) -> dict[str, str]:
        """Check that there is a bound and that the unit measures the quantity."""
        found: dict[str, str] = {}
        if not any(given.get(k) is not None for k in _BOUNDS):
            found["quantity"] = f"give its bound: {', '.join(_BOUNDS)}"
        quantity, unit = site_quantities().get(str(given.get("quantity"))), str(given.get("unit"))
        if quantity and unit in UNITS and unit not in quantity.units:
            found["unit"] = f"{quantity.name} is told in {', '.join(quantity.units)}"
        return found


_BOUNDS = ("at_least", "above", "at_most", "below", "is")


class GatePart(Part):
    """A link that opens at a computed strength, or at the engineer's own bound."""

    share: Share | None = _says(
        "share of the specified strength, 0 to 1",
        default=None,
    )
    wait_h: Hours = _says("least hours after the predecessor", default=0.0)
    purpose: Text = _says("what the strength is for", default="-")
    criterion: CriterionPart | None = _says(
        "the engineer's own bound, beside the share: temperature_time_factor at_least, or a "
        "temperature at_least or above, for_h",
        default=None,
    )
    allowed_by: Text | None = _says("who allows the criterion in place of the share", default=None)

    @classmethod
    def clashes(cls, given: Mapping[str, object]) -> dict[str, str]:
        """Check that something is asked for, and that time and temperature can tell it."""
        criterion, purpose = given.get("criterion"), given.get("purpose")
        if given.get("share") is None and criterion is None and purpose not in gates():
            return {"share": f"say the share, a criterion, or a purpose of {', '.join(gates())}"}
        if given.get("allowed_by") and criterion is None:
            return {"allowed_by": "there is no criterion that it allows"}
        if criterion is not None and not _told_by_time(criterion):
            return {
                "criterion": "give temperature_time_factor with at_least, or a temperature with "
                "at_least or above, and for_h; a break is told in the log and with share"
            }
        return {}


def _told_by_time(criterion: object) -> bool:
    """Tell whether temperature and time alone say that a bound is met."""
    if not isinstance(criterion, Mapping):
        return True  # its own fault is told
    said = {key for key, value in criterion.items() if value is not None}
    quantity = str(criterion.get("quantity"))
    if quantity == "temperature_time_factor":
        return "at_least" in said
    lower, upper = said & {"at_least", "above"}, said & {"at_most", "below", "is"}
    return quantity.endswith("_temperature") and bool(lower) and not upper and "for_h" in said


class LinkPart(Part):
    """A predecessor: its id, or its id with what to wait for."""

    task: TaskId = _says("id of the predecessor")
    kind: Literal["finish_start", "start_start"] = _says(
        "what of the predecessor is waited for", default="finish_start"
    )
    wait_h: Hours = _says("hours to wait by the clock", default=0.0)
    wait_working_h: Hours = _says("hours to wait, of the job's shifts", default=0.0)
    within_h: Hours | None = _says("start not later than this after it", default=None)
    gate: GatePart | None = _says("strength to wait for", default=None)


class AppointmentPart(Part):
    """A fixed date with somebody outside the job."""

    who: Text = _says("role or firm")
    at: Moment = _says("agreed start, local time")
    notice_h: Hours = _says("hours before which they want to know of a move", default=0.0)
    free_until: Moment | None = _says("moved without charge until then", default=None)
    slots: list[Moment] = _says("other times they offer", default=[])
    late_move_fee: Price | None = _says("what a move costs after `free_until`", default=None)
    other_date_fee: Price | None = _says(
        "what it costs once to have them come on a date that they do not offer", default=None
    )

    @classmethod
    def clashes(cls, given: Mapping[str, object]) -> dict[str, str]:
        """Check that a fee for a late move says what is late."""
        if given.get("late_move_fee") is not None and not given.get("free_until"):
            return {"late_move_fee": "say free_until too: after which moment a move costs it"}
        return {}


class HoldPart(Part):
    """A task stands until a person of this role has released it, by name, in the log."""

    by: Annotated[list[Role], Listed] = _says("role that may release it; of several, any one")
    needs: Text = _says("what they need to see")


class OrderPart(Part):
    """Something bought, hired or booked, and how long before its task it is ordered."""

    what: Text = _says("what is ordered")
    amount: float = _says("how much", gt=0, le=1e7)
    unit: Text = _says("what is counted: each, yd3, ft, ...")
    for_task: TaskId = _says("the task that needs it first")
    lead_days: int = _says("days from order to site", ge=0, le=1000)
    from_whom: Text = _says("who has it", alias="from", default="-")


class QuantityPart(Part):
    """How much there is to do and how fast the crew does it."""

    amount: float = _says("how much there is", gt=0, le=1e7)
    unit: Text = _says("what is counted: block, yd3, ft, ...")
    per_hour: float | None = _says("how much the crew does in an hour", gt=0, le=1e6, default=None)


class TaskPart(Part):
    """One piece of work."""

    id: Slug = _says("short name that others refer to")
    name: Text | None = _says("name for people", default=None)
    work_type: WorkType = _says("kind of work, as the rule book knows it")
    duration_h: float | None = _says("hours of shift it takes", gt=0, le=2000, default=None)
    quantity: QuantityPart | None = _says("amount and rate, in place of hours", default=None)
    crew: Annotated[list[CrewId], Listed] = _says("who does it", default=[])
    after: Annotated[list[Annotated[LinkPart, OrJust("task")]], Listed] = _says(
        "what comes before", default=[]
    )
    may_pause: bool = _says("may it stop overnight and go on next day", default=False)
    set_up_h: Hours = _says("hours to set up before each piece, inside the shift", default=0.0)
    cover_up_h: Hours = _says("hours to cover up after each piece, in the shift", default=0.0)
    least_piece_h: float = _says(
        "a shorter piece is not worth beginning, in hours", gt=0, le=24, default=LEAST_PIECE_H
    )
    apart_from: Annotated[list[TaskId], Listed] = _says(
        "tasks that must not go on at the same time", default=[]
    )
    daylight_only: bool = _says("only between sunrise and sunset, not under lights", default=False)
    appointment: AppointmentPart | None = _says("fixed date with somebody", default=None)
    not_before: DayOrMoment | None = _says("earliest start", default=None)
    sooner_fee: Price | None = _says(
        "what it costs once to have its delivery a week sooner than not_before", default=None
    )
    opens: list[Slug] = _says("parts of the envelope it opens", default=[])
    closes: list[Slug] = _says("parts of the envelope it closes", default=[])
    state: Literal["to_do", "under_way", "done"] | None = _says("how far it is", default=None)
    started: Moment | None = _says("when it was begun", default=None)
    finished: Moment | None = _says("when it was done", default=None)
    hours_left: float | None = _says("hours still to do", gt=0, le=2000, default=None)
    booked: DayOrMoment | None = _says("asked or booked start, or day", default=None)
    until: DayOrMoment | None = _says("asked or booked end", default=None)
    offered: DayOrMoment | None = _says("a start somebody offers", default=None)
    slots: list[Moment] = _says("starts to choose from", default=[])
    days: list[Day] = _says("days to choose from", default=[])
    place: Text | None = _says("where on site", default=None)
    label: DocumentId | None = _says("document whose label governs", default=None)
    beside: Text | None = _says("what it is beside, such as wall", default=None)
    load: Literal["uniform", "concentrated", "partial", "full"] | None = _says(
        "load it brings; concrete: part or all of the load it takes while young", default=None
    )
    grouted: bool | None = _says("is the masonry grouted", default=None)
    holds: list[HoldPart] = _says("who must release it first", default=[])
    element: Element = _says("what is built", default_factory=Element)

    @classmethod
    def clashes(cls, given: Mapping[str, object]) -> dict[str, str]:
        """Check the state against the moments that show it."""
        state, found = given.get("state"), {}
        if given.get("finished") and state not in {None, "done"}:
            found["state"] = "finished is given; say done, or take finished out"
        if state == "done" and not given.get("finished"):
            found["finished"] = "say when it was done, protection is counted from there"
        if state == "under_way" and not given.get("hours_left"):
            found["hours_left"] = "say how many hours are still to do"
        if given.get("hours_left") and state != "under_way":
            found["hours_left"] = "only a task with `state: under_way` has hours left"
        if given.get("started") and not given.get("finished") and state != "under_way":
            found["started"] = "say `state: under_way` and hours_left, or when it was finished"
        if given.get("sooner_fee") is not None and not given.get("not_before"):
            found["sooner_fee"] = "say not_before too: the day that would be a week sooner"
        timed = given.get("duration_h") or (given.get("booked") and given.get("until"))
        amount = given.get("quantity")
        rated = isinstance(amount, Mapping) and amount.get("per_hour")
        if not (timed or rated or given.get("finished")):
            found["duration_h"] = "give hours, or a quantity with per_hour, or booked and until"
        return found


class AlternativePart(Part):
    """Criteria that hold together, and the measure that this way needs."""

    with_measure: Measure | None = _says("measure it needs", alias="with", default=None)
    criteria: list[CriterionPart] = _says("conditions that hold together", min_length=1)


class DocumentPart(Part):
    """What an engineer, a label, a contract, a supplier or a visitor asks."""

    at_most_one = (("criteria", "any_of"),)

    id: Slug = _says("short name that tasks refer to")
    kind: DocumentKind = _says("what kind of document it is")
    for_task: Annotated[list[TaskId], Listed] = _says("tasks it holds for", default=[])
    criteria: list[CriterionPart] = _says("conditions that hold together", default=[])
    any_of: list[AlternativePart] = _says("ways of which one is enough", default=[])
    product: Text | None = _says("the product", default=None)
    supplier_of: Supply | None = _says("what is supplied", default=None)
    role: Role | None = _says("who comes or decides", default=None)
    slots: list[DayOrMoment] = _says("times to choose from", default=[])
    other_slots: list[DayOrMoment] = _says("other times they offer", default=[])
    booked: DayOrMoment | None = _says("the booked time", default=None)
    confirm_by: Moment | None = _says("last moment to confirm", default=None)
    confirm_days_before: int | None = _says("confirm so many days before", ge=0, default=None)
    confirm_at: ClockOrMoment | None = _says("and until this time of day", default=None)
    free_release_until: Moment | None = _says("given back without charge until", default=None)
    closes: ClockOrMoment | None = _says("when they close", default=None)
    notice_h: Hours | None = _says("hours of notice they want", default=None)
    hours: object = _says("hours in which they come, kept as written", default=None)
    delivery: DayOrMoment | None = _says("when it comes", default=None)
    delivery_was: DayOrMoment | None = _says("when it was to come before", default=None)
    available_from: DayOrMoment | None = _says("to be had from", default=None)
    cost_usd: float | None = _says("cost in dollars", ge=0, default=None)
    cost_for_d: float | None = _says("days that cost is for", gt=0, default=None)
    month: Annotated[str, Field(pattern=r"^\d{4}-\d{2}$")] | None = _says(
        "month such as 2026-10", default=None
    )
    anticipated_days: int | None = _says("weather days foreseen", ge=0, le=31, default=None)
    counted_when_lost_share_at_least: Share | None = _says(
        "share of the day that must be lost for it to count", default=None
    )
    notice_days: int | None = _says("days in which notice must be given", ge=0, default=None)
    workdays: list[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]] = _says(
        "days that count as workdays", default=[]
    )
    money_for_time: bool | None = _says("does lost time bring money", default=None)
    site_gauge_approved: bool | None = _says("does the site's own gauge count", default=None)
    priced_cold_down_to_f: float | None = _says("cold that the price foresees", default=None)
    priced_cold_at: ClockOrMoment | None = _says("time of day of that cold", default=None)


class OverridePart(Part):
    """A limit set for this job; printed wherever it decides."""

    row: Text = _says("id of the rule book's row")
    task: TaskId | None = _says("the task; left out: all of the row's work type", default=None)
    bands: list[dict[str, object]] = _says("the bands in its place, low to high", min_length=1)
    who: Text = _says("who allows it")
    why: Text = _says("why")


class ConfirmedPart(Part):
    """A row of the book that a person has compared with the adopted edition."""

    row: Text = _says("id of the rule book's row")
    who: Text = _says("who compared it")
    on: Day = _says("when")
    edition: Text = _says("the edition compared with")


class DaylightPart(Part):
    """Sunrise and sunset of one day, where they are known better than computed."""

    day: Day = _says("the day", alias="date")
    sunrise: ClockOrMoment | None = _says("sunrise, local time", default=None)
    sunset: ClockOrMoment | None = _says("sunset, local time", default=None)


class WhatIfPart(Part):
    """What a measure would do to a quantity."""

    id: Slug = _says("short name")
    measure: Measure = _says("the measure")
    start: Moment | None = _says("from when it works", alias="from", default=None)
    quantity: Quantity = _says("what it changes")
    taken_as: TakenAs = _says("how the value is taken", default="value")
    value: float = _says("the value with it")
    value_until_then: float | None = _says("the value before it works", default=None)
    unit: Unit = _says("unit of the value")
    cost_usd: float | None = _says("cost in dollars", ge=0, default=None)
    cost_below_waiting: bool | None = _says("is it cheaper than to wait", default=None)


class SourcePart(Part):
    """A weather source; the colder, wetter and windier of several is planned on."""

    exactly_one = (("source", "file"),)

    source: Source | None = _says(
        "the National Weather Service, or a public gridded model", default=None
    )
    file: Text | None = _says("a weather file beside the job file", default=None)
    use: Literal["always", "fallback"] = _says(
        "fallback: asked only where none before it gives a fresh forecast", default="always"
    )
    age_limit_h: float | None = _says(
        "hours after which it is not known; else the source's own", gt=0, le=240, default=None
    )
    cells: Literal["nearest", "bilinear"] = _says(
        "of a grid: the nearest cell, or between the four around the site", default="nearest"
    )
    lapse_rate_c_per_km: float | None = _says(
        "how much colder the air is by height above the cell; not corrected where left out",
        ge=0,
        le=12,
        default=None,
    )


class ObservedPart(Part):
    """What fills past hours that rules look back on."""

    file: Text | None = _says(
        "hours or a logger's export from the site, beside the job file", default=None
    )
    stations: int = _says(
        "how many of the nearest stations of the national service; 0: none", ge=0, le=8, default=3
    )
    within_km: float = _says("stations further off are not asked", gt=0, le=300, default=60.0)


class RentedPart(Part):
    """Something paid by the day: cribbing, steel, jacks, fence, heaters."""

    id: Slug = _says("short name: cribbing, steel, jacks")
    for_tasks: Annotated[list[TaskId], Listed] = _says(
        "paid from the start of the first of these to the end of the last", min_length=1
    )
    per_day: Price = _says("cost of a day")
    since: DayOrMoment | None = _says("on site and paid since then", default=None)


class DailyCostPart(Part):
    """Money that each day costs until the house is closed in."""

    what: Text = _says("what for: room elsewhere, interest, fence")
    per_day: Price = _says("cost of a day")


class EnclosurePart(Part):
    """What a heated enclosure would cost that is not offered yet."""

    per_day: Price = _says("cost of a day")
    fuel_per_day: Price = _says("fuel of a day; 0 where the cost of a day has it in")
    once: Price = _says("bringing it, building it up, taking it away", default=0.0)


class ClosingPart(Part):
    """What covering the openings for the time would cost."""

    once: Price | None = _says("panels and their setting", default=None)
    per_day: Price | None = _says("cost of a day until close-in", default=None)

    @classmethod
    def clashes(cls, given: Mapping[str, object]) -> dict[str, str]:
        """Check that there is a price: nothing said is not nothing paid."""
        if given.get("once") is None and given.get("per_day") is None:
            return {"once": "give once or per_day; 0 if it costs nothing"}
        return {}


class CostsPart(Part):
    """The job's own prices; what is left out is not counted, and named so."""

    currency: Annotated[Text, Field(max_length=5)] = _says(
        "sign or letters before amounts", default="$"
    )
    rented: list[RentedPart] = _says("what is paid by the day", default=[])
    heat_per_kwh: float | None = _says(
        "price of heat, fuel and heater together, for a kWh", ge=0, le=1e4, default=None
    )
    daily: list[DailyCostPart] = _says("what each day costs until close-in", default=[])
    heated_enclosure: EnclosurePart | None = _says(
        "a heated enclosure over fresh work, where measures do not offer one yet", default=None
    )
    temporary_closing: ClosingPart | None = _says(
        "openings covered with panels until close-in", default=None
    )


class OnCallPart(Part):
    """Who is called when something goes wrong at night or on a day off."""

    name: Text = _says("who it is")
    phone: Text = _says("number that is answered at night")
    evenings: list[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]] = _says(
        "evenings from which it is theirs; none named: every one", default=[]
    )


def _format(mark: int) -> int:
    if mark != 1:
        raise ValueError("this version reads format 1")
    return mark


class JobPart(Part):
    """A whole job file."""

    closein: Annotated[int, AfterValidator(_format)] = _says(
        "the format, `closein: 1`", json_schema_extra={"const": 1}
    )
    id: Slug | None = _says(
        "short name the log is filed under; else made of the name", default=None
    )
    name: Text = _says("name of the job")
    site: SitePart = _says("where the job stands")
    units: Literal["us", "si"] = _says("units that people read: us or si")
    book: Text = _says("edition of the rule book", default="tms602-2016")
    confidence: float = _says("chance to plan for, 0.9 is 90 %", ge=0.5, le=0.999, default=0.9)
    season_end: Day | None = _says("last day of the season", default=None)
    hours: Week = _says("working hours by weekday", min_length=1)
    days_off: list[Day] = _says("days nobody works", default=[])
    exceptions: dict[Day, ShiftHours] = _says("hours of single days", default={})
    holidays: Text | None = _says("country, or country and state: US-NY", default=None)
    crews: list[CrewPart] = _says("who works", default=[])
    sources: list[Annotated[SourcePart, OrJust("source")]] = _says(
        "where the weather comes from, the most trusted first; else nws", max_length=8, default=[]
    )
    observed: ObservedPart = _says("what fills past hours", default_factory=ObservedPart)
    measures: MeasuresPart = _says("measures", default_factory=MeasuresPart)
    orders: list[OrderPart] = _says("what is bought, hired or booked", default=[])
    built_from: dict[AnswerKey, AnswerText] = _says(
        "answers that `closein new` made it of", default={}
    )
    tasks: list[TaskPart] = _says("the work, up to 1000 tasks", min_length=1, max_length=1000)
    documents: list[DocumentPart] = _says("what others ask", default=[])
    overrides: list[OverridePart] = _says("limits set for this job", default=[])
    confirmed: list[ConfirmedPart] = _says("rows a person has checked", default=[])
    exposure: ExposurePart = _says("limits of the open house", default_factory=ExposurePart)
    costs: CostsPart = _says("prices", default_factory=CostsPart)
    stop_under: Share | None = _says(
        "chance of closing in under which work stops for the winter, 0 to 1", default=None
    )
    on_call: list[OnCallPart] = _says("who is called at night and on days off", default=[])
    daylight: list[DaylightPart] = _says("sunrise and sunset", default=[])
    what_if: list[WhatIfPart] = _says("what measures would do", default=[])
    delivery: list[Annotated[RecipientPart, OrJust("mail", PATTERN)]] = _says(
        "who gets messages; a bare mail address gets everything", max_length=50, default=[]
    )
    messages: MessagesPart = _says("when messages go out", default_factory=MessagesPart)
