"""What was read and seen on site outranks what the job file says of the open house."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from rules.units import convert
from scheduler.planning.evidence.places import spot
from scheduler.planning.model.job import ExposureLimits
from scheduler.planning.model.log import Fact, Progress, Reading


def as_found(limits: ExposureLimits, progress: Progress) -> ExposureLimits:
    """Return the limits with the newest readings and facts in their places.

    The coldest newest reading of the house's air is where indoor air starts; the wettest newest
    reading of wood is where wood starts; lines told filled, and neither insulated nor in a heated
    room, hang in the open.
    """
    air = _worst(progress.readings, "house_air_temperature", "degC", min)
    if air is not None:
        limits = replace(limits, indoor_start_c=air)
    wet = _worst(progress.readings, "wood_moisture", "%", max)
    if wet is not None and limits.wood is not None:
        limits = replace(limits, wood=replace(limits.wood, start_pct=wet))
    lines = {fact.condition: fact.value for fact in _newest(progress.facts)}
    if "filled" in lines:
        safe = lines.get("in_heated_space") is True or lines.get("insulated") is True
        limits = replace(limits, water_lines_hang=lines["filled"] is True and not safe)
    return limits


def _worst(
    readings: Iterable[Reading], quantity: str, unit: str, worst: Callable[[list[float]], float]
) -> float | None:
    """Return the worst of each place's newest reading, None where there is none."""
    # the log tells the oldest first
    newest = {spot(r.place): r for r in readings if r.quantity == quantity}
    values = [float(convert(float(r.value), r.unit, unit)) for r in newest.values()]
    return worst(values) if values else None


def _newest(facts: Iterable[Fact]) -> Iterable[Fact]:
    """Return the newest fact of each condition of the water lines."""
    return {f.condition: f for f in facts if f.element == "water_lines"}.values()
