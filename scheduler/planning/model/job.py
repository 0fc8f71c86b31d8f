"""The job as planning sees it: SI, UTC, frozen. ``scheduler/jobfile`` makes it from YAML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from enum import StrEnum
from typing import Final

from rules.frost import Soil

SOURCES: Final = (  # of weather, by the names that job files and commands give them
    "nws", "hrrr", "hrrr-alaska", "hrrr-quarter-hours", "nbm", "nbm-alaska", "nbm-hawaii",
    "nbm-puerto-rico", "rap", "rrfs", "nam-nest", "gfs", "gefs", "gefs-mean", "ecmwf",
    "ecmwf-ensemble", "ecmwf-aifs",
)  # fmt: skip
# No crew mixes and sets up for the last hour of a shift; common practice, no source.
LEAST_PIECE_H: Final = 2.0


class State(StrEnum):
    """How far a task is, as the job file says; the progress log wins over it."""

    TO_DO = "to_do"
    UNDER_WAY = "under_way"
    DONE = "done"


class LinkKind(StrEnum):
    """What the successor waits for."""

    FINISH_START = "finish_start"
    START_START = "start_start"


@dataclass(frozen=True, slots=True)
class Site:
    """Where the job stands."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    time_zone: str  # IANA name
    exposure: str = "open"  # open, sheltered, exposed


@dataclass(frozen=True, slots=True)
class Shift:
    """Working hours of one weekday, local time; ``start == end`` means a day off."""

    start: time
    end: time


@dataclass(frozen=True, slots=True)
class Calendar:
    """Working hours by weekday (Monday first), days off, and days worked by exception."""

    week: tuple[Shift | None, ...]  # seven entries, None is a day off
    days_off: frozenset[date] = frozenset()
    exceptions: Mapping[date, Shift | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Crew:
    """People who work together; ``size`` of them at the same time."""

    id: str
    name: str
    size: int = 1
    calendar: Calendar | None = None  # None: the job's own
    cost_per_hour: float | None = None
    another_per_hour: float | None = None  # one more such crew, an hour or a day that it works
    another_per_day: float | None = None
    saturday_extra_per_hour: float | None = None  # more than an hour of the week costs
    overtime_extra_per_hour: float | None = None


@dataclass(frozen=True, slots=True)
class MeasureOffer:
    """A measure that is not on site but can be had."""

    measure: str
    notice_h: float
    cost_per_day: float | None = None
    from_whom: str = ""


@dataclass(frozen=True, slots=True)
class StrengthGate:
    """A link that opens when the predecessor's element has reached a share of its strength."""

    share: float | None  # of the specified 28-day strength, 0 to 1; None: as the book asks
    wait_h: float = 0.0  # the rule's or engineer's least waiting time from finish
    purpose: str = ""  # uniform_load, concentrated_load, lower_house, take_block, ...
    criterion: Criterion | None = None  # the engineer's own, beside the share
    allowed_by: str = ""  # who allows the criterion in place of the share, not beside it


@dataclass(frozen=True, slots=True)
class Link:
    """A predecessor."""

    task: str
    kind: LinkKind = LinkKind.FINISH_START
    wait_h: float = 0.0  # elapsed hours after the predecessor
    wait_working_h: float = 0.0  # hours of the job's shifts after the predecessor
    within_h: float | None = None  # start not later than this many hours after it
    gate: StrengthGate | None = None

    @property
    def least_wait_h(self) -> float:
        """Return the longest of its waits, a gate's least one too; strength itself not in it."""
        gate_h = 0.0 if self.gate is None else self.gate.wait_h
        return max(self.wait_h, self.wait_working_h, gate_h)


@dataclass(frozen=True, slots=True)
class Appointment:
    """A fixed date with somebody outside the job."""

    who: str  # role or firm
    start: datetime  # UTC
    notice_h: float = 0.0  # they want to know of a move this long before
    free_until: datetime | None = None  # UTC; moved without charge until then
    slots: tuple[datetime, ...] = ()  # other times they offer, UTC
    late_move_fee: float | None = None  # what a move costs after ``free_until``
    other_date_fee: float | None = None  # what a date costs that they do not offer, once


@dataclass(frozen=True, slots=True)
class Hold:
    """What only a person of one of these roles may release."""

    by: tuple[str, ...]  # any of the roles
    needs: str  # what they need to see


@dataclass(frozen=True, slots=True)
class Task:
    """One piece of work."""

    id: str
    name: str
    work_type: str
    duration_h: float  # crew-hours already divided by the crew: hours of shift it takes
    crew: tuple[str, ...] = ()
    after: tuple[Link, ...] = ()
    may_pause: bool = False  # may it stop overnight and go on next day
    appointment: Appointment | None = None
    not_before: datetime | None = None  # UTC
    opens: tuple[str, ...] = ()  # parts of the envelope
    closes: tuple[str, ...] = ()
    state: State = State.TO_DO
    hours_left: float | None = None
    started_at: datetime | None = None
    finished_at: datetime | None = None
    booked: datetime | None = None  # UTC; asked or booked start
    until: datetime | None = None  # UTC; asked or booked end
    offered: datetime | None = None
    slots: tuple[datetime, ...] = ()  # offered starts, UTC
    days: tuple[date, ...] = ()  # offered local days
    place: str = ""  # e.g. south, north
    label: str = ""  # id of the document whose label governs
    beside: str = ""  # element the work is beside, e.g. wall
    load: str = ""  # uniform, concentrated
    holds: tuple[Hold, ...] = ()
    element: Mapping[str, object] = field(default_factory=dict)  # grouted, cement, section_m, ...
    quantity: float | None = None
    quantity_unit: str = ""
    set_up_h: float = 0.0  # before each piece of work, inside the shift
    cover_up_h: float = 0.0  # after each piece of work, inside the shift
    least_piece_h: float = LEAST_PIECE_H  # a shorter piece is not worth beginning
    apart_from: tuple[str, ...] = ()  # tasks that must not go on at the same time
    daylight_only: bool = False  # not under lights
    sooner_fee: float | None = None  # what it costs once to have its delivery a week sooner


@dataclass(frozen=True, slots=True)
class RentedEquipment:
    """Equipment paid by the day while any of its tasks is ahead or under way."""

    id: str
    tasks: tuple[str, ...]
    cost_per_day: float
    since: datetime | None = None  # UTC; on site since then, None: comes with the first task


@dataclass(frozen=True, slots=True)
class Criterion:
    """One condition of a document: a quantity and its bound, in the document's own unit."""

    quantity: str
    unit: str
    at_least: float | None = None
    above: float | None = None
    at_most: float | None = None
    below: float | None = None
    equals: object | None = None
    for_h: float | None = None  # must hold this long after (or, for degree-hours, in sum)
    specimens: int | None = None
    datum: float | None = None


@dataclass(frozen=True, slots=True)
class Alternative:
    """Criteria that hold together; ``with_measure`` names what the alternative needs."""

    criteria: tuple[Criterion, ...]
    with_measure: str = ""


@dataclass(frozen=True, slots=True)
class Document:
    """An engineer's note, specification, label, contract, supplier's or visitor's terms."""

    id: str
    kind: str  # engineer, specification, label, contract, supplier, appointment
    for_tasks: tuple[str, ...] = ()
    alternatives: tuple[Alternative, ...] = ()  # any of them; criteria inside hold together
    terms: Mapping[str, object] = field(default_factory=dict)  # the other keys, moments as UTC


@dataclass(frozen=True, slots=True)
class Override:
    """A limit set for this job: whose word it is and why; printed wherever it decides."""

    row: str  # id of the book's row
    task: str  # "" for every task of the row's work type
    bands: tuple[Mapping[str, object], ...]
    who: str
    why: str


@dataclass(frozen=True, slots=True)
class Confirmation:
    """A row marked to be verified that a person has compared with the adopted edition."""

    row: str
    who: str
    on: date
    edition: str


@dataclass(frozen=True, slots=True)
class Daylight:
    """Sunrise and sunset of one local day, as the job states them; else they are computed."""

    day: date
    sunrise: datetime | None = None  # UTC
    sunset: datetime | None = None  # UTC


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What a measure would do to a quantity, as the job states it: heat, pump, overtime."""

    id: str
    measure: str
    quantity: str
    value: float
    unit: str
    start: datetime | None = None  # UTC; from when the measure works
    taken_as: str = "value"
    value_until_then: float | None = None
    cost: float | None = None
    cost_below_waiting: bool | None = None


@dataclass(frozen=True, slots=True)
class OpeningsToWind:
    """Openings the wind blows through, for a house whose heat is reckoned from them."""

    area_m2: float  # free area on the windward side
    heat_capacity_wh_per_k: float  # of the house
    closed_time_constant_h: float


@dataclass(frozen=True, slots=True)
class WoodLimits:
    """What deck, sheathing, framing and insulation may take of rain and damp; None: not judged."""

    start_pct: float = 15.0  # moisture now, best from a meter
    at_most_pct: float | None = None
    rain_inside_mm: float | None = None  # water through the openings in all
    mould_index: float | None = None
    sensitivity: str = "very_sensitive"
    faces_deg: tuple[float, ...] = ()  # where the openings look; (): every wind blows in
    open_to_sky: bool = False  # no roof over the deck


@dataclass(frozen=True, slots=True)
class GroundLimits:
    """Frost under bare or shallow footings and inside an open basement."""

    frost_free_m: float  # from the surface down to the underside of the footing
    soil: Soil = field(default_factory=Soil)
    blanket_m2k_w: float = 0.0
    snow_counts: bool = False


@dataclass(frozen=True, slots=True)
class GustLimits:
    """Gusts that the engineer allows on the raised house, and the maker on a covering."""

    raised_house_ms: float | None = None
    covers_ms: float | None = None


@dataclass(frozen=True, slots=True)
class CoverLimit:
    """A covering that sun wears out: building paper, deck, temporary covers."""

    name: str
    since: date
    days: int  # in the open, as its maker allows


@dataclass(frozen=True, slots=True)
class ExposureLimits:
    """How much weather the open house may take; the job may set each."""

    indoor_freezing_c: float = 0.0
    time_constant_h: float = 10.0  # of the raised, open house; 5 to 15 h, from memory
    indoor_start_c: float = 10.0
    heat_w_per_k: float = 0.0  # heat that the open house loses for each kelvin
    heat_w: float = 0.0  # given by heaters that run while it is open
    openings: OpeningsToWind | None = None  # in place of the time constant
    water_lines_hang: bool = False  # filled water lines in the open air under or in the house
    wood: WoodLimits | None = None
    ground: GroundLimits | None = None
    gusts: GustLimits = GustLimits()
    covers: tuple[CoverLimit, ...] = ()


@dataclass(frozen=True, slots=True)
class Order:
    """Something bought, hired or booked: how much, for which task, how long it takes to come."""

    what: str
    amount: float
    unit: str
    for_task: str
    lead_days: int
    from_whom: str = ""


@dataclass(frozen=True, slots=True)
class SourceChoice:
    """A weather source of the job; a job's list stands in the order they are trusted."""

    name: str  # nws, a public model, or a file's name
    file: str = ""  # path of a file, beside the job file
    fallback: bool = False  # asked only where none before it gives a fresh forecast
    age_limit_h: float | None = None  # older is not known; None: the source's own limit
    cells: str = "nearest"  # of a grid: nearest, or bilinear between the four around the site
    lapse_rate_c_per_km: float | None = None  # None: the cell's temperature as it is


@dataclass(frozen=True, slots=True)
class ObservedChoice:
    """What fills the hours that are past: the site's own thermometer or gauge, then stations."""

    file: str = ""  # beside the job file
    stations: int = 3  # so many of the nearest; 0: none is asked
    within_km: float = 60.0


@dataclass(frozen=True, slots=True)
class OnCall:
    """Who is called when something goes wrong at night or on a day off."""

    name: str
    phone: str
    weekdays: tuple[int, ...] = ()  # evenings from which it is theirs, Monday 0; (): every one


@dataclass(frozen=True, slots=True)
class DailyCost:
    """Money that each day costs until the house is closed in: a room elsewhere, interest, ..."""

    what: str
    cost_per_day: float


@dataclass(frozen=True, slots=True)
class Hire:
    """What something that is not hired yet would cost."""

    per_day: float = 0.0
    fuel_per_day: float = 0.0
    once: float = 0.0  # bringing, building up, taking away


@dataclass(frozen=True, slots=True)
class Costs:
    """The job's own prices; what it does not say is not counted, and named so."""

    currency: str = "$"
    heat_per_kwh: float | None = None  # fuel and heater together
    daily: tuple[DailyCost, ...] = ()
    heated_enclosure: Hire | None = None  # over fresh work, where none is offered yet
    temporary_closing: Hire | None = None  # openings covered until close-in


@dataclass(frozen=True, slots=True)
class Recipient:
    """A person who gets messages."""

    address: str  # mail address, or telephone number
    channel: str = "mail"  # mail, or text: a short text by a webhook
    gets: str = "whole"  # whole, crew, owner, inspector
    crew: str = ""  # of crew, its id
    short: bool = False  # one line


@dataclass(frozen=True, slots=True)
class Rhythm:
    """When messages go out, in the site's own time. Times are common practice, no source."""

    morning: time = time(5, 30)
    evening: time | None = time(16, 30)  # None: no look at tomorrow
    quiet_from: time = time(20)  # from then on only what cannot wait
    quiet_until: time = time(5)
    moved_days: int = 2  # by which the latest safe date has moved before that is told


@dataclass(frozen=True, slots=True)
class Job:
    """A site, its tasks, crews, hours and protections."""

    name: str
    site: Site
    units: str  # us or si: what people read
    book: str  # rule book edition
    calendar: Calendar
    tasks: tuple[Task, ...]
    crews: tuple[Crew, ...] = ()
    on_hand: tuple[str, ...] = ()  # measures on site
    can_be_had: tuple[MeasureOffer, ...] = ()
    confidence: float = 0.9
    season_end: date | None = None
    documents: tuple[Document, ...] = ()
    overrides: tuple[Override, ...] = ()
    confirmations: tuple[Confirmation, ...] = ()
    exposure: ExposureLimits = ExposureLimits()
    delivery: tuple[Recipient, ...] = ()  # who gets messages
    messages: Rhythm = Rhythm()
    rented: tuple[RentedEquipment, ...] = ()
    daylight: tuple[Daylight, ...] = ()
    what_ifs: tuple[WhatIf, ...] = ()
    orders: tuple[Order, ...] = ()
    built_from: Mapping[str, str] = field(default_factory=dict)  # answers the job was made of
    sources: tuple[SourceChoice, ...] = ()  # of weather, the most trusted first; (): nws
    observed: ObservedChoice = ObservedChoice()
    on_call: tuple[OnCall, ...] = ()
    costs: Costs = Costs()
    stop_under: float | None = None  # chance of closing in under which work stops for the winter
    id: str = ""  # what the store files the job's log under

    def task(self, task_id: str) -> Task:
        """Return the task of that id; KeyError where there is none."""
        for task in self.tasks:
            if task.id == task_id:
                return task
        raise KeyError(task_id)
