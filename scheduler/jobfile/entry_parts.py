"""What each kind of log entry may say, and the entry that it makes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Final, Literal

from pydantic import Field

from rules.words import words
from scheduler.jobfile.fields import (
    Cause,
    Day,
    Element,
    Hours,
    Moment,
    NumberOrYes,
    Quantity,
    Role,
    TakenAs,
    TaskId,
    Text,
    Unit,
    WordOrNumber,
    not_among,
)
from scheduler.jobfile.parts import Part
from scheduler.planning.model.log import EntryKind, Fact, Reading


def _says(text: str, **bounds: Any) -> Any:  # pydantic's own type of a field
    return Field(description=text, **bounds)


class EntryPart(Part):
    """What every entry may say."""

    when: Moment | None = _says("when it happened; left out: now", default=None)
    who: Text | None = _says("who says so", default=None)
    note: Text | None = _says("a remark", default=None)
    photo: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] | None = _says(
        "SHA-256 of a picture that the store keeps", default=None
    )

    entry: ClassVar[EntryKind] = EntryKind.NOTE

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        return {}


class StartedPart(EntryPart):
    """Work on a task began."""

    entry: ClassVar[EntryKind] = EntryKind.STARTED
    kind: Literal["started"]
    task: TaskId = _says("id of the task")

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        return {"task": self.task}


class FinishedPart(EntryPart):
    """A task is done."""

    entry: ClassVar[EntryKind] = EntryKind.FINISHED
    kind: Literal["finished"]
    task: TaskId = _says("id of the task")

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        return {"task": self.task}


class ProgressPart(EntryPart):
    """How many hours of a task are left."""

    entry: ClassVar[EntryKind] = EntryKind.PROGRESS
    kind: Literal["progress"]
    task: TaskId = _says("id of the task")
    hours_left: Hours = _says("hours of shift still to do")

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        return {"task": self.task, "hours": self.hours_left}


class LostPart(EntryPart):
    """Hours lost, and why; of one task, one crew, or everybody."""

    entry: ClassVar[EntryKind] = EntryKind.LOST
    kind: Literal["lost"]
    hours: Hours = _says("hours of shift that were lost")
    cause: Cause = _says("why")
    task: TaskId | None = _says("the task that lost them; left out: all", default=None)
    crew: Text | None = _says("the crew that lost them; left out: all", default=None)
    start: Moment | None = _says("from when", alias="from", default=None)
    until: Moment | None = _says("until when", default=None)

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        payload = {"crew": self.crew, "from": self.start, "until": self.until}
        return {
            "task": self.task or "",
            "hours": self.hours,
            "cause": self.cause,
            "payload": {key: value for key, value in payload.items() if value is not None},
        }


class DayPart(EntryPart):
    """One day of the weather-day record."""

    entry: ClassVar[EntryKind] = EntryKind.LOST
    kind: Literal["day"]
    date: Day = _says("the local day")
    scheduled_h: Hours = _says("hours that were to be worked")
    lost_h: Hours = _says("hours that were lost")
    cause: Cause = _says("why")
    critical: bool = _says("was it work that the end of the job waits for", default=True)
    precipitation_amount_in: float | None = _says("rain on site", ge=0, default=None)
    station_precipitation_amount_in: float | None = _says("rain, station", ge=0, default=None)
    snowfall_amount_in: float | None = _says("new snow", ge=0, default=None)
    air_temperature_f_at_0800: float | None = _says("air at 08:00", default=None)
    air_temperature_max_f: float | None = _says("highest air temperature", default=None)
    wind_speed_of_gust_max_mph: float | None = _says("strongest gust", ge=0, default=None)

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        aside = {"kind", "when", "who", "note", "photo", "cause", "lost_h"}
        payload = self.model_dump(exclude=aside, exclude_none=True)
        return {"hours": self.lost_h, "cause": self.cause, "payload": payload}


class ReadingPart(EntryPart):
    """Something measured on site."""

    at_most_one = (("at", "from"), ("at", "until"))

    entry: ClassVar[EntryKind] = EntryKind.READING
    kind: Literal["reading"]
    quantity: Quantity = _says("what was measured")
    value: NumberOrYes = _says("number, or yes or no")
    unit: Unit = _says("unit it was read in")
    place: Text | None = _says("where on site", default=None)
    at: Moment | None = _says("when it was read", default=None)
    start: Moment | None = _says(
        "from when, for a reading over a time", alias="from", default=None
    )
    until: Moment | None = _says("until when", default=None)
    since: Moment | None = _says("since when, for a change", default=None)
    taken_as: TakenAs = _says("how the value is taken", default="value")

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        reading = Reading(
            quantity=self.quantity,
            value=self.value,
            unit=self.unit,
            place=self.place or "",
            at=self.at,
            start=self.start,
            end=self.until,
            taken_as=self.taken_as,
            since=self.since,
        )
        return {"reading": reading}


class FactPart(EntryPart):
    """The state of something on site."""

    entry: ClassVar[EntryKind] = EntryKind.FACT
    kind: Literal["fact"]
    element: Element = _says("what it is about")
    condition: Text = _says("what about it")
    value: WordOrNumber = _says("yes, no, a number or a word")
    unit: Unit | None = _says("unit of a number", default=None)
    at: Moment | None = _says("since when it holds", default=None)
    place: Text | None = _says("where on site", default=None)

    @classmethod
    def clashes(cls, given: Mapping[str, object]) -> dict[str, str]:
        """Check that the element can have the condition."""
        conditions = words().elements.get(str(given.get("element")), [])
        name = given.get("condition")
        if conditions and isinstance(name, str) and name not in conditions:
            return {"condition": not_among(name, conditions, f"condition of {given['element']}")}
        return {}

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        fact = Fact(
            element=self.element,
            condition=self.condition,
            value=self.value,
            unit=self.unit or "",
            at=self.at,
            place=self.place or "",
        )
        return {"fact": fact}


class ReleasePart(EntryPart):
    """A hold released by the person who may."""

    entry: ClassVar[EntryKind] = EntryKind.RELEASE
    kind: Literal["release"]
    task: TaskId = _says("id of the task")
    role: Role = _says("role of who releases")
    who: Text = _says("name of who releases")
    row: Text | None = _says("the book's row whose hold it is; none: the job's own", default=None)

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        named = {} if self.row is None else {"row": self.row}
        return {"task": self.task, "payload": {"role": self.role, **named}}


class NotePart(EntryPart):
    """A remark."""

    entry: ClassVar[EntryKind] = EntryKind.NOTE
    kind: Literal["note"]
    text: Text = _says("the remark")
    task: TaskId | None = _says("task it is about", default=None)

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        return {"task": self.task or "", "text": self.text}


class UndoPart(EntryPart):
    """An earlier entry that was a mistake."""

    entry: ClassVar[EntryKind] = EntryKind.UNDO
    kind: Literal["undo"]
    seq: int = _says("number of the entry", ge=1)

    def told(self) -> dict[str, Any]:
        """Return the fields of the entry beside when and who."""
        return {"payload": {"seq": self.seq}}


PARTS: Final[dict[str, type[EntryPart]]] = {
    "started": StartedPart,
    "finished": FinishedPart,
    "progress": ProgressPart,
    "lost": LostPart,
    "day": DayPart,
    "reading": ReadingPart,
    "fact": FactPart,
    "release": ReleasePart,
    "note": NotePart,
    "undo": UndoPart,
}
