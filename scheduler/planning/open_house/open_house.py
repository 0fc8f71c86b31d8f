"""What the weather does to this job's house while it stays open, limit by limit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rules.exposure import NEVER, HourNumbers, first_above, first_below
from rules.frost import frost_depth
from rules.indoor import indoor_temperature, open_time_constant
from rules.mould import mould_index
from rules.verdict import FloatArray
from rules.wetting import driven_rain, rain_and_snow, snow_lying, wet_hours
from rules.wood import equilibrium_moisture, wood_moisture
from scheduler.planning.model.job import Job, WoodLimits
from scheduler.planning.tables.hours import HourlyTable

INDOOR_AIR: Final = "indoor_air"
WATER_LINES: Final = "water_lines"
GUST_PER_WIND: Final = 1.5  # where no gust is known; common practice, no source


@dataclass(frozen=True, slots=True)
class Breach:
    """The first hour at which one limit is passed, house left open, for every weather trace."""

    limit: str  # indoor_air, water_lines, ...
    allowed: str  # in words, SI
    source: str  # of the limit and its formula
    passed: HourNumbers  # (...,) of the table's leading axes; NEVER where it is not
    unknown: HourNumbers  # first hour whose weather is not known
    essential: bool = False  # no date without it, whatever else is known


@dataclass(frozen=True, slots=True)
class Course:
    """What one limit looks at, hour by hour, and the value that must not be passed."""

    limit: str
    allowed: str
    source: str
    values: FloatArray  # (..., hours)
    unit: str
    at: float
    low: bool  # it harms when it is low; else when it is high
    essential: bool = False

    def breach(self) -> Breach:
        """Return the first hour at which the limit is passed."""
        first = first_below if self.low else first_above
        passed, unknown = first(self.values, self.at)
        return Breach(self.limit, self.allowed, self.source, passed, unknown, self.essential)


One = Callable[[Job, HourlyTable], Course | None]


def breaches(job: Job, table: HourlyTable, *, open_from: int = 0) -> tuple[Breach, ...]:
    """Return the breaches of every limit the job sets, house left open.

    Parameters
    ----------
    job : Job
        Its exposure limits.
    table : HourlyTable
        Weather ``(..., hours)``.
    open_from : int
        Hour in which the house is first open; before it no limit runs.
    """
    if open_from >= table.hours:
        return tuple(_unopened(breach) for breach in breaches(job, table))
    cut = HourlyTable(
        start=table.start[open_from:],
        columns={name: values[..., open_from:] for name, values in table.columns.items()},
    )
    found = [course.breach() for course in courses(job, cut)]
    lead = _lead(table)
    return tuple(_later(breach, open_from, lead) for breach in (*found, *_sun(job, cut)))


def courses(job: Job, table: HourlyTable) -> tuple[Course, ...]:
    """Return what the limits the job sets look at, house open from the first hour.

    Limits in days, such as sun on a covering, have no course by the hour.
    """
    return tuple(course for rule in _RULES if (course := rule(job, table)) is not None)


def _later(breach: Breach, hours: int, lead: tuple[int, ...]) -> Breach:
    def moved(at: HourNumbers) -> HourNumbers:
        return np.broadcast_to(np.where(at < NEVER, at + hours, at), lead)

    return replace(breach, passed=moved(breach.passed), unknown=moved(breach.unknown))


def _lead(table: HourlyTable) -> tuple[int, ...]:
    return np.broadcast_shapes(*(values.shape[:-1] for values in table.columns.values()))


def _unopened(breach: Breach) -> Breach:
    never = np.full_like(breach.passed, NEVER)
    return replace(breach, passed=never, unknown=never)


def indoor_lowest(job: Job, table: HourlyTable) -> FloatArray:
    """Return the lowest indoor air within each hour, house open from the first: (..., hours)."""
    limits = job.exposure
    tau: FloatArray | float = limits.time_constant_h
    rise: FloatArray | float = limits.heat_w / limits.heat_w_per_k if limits.heat_w else 0.0
    if limits.openings is not None:
        tau = open_time_constant(
            closed_time_constant_h=limits.openings.closed_time_constant_h,
            heat_capacity_wh_per_k=limits.openings.heat_capacity_wh_per_k,
            opening_area_m2=limits.openings.area_m2,
            wind_speed_ms=table.column("wind_speed_ms"),
        )
        rise = limits.heat_w * tau / limits.openings.heat_capacity_wh_per_k
    _, lowest = indoor_temperature(
        air_temperature_c=_air(table),
        time_constant_h=tau,
        indoor_start_c=limits.indoor_start_c,
        heat_rise_k=rise,
    )
    return lowest


def _indoor_air(job: Job, table: HourlyTable) -> Course:
    limit = job.exposure.indoor_freezing_c
    return Course(
        INDOOR_AIR,
        f"indoor air above {limit:g} °C",
        "first-order cool-down of one zone; time constant of the open house from the job",
        indoor_lowest(job, table),
        "degC",
        limit,
        low=True,
        essential=True,
    )


def _water_lines(job: Job, table: HourlyTable) -> Course | None:
    """Water in lines that hang in the open follows the outdoor air; room heat does not help."""
    if not job.exposure.water_lines_hang:
        return None
    return Course(
        WATER_LINES,
        "outdoor air at hanging water lines above 0 °C",
        "water freezes at 0 °C; lines in open air take the air's temperature",
        _air(table),
        "degC",
        0.0,
        low=True,
        essential=True,
    )


def _rain_inside(job: Job, table: HourlyTable) -> Course | None:
    wood = job.exposure.wood
    if wood is None or wood.rain_inside_mm is None:
        return None
    return Course(
        "rain_inside",
        f"no more than {wood.rain_inside_mm:g} mm of water through the openings",
        "ISO 15927-3:2009 driving rain through an upright opening; limit from the job",
        np.cumsum(_water_on_wood(wood, table), axis=-1),
        "mm",
        wood.rain_inside_mm,
        low=False,
    )


def _wood(job: Job, table: HourlyTable) -> Course | None:
    wood = job.exposure.wood
    if wood is None or wood.at_most_pct is None:
        return None
    moisture = wood_moisture(
        equilibrium_pct=equilibrium_moisture(
            air_temperature_c=_air(table),
            relative_humidity_pct=table.column("relative_humidity_pct"),
        ),
        wet=wet_hours(water_mm=_water_on_wood(wood, table)),
        start_pct=wood.start_pct,
    )
    return Course(
        "wood_moisture",
        f"wood at {wood.at_most_pct:g} % moisture or less",
        "USDA Forest Service GTR PSW-82 moisture of 1 to 3 in. wood; limit from the job",
        moisture,
        "%",
        wood.at_most_pct,
        low=False,
    )


def _mould(job: Job, table: HourlyTable) -> Course | None:
    wood = job.exposure.wood
    if wood is None or wood.mould_index is None:
        return None
    wet = wet_hours(water_mm=_water_on_wood(wood, table))
    index = mould_index(
        air_temperature_c=_air(table),
        relative_humidity_pct=np.where(wet == 1.0, 100.0, table.column("relative_humidity_pct")),
        sensitivity=wood.sensitivity,
    )
    return Course(
        "mould",
        f"mould index under {wood.mould_index:g}",
        "Hukka and Viitanen 1999; limit from the job",
        index,
        "1",
        float(np.nextafter(wood.mould_index, 0.0)),
        low=False,
    )


def _ground(job: Job, table: HourlyTable) -> Course | None:
    ground = job.exposure.ground
    if ground is None:
        return None
    depth = frost_depth(
        air_temperature_c=_air(table),
        soil=ground.soil,
        cover_m2k_w=ground.blanket_m2k_w,
        snow_depth_mm=table.column("snow_depth_mm") if ground.snow_counts else None,
    )
    return Course(
        "ground_frost",
        f"frost no deeper than {ground.frost_free_m:.2f} m",
        "Stefan's balance, UFC 3-130-06; soil from the job",
        depth,
        "m",
        ground.frost_free_m,
        low=False,
    )


def _raised_house(job: Job, table: HourlyTable) -> Course | None:
    return _gusts(
        table,
        "raised_house_gust",
        job.exposure.gusts.raised_house_ms,
        "gust that the engineer allows on the house on cribs",
    )


def _covers(job: Job, table: HourlyTable) -> Course | None:
    return _gusts(
        table, "cover_gust", job.exposure.gusts.covers_ms, "the temporary covering's own rating"
    )


def _gusts(table: HourlyTable, name: str, limit_ms: float | None, source: str) -> Course | None:
    if limit_ms is None:
        return None
    gust = table.column("wind_speed_of_gust_ms")
    gap = np.isnan(gust)
    if gap.any():
        gust = np.where(gap, GUST_PER_WIND * table.column("wind_speed_ms"), gust)
        source += f"; where no gust is known {GUST_PER_WIND:g} times the mean wind (practice)"
    return Course(
        name, f"gusts of {limit_ms:.1f} m/s or less", source, gust, "m/s", limit_ms, low=False
    )


def _sun(job: Job, table: HourlyTable) -> tuple[Breach, ...]:
    """Return the coverings whose days in the open run out, the same in every weather."""
    zone = ZoneInfo(job.site.time_zone)
    first = table.start[0].astype("datetime64[s]").item().replace(tzinfo=UTC)
    lead = _lead(table)
    found = []
    for cover in job.exposure.covers:
        day = cover.since + timedelta(days=cover.days)
        over = datetime.combine(day, time(0), tzinfo=zone)
        hour = max(int((over - first).total_seconds() // 3600), 0)
        found.append(
            Breach(
                f"sun_on_{cover.name.replace(' ', '_')}",
                f"{cover.name} no more than {cover.days} days in the open",
                "the maker's limit, from the job",
                np.full(lead, hour if hour < table.hours else NEVER),
                np.full(lead, NEVER),
            )
        )
    return tuple(found)


_RULES: Final[tuple[One, ...]] = (
    _indoor_air,
    _water_lines,
    _rain_inside,
    _wood,
    _mould,
    _ground,
    _raised_house,
    _covers,
)


def _water_on_wood(wood: WoodLimits, table: HourlyTable) -> FloatArray:
    """Return the water that reaches the wood in each hour: through openings, or from the sky."""
    rain, snow = rain_and_snow(
        precipitation_amount_mm=table.column("precipitation_amount_mm"),
        air_temperature_c=_air(table),
    )
    if wood.open_to_sky:
        return rain + snow_lying(snow_mm=snow, air_temperature_c=_air(table))[1]
    direction = table.column("wind_from_direction_deg") if wood.faces_deg else None
    through = [
        driven_rain(
            rain_mm=rain,
            wind_speed_ms=table.column("wind_speed_ms"),
            wind_from_direction_deg=direction,
            facing_deg=facing,
        )
        for facing in wood.faces_deg or (0.0,)
    ]
    most: FloatArray = np.maximum.reduce(through)
    return most


def _air(table: HourlyTable) -> FloatArray:
    return table.column("air_temperature_c")
