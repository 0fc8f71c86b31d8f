"""A small made job, a made forecast for any moment, and a service over both with a moved clock."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from rules.errors import WeatherUnavailable
from scheduler.interfaces.messages import Message, Reply, Sent, Watched
from scheduler.interfaces.protocols import Sender
from scheduler.runs.desk import Desk, Incoming, RawWeather
from scheduler.service.desks import Service
from scheduler.startup_service import open_service, watch, watched_desk
from tests.faults.clocks import Ticking

HOURS = 72
JOB = """
closein: 1
name: {name}
site: {{name: North end, latitude: 44.1, longitude: -73.2, elevation_ft: 320,
  time_zone: America/New_York, exposure: open}}
units: us
hours: {{mon-sun: "07:00-16:00"}}
season_end: {season_end}
crews:
  - {{id: masons, name: Block crew, size: 1}}
measures: {{on_hand: [insulating_blankets, weather_resistive_cover, cover_wall_top]}}
sources: [gfs]
tasks:
  - {{id: lay, name: {task}, work_type: lay_block, duration_h: 6, crew: masons}}
  - {{id: seal, name: Seal the joints, work_type: seal_joints, duration_h: 4, crew: masons,
     after: [lay], closes: [joints]}}
delivery: {delivery}
messages: {{evening: "{evening}"}}
"""


def made_forecast(now: datetime, *, air_c: float = 12.0, age_limit_h: float = 12.0) -> bytes:
    """Return three days of hours from the last whole hour, issued then."""
    start = now.replace(minute=0, second=0, microsecond=0)
    swing = [4.0 * math.sin((hour - 10) / 24 * 2 * math.pi) for hour in range(HOURS)]
    columns = {
        "air_temperature": {"unit": "degC", "values": [round(air_c + s, 1) for s in swing]},
        "dew_point_temperature": {"unit": "degC", "values": air_c - 8.0},
        "relative_humidity": {"unit": "%", "values": 60.0},
        "wind_speed": {"unit": "m s-1", "values": 2.0},
        "wind_speed_of_gust": {"unit": "m s-1", "values": 4.0},
        "precipitation_amount": {"unit": "mm", "values": 0.0},
        "precipitation_probability": {"unit": "%", "values": 0.0},
        "cloud_area_fraction": {"unit": "%", "values": 50.0},
    }
    told = {
        "format": "closein-weather/1",
        "source": "made",
        "issued_at": start.isoformat(),
        "age_limit_h": age_limit_h,
        "hours": {"start": start.isoformat(), "step_h": 1, "hours": HOURS, "columns": columns},
    }
    return json.dumps(told).encode()


def made_job(
    folder: Path,
    *,
    name: str = "North end lift",
    task: str = "Lay block",
    evening: str = "off",
    season_end: str = "2026-12-31",
    delivery: str = "[builder@example.org]",
    more: str = "",
) -> Path:
    path = folder / f"{name.replace(' ', '-')}.yaml"
    text = JOB.format(
        name=name, task=task, evening=evening, season_end=season_end, delivery=delivery
    )
    path.write_text(text + more, encoding="utf-8")
    return path


@dataclass
class Postman:
    """Takes every message and remembers it; a small stand-in for a mail server."""

    took: list[tuple[Message, bytes]] = field(default_factory=list)
    reply: Reply = Reply.ACCEPTED

    def send(self, message: Message, content: bytes, *, begin) -> Sent:  # type: ignore[no-untyped-def]
        if not begin():
            return Sent(Reply.ANOTHERS, "")
        self.took.append((message, content))
        return Sent(self.reply, "as told")

    def check(self) -> str:
        return ""


STEP = timedelta(microseconds=137_931)  # a clock that is read twice tells two moments


@dataclass
class Hand:
    """A clock set by hand that runs on from there, with fractions of a second, as real ones do."""

    now: datetime

    def __call__(self) -> datetime:
        self.now += STEP
        return self.now


@dataclass
class Made:
    """A service whose weather is made, whose clock is moved by hand."""

    service: Service
    clock: Hand | Ticking
    post: Postman
    air_c: float = 12.0
    age_limit_h: float = 12.0
    fails: float = 0.0  # share of calls of a source that fail
    chance: random.Random = field(default_factory=lambda: random.Random(20261125))
    calls: list[bool] = field(default_factory=list)  # whether each call was answered

    def weather(self, desk: Desk) -> Incoming | None:
        self.calls.append(self.chance.random() >= self.fails)
        if not self.calls[-1]:
            return Incoming((), (str(WeatherUnavailable("gfs: no answer")),))
        raw = made_forecast(self.clock.now, air_c=self.air_c, age_limit_h=self.age_limit_h)
        return Incoming((RawWeather(raw, "gfs", self.clock.now),))


def made_service(
    store: Path,
    job: Path,
    start: datetime,
    *,
    senders: Mapping[str, Sender] | None = None,
    clock: Hand | Ticking | None = None,
) -> Made:
    clock, post = clock or Hand(start), Postman()
    opened = open_service(str(store), clock=clock)
    made = Made(opened, clock, post)

    def desk(watched: Watched, at: datetime, weather: str) -> Desk:
        own = watched_desk(watched, opened.store, at, "kept")
        own = replace(own, scenarios=10)
        return own if weather == "kept" else replace(own, weather=lambda: made.weather(own))

    made.service = replace(
        opened, desk=desk, senders=senders or {"mail": post}, sender="closein@example.org"
    )
    watch(made.service, (job,), weather="job", climate="")
    return made


def utc(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=UTC)


HOUR = timedelta(hours=1)
