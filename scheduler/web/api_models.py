"""What ``/v1/`` says and takes, as its OpenAPI description has it."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from rules.text import LINE

NUMBER = Field(ge=-1e6, le=1e6, allow_inf_nan=False)


class Told(BaseModel):
    """Fields are as named and nothing else."""

    model_config = ConfigDict(extra="forbid")


class Wrong(Told):
    """Why a request was not done."""

    wrong: list[str] = Field(description="one line a fault")


class JobLine(Told):
    """A job that may be asked about."""

    job: str
    name: str | None = Field(description="null: no morning was made yet")
    made: datetime | None = Field(description="when its newest answer was made, UTC")
    good_until: datetime | None = Field(description="from then on nothing of it says go, UTC")
    is_old: bool | None


class Made(Told):
    """When an answer was made, and whether it still stands."""

    job: str
    name: str
    time_zone: str
    answer: int = Field(description="number of the answer in the store")
    made: datetime
    good_until: datetime
    is_old: bool = Field(description="true: take every call as not known")
    behind: str = Field(description='what was written down and is not in it; "" where nothing')


class CallRow(Told):
    """The call on one task, in words."""

    task: str
    name: str
    call: str
    kind: str = Field(description="go, go_with_protection, prepare, wait, hold, stop, claim")
    was: str = Field(description='what the call was before it was old; "" where it stands')
    when: str
    ends: str
    next: str
    reason: str
    because: str
    limits: list[str]
    measures: list[str]
    strength: list[str]
    checks: list[str]
    holds: list[str]


class Today(Made):
    """Today's calls."""

    subject: str
    rows: list[CallRow]
    waiting: list[list[str]]
    decide: list[list[str]] = Field(description="task, when, why")
    tell: list[list[str]] = Field(description='whom, what, by when or ""')
    leaves: list[list[str]]
    notes: list[str]
    weather: list[str]
    cautions: list[str]


class HourSpan(Told):
    """Hours of the shift with one verdict."""

    when: str
    verdict: Literal["go", "go with protection", "wait", "not known", "no-go"]
    why: list[str]


class TaskDay(Told):
    """A task on one local day."""

    day: str
    cells: str = Field(
        description="a letter an hour: g go, p with protection, w wait, u not known, n no-go,"
        " space past or beyond the forecast; capitals in the shift"
    )
    planned: str = Field(description="= where the plan has the task")
    spans: list[HourSpan]


class TaskWeek(Told):
    """A task over the coming days."""

    task: str
    name: str
    days: list[TaskDay]


class Week(Made):
    """The coming days hour by hour; of an old answer none."""

    tasks: list[TaskWeek]


class Moved(Told):
    """What was written down last and what it moved."""

    at: str
    moment: datetime
    entries: list[str]
    moved: list[list[str]] = Field(description="task, was, is, why")
    calls: list[list[str]] = Field(description="whom, by when, words to send")
    stays: list[str]
    figures: list[str]


class Plan(Made):
    """The plan in words."""

    rows: list[list[str]] = Field(description="task, when, rests on, odds, appointment")
    lines: list[str]
    levers: list[list[str]] = Field(
        description="what, chance, up by, sooner by, price, a day sooner, saves"
    )
    lever_notes: list[str]
    moved: Moved | None


class Whole(Made):
    """Calls and plan with every number, as ``closein brief --json`` has them."""

    document: dict[str, Any] | None = Field(description="null where the answer is old")


class Wall(Told):
    """One piece of fresh work with its protections compared."""

    task: str
    name: str
    finish: str
    says: str
    titles: list[str]
    rows: list[list[str]]
    lines: list[str]


class Walls(Made):
    """Fresh work, and what was read on site."""

    walls: list[Wall]
    readings: list[str]


class LogLine(Told):
    """An entry of the log."""

    seq: int
    line: str
    who: str
    photo: str = Field(description='SHA-256 of its picture; "" without one')
    may_undo: bool


class Log(Made):
    """The newest entries, the last first."""

    entries: list[LogLine]


class NewEntry(Told):
    """An entry to be written down; which fields it needs hangs on ``what``."""

    what: Literal[
        "started", "finished", "hours_left", "lost", "reading", "note", "release", "undo"
    ]
    key: str = Field(
        pattern=LINE, min_length=16, max_length=64,
        description="made by the sender; the same writes once",
    )  # fmt: skip
    task: str = Field(default="", max_length=80, pattern=LINE)
    hours: Annotated[float, NUMBER] | None = None
    cause: str = Field(default="", max_length=40, pattern=LINE)
    quantity: str = Field(default="", max_length=80, pattern=LINE)
    value: Annotated[float, NUMBER] | None = None
    unit: str = Field(default="", max_length=20, pattern=LINE)
    place: str = Field(default="", max_length=80, pattern=LINE)
    text: str = Field(default="", max_length=200, pattern=LINE)
    role: str = Field(default="", max_length=40, pattern=LINE)
    row: str = Field(
        default="", max_length=80, pattern=LINE, description="of the book, whose hold is released"
    )
    seq: int | None = Field(default=None, ge=1, le=10**9)
    ago_s: Annotated[float, Field(ge=0, le=1e9, allow_inf_nan=False)] = 0.0


class Written(Told):
    """What came of an entry."""

    told: str
    again: bool = Field(description="it had been written down before by the same key")


class Rule(Told):
    """A row of the rule book."""

    id: str
    says: str
    work_types: list[str]
    quantity: str
    allowed: str
    source: str
    clause: str
    verify: bool = Field(description="a figure from memory, to be verified")


class Rules(Told):
    """The rule book."""

    rules: list[Rule]
