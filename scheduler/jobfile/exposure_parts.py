"""The job file's ``exposure``: how much weather the open house may take."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Final, Literal, get_args

from pydantic import Field

from rules.frost import Soil
from rules.units import convert
from scheduler.jobfile.fields import Day, Text
from scheduler.jobfile.parts import Part
from scheduler.planning.model.job import (
    CoverLimit,
    ExposureLimits,
    GroundLimits,
    GustLimits,
    OpeningsToWind,
    WoodLimits,
)

Point = Literal[
    "north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest"
]
POINTS: Final[tuple[str, ...]] = get_args(Point)
POUND_PER_CUBIC_FOOT: Final = 0.45359237 / 0.3048**3
BTU_PER_HOUR_FOOT_F: Final = 1055.05585262 / 3600.0 / 0.3048 * 1.8  # in W/m K
R_US: Final = 1.0 / (1055.05585262 / 3600.0 / 0.3048**2 * 1.8)  # ft2 h °F/Btu in m2 K/W

Positive = Annotated[float, Field(gt=0.0, le=1e6)]
NotNegative = Annotated[float, Field(ge=0.0, le=1e6)]


class OpeningsPart(Part):
    """Openings the wind blows through, in place of a time constant."""

    exactly_one = (("area_ft2", "area_m2"),)

    area_ft2: Positive | None = Field(description="free area to windward, sq ft", default=None)
    area_m2: Positive | None = Field(description="the same in m2", default=None)
    heat_capacity_kwh_per_k: Positive = Field(description="heat the house holds, kWh per kelvin")
    closed_time_constant_h: Positive = Field(description="hours the house holds heat when shut")


class WoodPart(Part):
    """What deck, sheathing, framing and insulation may take of rain and damp."""

    at_most_one = (("rain_inside_in", "rain_inside_mm"),)

    start_pct: float = Field(description="wood moisture now, by meter", ge=4, le=60, default=15.0)
    at_most_pct: float | None = Field(
        description="wood moisture that must not be passed", ge=10, le=60, default=None
    )
    rain_inside_in: NotNegative | None = Field(
        description="rain in through the openings in all, inches", default=None
    )
    rain_inside_mm: NotNegative | None = Field(description="the same in mm", default=None)
    mould_index: float | None = Field(
        description="mould index that must not be passed, 1 is the first growth under a lens",
        gt=0,
        le=6,
        default=None,
    )
    sensitivity: Literal["very_sensitive", "sensitive", "medium", "resistant"] = Field(
        description="how readily the material moulds", default="very_sensitive"
    )
    faces: list[Point] = Field(
        description="where the openings look; none: every wind blows in", default=[]
    )
    open_to_sky: bool = Field(description="no roof over the deck", default=False)


class GroundPart(Part):
    """Frost under bare or shallow footings and inside an open basement."""

    exactly_one = (("frost_free_in", "frost_free_m"),)
    at_most_one = (
        ("dry_density_lb_ft3", "dry_density_kg_m3"),
        ("conductivity_btu", "conductivity_w_mk"),
        ("blanket_r", "blanket_m2k_w"),
    )

    frost_free_in: NotNegative | None = Field(
        description="inches from the surface to the underside of the footing", default=None
    )
    frost_free_m: NotNegative | None = Field(description="the same in metres", default=None)
    water_pct: Positive = Field(description="water in the soil by dry weight, %", default=15.0)
    dry_density_lb_ft3: Positive | None = Field(description="dry soil, lb per cu ft", default=None)
    dry_density_kg_m3: Positive | None = Field(description="the same in kg/m3", default=None)
    conductivity_btu: Positive | None = Field(
        description="of the frozen soil, Btu/h ft °F", default=None
    )
    conductivity_w_mk: Positive | None = Field(description="the same in W/m K", default=None)
    surface_factor: float = Field(
        description="ground's over air's freezing index", gt=0, le=1, default=0.7
    )
    blanket_r: NotNegative | None = Field(
        description="R of blankets on the ground, ft2 h °F/Btu", default=None
    )
    blanket_m2k_w: NotNegative | None = Field(description="the same in m2 K/W", default=None)
    snow_counts: bool = Field(description="does snow on the ground count", default=False)


class GustsPart(Part):
    """Gusts that the engineer allows on the raised house, and the maker on a covering."""

    at_most_one = (
        ("raised_house_mph", "raised_house_ms"),
        ("covers_mph", "covers_ms"),
    )

    raised_house_mph: Positive | None = Field(
        description="gust the engineer allows on the house on cribs, mph", default=None
    )
    raised_house_ms: Positive | None = Field(description="the same in m/s", default=None)
    covers_mph: Positive | None = Field(description="gust a covering is rated for", default=None)
    covers_ms: Positive | None = Field(description="the same in m/s", default=None)


class CoverPart(Part):
    """A covering that sun wears out."""

    name: Text = Field(description="what it is")
    since: Day = Field(description="day since when it lies in the open")
    days: int = Field(description="days in the open that its maker allows", gt=0, le=3650)


class ExposurePart(Part):
    """How much weather the open house may take."""

    at_most_one = (
        ("indoor_freezing_f", "indoor_freezing_c"),
        ("indoor_start_f", "indoor_start_c"),
        ("time_constant_h", "openings"),
    )

    indoor_freezing_f: float | None = Field(
        description="indoor air that counts as freezing", default=None
    )
    indoor_freezing_c: float | None = Field(description="the same in °C", default=None)
    time_constant_h: float | None = Field(
        description="hours the open house holds heat; 10 where nothing is said",
        gt=0,
        le=500,
        default=None,
    )
    openings: OpeningsPart | None = Field(
        description="openings to the wind, in place of the hours", default=None
    )
    indoor_start_f: float | None = Field(description="indoor air at the start", default=None)
    indoor_start_c: float | None = Field(description="the same in °C", default=None)
    heat_w_per_k: NotNegative = Field(
        description="heat the open house loses for each kelvin, watts", default=0.0
    )
    heat_kw: NotNegative = Field(
        description="heat that heaters give while it is open, kW", default=0.0
    )
    water_lines_hang: bool = Field(
        description="do filled water lines hang in the open air", default=False
    )
    wood: WoodPart | None = Field(description="limits of wood and insulation", default=None)
    ground: GroundPart | None = Field(description="frost under footings", default=None)
    gusts: GustsPart = Field(description="gusts that are allowed", default_factory=GustsPart)
    covers: list[CoverPart] = Field(description="coverings that sun wears out", default=[])

    @classmethod
    def clashes(cls, given: Mapping[str, object]) -> dict[str, str]:
        """Heat needs to know what it works against."""
        if given.get("heat_kw") and not given.get("heat_w_per_k") and not given.get("openings"):
            return {"heat_kw": "give heat_w_per_k or openings too, else its effect is not known"}
        return {}


def exposure_limits(part: ExposurePart) -> ExposureLimits:
    """Return the limits as planning sees them, SI."""
    usual = ExposureLimits()
    return ExposureLimits(
        indoor_freezing_c=_either(
            part.indoor_freezing_c, part.indoor_freezing_f, "degF", usual.indoor_freezing_c
        ),
        time_constant_h=part.time_constant_h or usual.time_constant_h,
        indoor_start_c=_either(
            part.indoor_start_c, part.indoor_start_f, "degF", usual.indoor_start_c
        ),
        heat_w_per_k=part.heat_w_per_k,
        heat_w=1000.0 * part.heat_kw,
        openings=_openings(part.openings),
        water_lines_hang=part.water_lines_hang,
        wood=_wood(part.wood),
        ground=_ground(part.ground),
        gusts=GustLimits(
            raised_house_ms=_maybe(part.gusts.raised_house_ms, part.gusts.raised_house_mph),
            covers_ms=_maybe(part.gusts.covers_ms, part.gusts.covers_mph),
        ),
        covers=tuple(CoverLimit(cover.name, cover.since, cover.days) for cover in part.covers),
    )


def _either(si: float | None, us: float | None, unit: str, usual: float) -> float:
    if si is not None:
        return si
    return usual if us is None else convert(us, unit, "degC")


def _maybe(ms: float | None, mph: float | None) -> float | None:
    return ms if mph is None else convert(mph, "mph", "m/s")


def _openings(part: OpeningsPart | None) -> OpeningsToWind | None:
    if part is None:
        return None
    area = part.area_m2 if part.area_m2 is not None else (part.area_ft2 or 0.0) * 0.3048**2
    return OpeningsToWind(area, 1000.0 * part.heat_capacity_kwh_per_k, part.closed_time_constant_h)


def _wood(part: WoodPart | None) -> WoodLimits | None:
    if part is None:
        return None
    inches = part.rain_inside_in
    return WoodLimits(
        start_pct=part.start_pct,
        at_most_pct=part.at_most_pct,
        rain_inside_mm=part.rain_inside_mm if inches is None else convert(inches, "in", "mm"),
        mould_index=part.mould_index,
        sensitivity=part.sensitivity,
        faces_deg=tuple(45.0 * POINTS.index(face) for face in part.faces),
        open_to_sky=part.open_to_sky,
    )


def _ground(part: GroundPart | None) -> GroundLimits | None:
    if part is None:
        return None
    usual = Soil()

    def either(si: float | None, us: float | None, factor: float, otherwise: float) -> float:
        if si is not None:
            return si
        return otherwise if us is None else us * factor

    soil = Soil(
        dry_density_kg_m3=either(
            part.dry_density_kg_m3,
            part.dry_density_lb_ft3,
            POUND_PER_CUBIC_FOOT,
            usual.dry_density_kg_m3,
        ),
        water_pct=part.water_pct,
        conductivity_w_mk=either(
            part.conductivity_w_mk,
            part.conductivity_btu,
            BTU_PER_HOUR_FOOT_F,
            usual.conductivity_w_mk,
        ),
        surface_factor=part.surface_factor,
    )
    return GroundLimits(
        frost_free_m=either(part.frost_free_m, part.frost_free_in, 0.0254, 0.0),
        soil=soil,
        blanket_m2k_w=either(part.blanket_m2k_w, part.blanket_r, R_US, 0.0),
        snow_counts=part.snow_counts,
    )
