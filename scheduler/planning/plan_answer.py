"""The plan as an answer: when each task stands, what it rests on, the date and the margin."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from scheduler.planning.closein_date import CloseInAnswer
from scheduler.planning.closing_work import FitHours
from scheduler.planning.envelope import OpenPart
from scheduler.planning.plan_money import Money
from scheduler.planning.winter_stop import WinterStop

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
    done: bool = False


@dataclass(frozen=True, slots=True)
class Lever:
    """One thing that would buy chance: what it is, what it does to the date, what it costs."""

    what: str
    chance: float | None  # of closing in before the first breach, with it
    chance_gain: float | None
    margin_days: int | None
    cost: float | None = None  # by the job's own prices; None: not priced


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
    middle_close_in: datetime | None = None
    late_close_in: datetime | None = None
    forecast_until: datetime | None = None
    notes: tuple[str, ...] = ()
    open_parts: tuple[OpenPart, ...] = ()  # of the envelope, since and until when
    fit_hours: tuple[FitHours, ...] = ()  # left this season for each task that closes the house
    levers: tuple[Lever, ...] = ()  # the one that buys most first
    money: Money | None = None  # of the rest of the job and of a day's delay; None: no plan
    stop: WinterStop | None = None  # how to stop safely for the winter
