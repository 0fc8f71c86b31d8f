"""The job file's ``delivery`` and ``messages``: who gets what, how, and at what time of day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import time
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from scheduler.jobfile import moments
from scheduler.jobfile.fields import Clock, CrewId, Known, Written
from scheduler.jobfile.parts import Part
from scheduler.mail_address import LONGEST, PATTERN, mail_address
from scheduler.planning.model.job import Recipient, Rhythm


def _clock_or_off(text: str, _: Known) -> time | None:
    return None if text == "off" else moments.clock(text)


ClockOrOff = Annotated[
    time | None, Written(_clock_or_off, r"^(off|\d{1,2}:\d{2})$", ("16:30", "off"))
]
Mail = Annotated[
    str,
    Field(pattern=PATTERN, max_length=LONGEST),
    AfterValidator(mail_address),
]
Phone = Annotated[str, Field(pattern=r"^\+?[0-9][0-9 ()-]{4,24}$", examples=["+1 315 555 0142"])]


class RecipientPart(Part):
    """A person who gets messages."""

    exactly_one = (("mail", "phone"),)

    mail: Mail | None = Field(description="mail address", default=None)
    phone: Phone | None = Field(
        description="telephone that gets short texts, by CLOSEIN_TEXT_WEBHOOK", default=None
    )
    gets: Literal["whole", "crew", "owner", "inspector"] = Field(
        description="whole: everything; crew: tomorrow's lines for one crew; owner: the date range"
        " and why; inspector: records",
        default="whole",
    )
    crew: CrewId | None = Field(description="of `gets: crew`, which one", default=None)
    short: bool = Field(
        description="one line, as for a telephone company's mail address", default=False
    )

    @classmethod
    def clashes(cls, given: Mapping[str, object]) -> dict[str, str]:
        """Return what is wrong between role and crew."""
        if given.get("gets") == "crew" and "crew" not in given:
            return {"gets": "name the `crew` that gets it"}
        if "crew" in given and given.get("gets") != "crew":
            return {"crew": "goes with `gets: crew`"}
        return {}


class MessagesPart(Part):
    """When messages go out, in the site's own time."""

    morning: Clock = Field(description="the morning message", default=time(5, 30))
    evening: ClockOrOff = Field(description="the look at tomorrow, or off", default=time(16, 30))
    quiet_from: Clock = Field(description="from then on only what cannot wait", default=time(20))
    quiet_until: Clock = Field(description="until then", default=time(5))
    moved_days: int = Field(
        description="days by which the latest safe date has moved before that is told",
        ge=1,
        le=60,
        default=2,
    )


def recipient_of(part: RecipientPart) -> Recipient:
    """Return who gets messages; a telephone gets them short."""
    return Recipient(
        address=part.mail or part.phone or "",
        channel="mail" if part.mail else "text",
        gets=part.gets,
        crew=part.crew or "",
        short=part.short or part.phone is not None,
    )


def rhythm_of(part: MessagesPart) -> Rhythm:
    """Return when messages go out."""
    return Rhythm(
        morning=part.morning,
        evening=part.evening,
        quiet_from=part.quiet_from,
        quiet_until=part.quiet_until,
        moved_days=part.moved_days,
    )
