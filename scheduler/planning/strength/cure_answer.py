"""What the comparison of protections says of one task."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from rules.freeze import Fate
from rules.verdict import FloatArray


class Slot(StrEnum):
    """What a protection does to a booked slot."""

    KEPT_WITHOUT = "kept_without"  # the slot is kept bare or with what is on hand
    SAVED = "saved"  # kept with this protection, lost without
    LOST_ANYWAY = "lost_anyway"


@dataclass(frozen=True, slots=True)
class Booked:
    """A slot that waits for the work's strength."""

    task: str
    purpose: str
    who: str
    start: datetime


@dataclass(frozen=True, slots=True)
class SlotAnswer:
    """A booked slot under one protection that stays on until the slot's gate opens."""

    slot: Slot
    ready: datetime | None  # None: not within what is known, or frozen
    cost: float | None  # of keeping the protection on until then; None: nobody said


@dataclass(frozen=True, slots=True)
class CureTrace:
    """What is drawn, by the hour from placing on; the middle of the scenarios."""

    start: datetime
    air_c: FloatArray  # (hours + 1,)
    nodes_c: FloatArray  # (nodes, hours + 1) of the element, first face first
    depth_m: FloatArray  # (nodes,)
    edge_c: FloatArray  # (hours + 1,) coldest node at an end, corner or top
    share: FloatArray  # (hours + 1,) of the specified strength, by the slow model
    share_fast: FloatArray


@dataclass(frozen=True, slots=True)
class CureOption:
    """One protection."""

    name: str
    measure: str  # word of the answer; "" for bare
    cover_until: datetime | None  # the later of the book's end and what the model asks
    available: bool  # on hand, or to be had before the work is finished
    cost: float | None  # None: nobody said what it costs
    fate: Fate
    coldest_c: float  # at the edge, until it resists one freeze or the trace ends
    coldest_at: datetime
    frozen_at: datetime | None
    freeze_safe_at: datetime | None
    keep_on_until: datetime | None  # when it resists one freeze under the cover; None: never
    ready: Mapping[str, datetime | None]  # by purpose; None: not within what is known, or frozen
    ready_fast: Mapping[str, datetime | None]  # by the fast model, the optimistic bound
    slots: Mapping[str, SlotAnswer]  # by booked task
    trace: CureTrace


@dataclass(frozen=True, slots=True)
class CureAnswer:
    """The comparison for one task."""

    task: str
    section: str
    finish: datetime
    placed_c: float
    specified_mpa: float
    model: str
    confidence: float
    scenarios: int
    protect_until: datetime | None  # by the book
    booked: tuple[Booked, ...]
    shares: Mapping[str, float]  # of the specified strength that each gate asks for
    waits_h: Mapping[str, float]  # and its least wait from the finish
    options: tuple[CureOption, ...]
    assumed: tuple[str, ...]  # columns the model had to do without
    known_until: datetime
    verify: bool  # figures from memory are in it
    years: int = 0  # past years behind the scenarios
