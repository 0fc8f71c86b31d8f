"""What the sheets for paper are made of, as of a moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from rules.book import Book
from scheduler.planning.answer import TaskAnswer
from scheduler.planning.curing_sheet import SheetLine
from scheduler.planning.log import Progress
from scheduler.planning.order_dates import OrderDates
from scheduler.planning.plan_answer import PlanAnswer
from scheduler.planning.weather_day_record import WeatherDays


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
