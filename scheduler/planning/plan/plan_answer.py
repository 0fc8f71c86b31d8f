"""The plan as an answer: when each task stands, what it rests on, the date and the margin."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from scheduler.planning.model.answer import HoldLine
from scheduler.planning.model.envelope import OpenPart
from scheduler.planning.money.money import CostLine
from scheduler.planning.money.plan_money import Money
from scheduler.planning.open_house.closein_date import CloseInAnswer
from scheduler.planning.open_house.closing_work import FitHours
from scheduler.planning.open_house.winter_stop import WinterStop

PLAN_VERSION = "closein-plan/1"


class Basis(StrEnum):
    """What the weather of a planned task comes from."""

    FORECAST = "forecast"
    CLIMATE = "climate"  # past years: the middle of them decides how long to wait
    ASSUMED_FIT = "assumed_fit"  # nothing is known of these days: every shift hour is taken as fit


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One task in the plan."""

    id: str
    name: str
    work_type: str
    start: datetime | None  # UTC; None: no place for it was found
    finish: datetime | None
    basis: Basis | None
    crew: tuple[str, ...] = ()
    appointment: datetime | None = None  # as agreed, UTC
    who: str = ""  # with whom
    kept: bool | None = None  # does the plan keep the appointment
    early: datetime | None = None  # finish in the 10th, 50th and 90th of 100 scenarios
    middle: datetime | None = None
    late: datetime | None = None
    chance: float | None = None  # that its appointment holds
    years_kept: int | None = None  # in so many past years, where they are too few for a chance
    critical: float | None = None  # share of scenarios in which close-in waits for it
    done: bool = False
    holds: tuple[HoldLine, ...] = ()  # released by nobody yet: planned as if they were


@dataclass(frozen=True, slots=True)
class Lever:
    """One thing that would buy chance: what it is, what it does to the date, what it costs."""

    what: str
    chance: float | None  # of closing in before the first breach, with it
    chance_gain: float | None
    margin_days: int | None
    cost: float | None = None  # by the job's own prices; None: a price is missing
    days_gained: float | None = None  # of the middle close-in; None: half never close in
    steps: tuple[str, ...] = ()  # crew, saturday, overtime, date, sooner, enclosure, closing
    price: tuple[CostLine, ...] = ()  # what the cost is made of
    not_priced: tuple[str, ...] = ()  # keys of the job file whose price is missing
    cost_per_day_gained: float | None = None  # None: no price, or no day gained
    saved: tuple[CostLine, ...] = ()  # rents, heat and daily costs no longer paid; not in cost
    saves: float = 0.0  # their sum; below zero where more is paid


@dataclass(frozen=True, slots=True)
class GateLine:
    """One strength gate: when a task may begin on fresh work, by what the wall model says."""

    task: str
    after: str  # what it waits for
    purpose: str
    opens: datetime | None  # UTC; None: not within the season, or the work would freeze
    optimistic: datetime | None  # by the fast model, to be shown beside it
    own: bool  # by the engineer's own bound


@dataclass(frozen=True, slots=True)
class FreshLine:
    """Placed grout or concrete: from when it resists one freeze."""

    task: str
    finish: datetime | None
    freeze_safe_at: datetime | None  # UTC; None: not within what is known
    to_be_bought: bool  # survives only under a cover that is not on hand
    froze: bool = False  # before it could resist: the engineer decides


@dataclass(frozen=True, slots=True)
class LatestLine:
    """How late a task may begin and keep the chance of closing in safely."""

    task: str
    latest: datetime | None  # UTC; None: any later start lowers the chance
    room_days: int  # whole days past its planned start


@dataclass(frozen=True, slots=True)
class CollisionLine:
    """One of the requirements that cannot all be met, and the close-in day without it."""

    kind: str  # appointment, slots, not_before, weather, wait, in_time, crew, season
    task: str  # what it binds; the crew for a crew
    other: str  # the task it waits for, "" where none
    at: datetime | None  # the appointment, or the earliest start allowed
    close_in: datetime | None  # if only this one is let go; None: others collide still


@dataclass(frozen=True, slots=True)
class PlanAnswer:
    """The rest of the job, rebuilt from now."""

    job: str
    at: datetime
    status: str  # proven, bounded, infeasible, not_found
    proof: str  # what proves it, or what stands in the way
    tasks: tuple[PlanLine, ...]
    close_in: datetime | None  # UTC
    close_in_basis: Basis | None
    date: CloseInAnswer | None  # None: no past years were given
    early_close_in: datetime | None = None  # in the 10th, 50th and 90th of 100 scenarios
    middle_close_in: datetime | None = None
    late_close_in: datetime | None = None
    forecast_until: datetime | None = None
    gates: tuple[GateLine, ...] = ()
    fresh: tuple[FreshLine, ...] = ()
    latest: tuple[LatestLine, ...] = ()  # least room first
    latest_keeps: float | None = None  # the chance that these starts keep
    collisions: tuple[CollisionLine, ...] = ()  # why there is no plan; the least set found
    notes: tuple[str, ...] = ()
    open_parts: tuple[OpenPart, ...] = ()  # of the envelope, since and until when
    fit_hours: tuple[FitHours, ...] = ()  # left this season for each task that closes the house
    levers: tuple[Lever, ...] = ()  # the one that buys most chance first
    not_tried: tuple[str, ...] = ()  # what the job prices and no lever could be made of, and why
    money: Money | None = None  # of the rest of the job and of a day's delay; None: no plan
    stop: WinterStop | None = None  # how to stop safely for the winter
    stale: bool = False  # made on a forecast that is no ground for a go

    @property
    def is_sure(self) -> bool:
        """Tell whether a booking may move for it: there is a plan, on a forecast that counts."""
        return self.status in {"proven", "bounded"} and not self.stale
