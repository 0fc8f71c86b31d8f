"""The kinds of values in a job file: names of the trade, references, days, moments.

What a value may refer to comes with the validation as ``Known``: the site's zone and the ids that
the file itself gives. Without it (one part read alone) references are not checked.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, tzinfo
from typing import Annotated, Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from pydantic import AfterValidator, Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from rules.text import IN_NOTES, strange_in
from rules.units import UNITS
from rules.words import nearest, site_quantities, words
from scheduler.jobfile import moments
from scheduler.planning.model.job import SOURCES

MOST_COMPARED: Final = 2000  # names; more are not searched for the nearest
JsonSchema = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Known:
    """What the file itself makes known to its values."""

    zone: tzinfo = UTC
    ids: Mapping[str, frozenset[str]] = field(default_factory=dict)  # of tasks, crews, documents


@dataclass(frozen=True, slots=True)
class OneOf:
    """A name out of a list that is known beforehand."""

    what: str
    names: Callable[[], Collection[str]]

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_after_validator_function(self._check, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        return {**handler(schema), "title": self.what, "enum": list(self.names())}

    def _check(self, name: str) -> str:
        if name not in self.names():
            raise _unknown(self.names(), self.what)
        return name


@dataclass(frozen=True, slots=True)
class Refers:
    """The id of something that the file itself gives."""

    what: str  # task, crew, document

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.with_info_after_validator_function(self._check, handler(source))

    def _check(self, name: str, info: core_schema.ValidationInfo) -> str:
        if isinstance(info.context, Known):
            known = info.context.ids.get(self.what, frozenset())
            if name not in known:
                raise _unknown(known, self.what)
        return name


@dataclass(frozen=True, slots=True)
class Written:
    """A value written as text in a form of its own."""

    read: Callable[[str, Known], object]
    pattern: str
    examples: tuple[str, ...]

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(self._check)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        return {"type": "string", "pattern": self.pattern, "examples": list(self.examples)}

    def _check(self, value: object, info: core_schema.ValidationInfo) -> object:
        if not isinstance(value, str):
            raise ValueError(f"write it like {self.examples[0]}")
        return self.read(value, info.context if isinstance(info.context, Known) else Known())


def not_among(name: str, known: Collection[str], what: str) -> str:
    """Say that a name is not known, with the nearest one or all of them."""
    near = nearest(name, known) if len(known) <= MOST_COMPARED else None
    if near:
        return f"no such {what}; did you mean {near}?"
    if not known:
        return f"no such {what}; there is none"
    shown = sorted(known)
    more = f" and {len(shown) - 12} more" if len(shown) > 12 else ""
    return f"no such {what}; known: {', '.join(shown[:12])}{more}"


def _unknown(known: Collection[str], what: str) -> PydanticCustomError:
    """Return an error that is worded only when it is shown: finding the nearest name is slow."""
    return PydanticCustomError("not_among", "no such {what}", {"what": what, "known": known})


def zone_of(name: object) -> ZoneInfo | None:
    """Return the zone of an IANA name, None where there is none."""
    if not isinstance(name, str) or not re.fullmatch(r"[A-Za-z][\w+/-]{1,60}", name):
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, OSError, ValueError):
        return None


def value_of(text: str) -> float | bool | str:
    """Return what a text says: yes or no, a number, else the word itself."""
    if text.lower() in {"true", "yes"}:
        return True
    if text.lower() in {"false", "no"}:
        return False
    try:
        number = float(text)
    except ValueError:
        return text
    return number if math.isfinite(number) else text


def _text(text: str) -> str:
    strange = strange_in(text, allowed=IN_NOTES)
    if strange:
        raise PydanticCustomError(
            "text", "{want}", {"want": f"take out {strange}, no text has it"}
        )
    return text


def _number_or_yes(text: str, _: Known) -> float | bool:
    value = value_of(text)
    if isinstance(value, str):
        raise ValueError("give a number, or yes or no")
    return value


def _zone(name: str) -> str:
    if zone_of(name) is None:
        raise _unknown(available_timezones(), "time zone")
    return name


def _day_or_moment(text: str, known: Known) -> date | datetime:
    if not re.match(_DAY, text):
        raise ValueError("give a day or moment such as 2026-11-20 or 2026-11-20T08:00")
    return moments.day(text) if len(text) <= 10 else moments.moment(text, known.zone)


def _clock_or_moment(text: str, known: Known) -> time | datetime:
    if not re.match(r"\d", text):
        raise ValueError("give a time or moment such as 16:30 or 2026-11-20T08:00")
    return moments.clock(text) if len(text) <= 5 else moments.moment(text, known.zone)


def _week_days(text: str, _: Known) -> tuple[int, ...]:
    return moments.week_days(text)


def _shift(text: str, _: Known) -> tuple[time, time] | None:
    return moments.shift(text)


_DAY: Final = r"\d{4}-\d{2}-\d{2}"
_CLOCK: Final = r"\d{1,2}:\d{2}"
_MOMENT: Final = rf"{_DAY}[T ]{_CLOCK}(:{moments.SECONDS})?\s*(Z|[+-]\d{{2}}:?\d{{2}})?"
_NAMES: Final = "|".join(moments.WEEK_DAYS)
_SHIFT: Final = rf"^(off|{_CLOCK}\s*[-–]\s*{_CLOCK})$"

Moment = Annotated[
    datetime,
    Written(lambda t, known: moments.moment(t, known.zone), f"^{_MOMENT}$", ("2026-11-20T08:00",)),
]
Day = Annotated[date, Written(lambda t, _: moments.day(t), f"^{_DAY}$", ("2026-11-20",))]
Clock = Annotated[time, Written(lambda t, _: moments.clock(t), f"^{_CLOCK}$", ("16:30",))]
DayOrMoment = Annotated[
    date | datetime,
    Written(_day_or_moment, f"^({_DAY}|{_MOMENT})$", ("2026-11-20", "2026-11-20T08:00")),
]
ClockOrMoment = Annotated[
    time | datetime,
    Written(_clock_or_moment, f"^({_CLOCK}|{_MOMENT})$", ("16:30", "2026-11-20T08:00")),
]
ShiftHours = Annotated[tuple[time, time] | None, Written(_shift, _SHIFT, ("07:00-16:30", "off"))]
WeekDays = Annotated[
    tuple[int, ...], Written(_week_days, rf"^({_NAMES})([-,]\s*({_NAMES}))*$", ("mon-fri",))
]

NumberOrYes = Annotated[float | bool, Written(_number_or_yes, r"^\S+$", ("35.5", "yes"))]
WordOrNumber = Annotated[
    float | bool | str,
    Written(lambda t, _: value_of(_text(t)), r"^.{1,2000}$", ("true", "9.5", "type_iii")),
]

WorkType = Annotated[str, OneOf("work type", lambda: words().work_types)]
Measure = Annotated[str, OneOf("measure", lambda: words().measures)]
Role = Annotated[str, OneOf("role", lambda: words().roles)]
Supply = Annotated[str, OneOf("supply", lambda: words().supplies)]
Cause = Annotated[str, OneOf("cause", lambda: words().causes)]
Element = Annotated[str, OneOf("element", lambda: words().elements)]
DocumentKind = Annotated[str, OneOf("kind of document", lambda: words().document_kinds)]
TakenAs = Annotated[str, OneOf("way to take a value", lambda: words().taken_as)]
Quantity = Annotated[str, OneOf("quantity", site_quantities)]
Source = Annotated[str, OneOf("weather source", lambda: SOURCES)]
Unit = Annotated[str, OneOf("unit", lambda: UNITS)]
TimeZone = Annotated[str, AfterValidator(_zone)]

TaskId = Annotated[str, Refers("task")]
CrewId = Annotated[str, Refers("crew")]
DocumentId = Annotated[str, Refers("document")]

Slug = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,39}$")]  # an id the file gives
AnswerKey = Annotated[str, Field(pattern=r"^[a-z_]{1,40}$", examples=["courses"])]
AnswerText = Annotated[str, Field(max_length=200, examples=['"3"']), AfterValidator(_text)]
Text = Annotated[str, Field(min_length=1, max_length=2000), AfterValidator(_text)]
Hours = Annotated[float, Field(ge=0, le=8784)]  # a leap year
Share = Annotated[float, Field(gt=0, le=1)]


class Listed:
    """A list of which one may stand without the brackets."""

    @classmethod
    def __get_pydantic_core_schema__(
        cls, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(cls._list, handler(source))

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        listed = handler(schema)
        return {"anyOf": [listed, listed["items"]]}

    @staticmethod
    def _list(value: object) -> object:
        return [value] if isinstance(value, str | Mapping) else value


@dataclass(frozen=True, slots=True)
class OrJust:
    """A mapping for which the text of one of its keys may stand."""

    key: str
    pattern: str = "."  # of that text, for editors; the key itself checks it

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self._mapping, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        return {"anyOf": [{"type": "string", "pattern": self.pattern}, handler(schema)]}

    def _mapping(self, value: object) -> object:
        return {self.key: value} if isinstance(value, str) else value
