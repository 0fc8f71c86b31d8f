"""What the sheets for paper are made of, as of a moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from rules.book import Book
from scheduler.planning.contract.weather_day_record import WeatherDays
from scheduler.planning.model.answer import TaskAnswer
from scheduler.planning.model.log import Progress
from scheduler.planning.plan.plan_answer import PlanAnswer
from scheduler.planning.reports.order_dates import OrderDates
from scheduler.planning.strength.curing_sheet import SheetLine


@dataclass(frozen=True, slots=True)
class TemperatureRecord:
    """The temperatures of one fresh work, read or still to be read."""

    name: str
    placed: datetime  # UTC
    until: datetime
    lines: tuple[SheetLine, ...]


@dataclass(frozen=True, slots=True)
class SheetParts:
    """Everything the sheets say."""

    at: datetime  # UTC
    forecast_age_h: float | None
    book: Book
    answers: tuple[TaskAnswer, ...]
    plan: PlanAnswer
    progress: Progress
    orders: OrderDates
    records: tuple[TemperatureRecord, ...]
    lost: tuple[WeatherDays, ...]
