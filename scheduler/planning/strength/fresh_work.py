"""What a task places, as the wall model sees it: section, mix and covers from the job's words."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Final

import numpy as np

from rules.condensation import dew_point_c
from rules.curing import FreshWork, Protection
from rules.elements import Section, block_units, block_wall, bond_beam_course, footing, slab
from rules.films import FaceWeather, Place, covers
from rules.gates import specified_mpa
from rules.hydration import BY_CEMENT, TYPE_I_II
from rules.strength import SLOW, StrengthModel
from scheduler.planning.model.job import Site, Task
from scheduler.planning.tables.hours import HourlyTable

GROUT: Final = frozenset({"place_grout", "fill_top_course", "infill_pockets"})
CONCRETE: Final = frozenset({"place_footing", "place_slab"})
# Temperature of fresh work where nobody says one: as mixed from cool materials, and as the rules
# for cold weather ask for it (TMS 602 1.8 C, 70 °F; ACI 306R-10 table 3.1, 55 °F).
PLACED_C: Final = {"grout": 10.0, "concrete": 10.0}
HEATED_C: Final = {"heat_grout": 21.1, "heat_concrete": 12.8}
# Hours of cover where the book's own end of protection is not handed in: grouted masonry 48 h
# (TMS 602 1.8 C, from memory), concrete exposed and not loaded 3 days (ACI 306R-10 table 5.1).
COVERED_H: Final = {"grout": 48, "concrete": 72}
# A plan counts on covers staying until the work resists a freeze, a week at most: longer than the
# book asks does no harm. Common practice, no source.
PLANNED_COVER_H: Final = 168
BY_WARMTH: Final = ("enclosure", "blanket", "membrane")  # warmest first
GROUND_C: Final = 5.0  # soil at half a metre in a northern autumn where nobody measured; no source


def fresh_work(
    task: Task, *, on_hand: Collection[str] = (), model: StrengthModel = SLOW
) -> FreshWork | None:
    """Return what a task places, None where it places nothing that the model judges.

    Parameters
    ----------
    task : Task
        Its ``element`` may say ``thickness_m``, ``section_m``, ``depth_m``, ``cement``,
        ``strength_mpa``, ``placed_c``, ``soil`` and ``grouted_share``.
    on_hand
        Measures that are on site: heated grout or concrete is placed warm.
    model : StrengthModel
        How the mix gains strength; a calibrated one where there are breaks.

    Raises
    ------
    OutOfRange
        If a size is not in the book.
    """
    kind = material(task)
    if kind is None:
        return None
    element = task.element
    heated = [HEATED_C[m] for m in on_hand if m in HEATED_C and m.endswith(kind)]
    return FreshWork(
        section=_section(task, kind),
        placed_c=_number(element, "placed_c") or max([PLACED_C[kind], *heated]),
        specified_mpa=_number(element, "strength_mpa") or specified_mpa(kind),
        hydration=BY_CEMENT.get(str(element.get("cement", "")), TYPE_I_II),
        model=model,
    )


def material(task: Task) -> str | None:
    """Return what a task places that can freeze: grout or concrete; None where neither."""
    if task.work_type in CONCRETE:
        return "concrete"
    grouted = task.work_type == "lay_block" and bool(task.element.get("grouted"))
    return "grout" if task.work_type in GROUT or grouted else None


def _section(task: Task, kind: str) -> Section:
    element = task.element
    if kind == "concrete":
        depth = (
            _number(element, "section_m")
            or _number(element, "depth_m")
            or _number(element, "thickness_m")
        )
        if task.work_type == "place_slab":
            return slab(depth_m=depth or 0.1)
        return footing(depth_m=depth or 0.2)
    thickness = _number(element, "thickness_m")
    inches = 8 if thickness is None else _nominal(thickness)
    if task.work_type == "fill_top_course":
        return bond_beam_course(thickness_in=inches)
    return block_wall(thickness_in=inches, grouted_share=_number(element, "grouted_share") or 1.0)


def _nominal(thickness_m: float) -> int:
    """Return the nominal size of the book nearest to a thickness, actual or nominal."""
    sizes = {int(name): unit.thickness_m for name, unit in block_units().items()}
    apart = {n: min(abs(thickness_m - n * 0.0254), abs(thickness_m - m)) for n, m in sizes.items()}
    nearest = min(apart, key=lambda n: apart[n])
    return nearest if apart[nearest] <= 0.02 else round(thickness_m / 0.0254)


def _number(element: Mapping[str, object], name: str) -> float | None:
    value = element.get(name)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def protection(
    name: str, *, kind: str = "grout", hours: int | None = None, air_c: float | None = None
) -> Protection:
    """Return one way of protecting: a cover of the book, then bare.

    Parameters
    ----------
    name
        bare, membrane, blanket or enclosure.
    kind
        grout or concrete, for the hours of cover where none are given.
    hours
        How long it stays on. [h]
    air_c
        What a heated enclosure is kept at, where it is not the book's figure. [°C]
    """
    bare, cover = covers()["bare"], covers()[name]
    if name == "bare":
        return Protection(name, (bare,))
    if air_c is not None and cover.air_c is not None:
        cover = replace(cover, air_c=air_c)
    return Protection(name, (cover, bare), (COVERED_H[kind] if hours is None else hours,))


def warmest_protection(measures: Collection[str], *, hours: int = PLANNED_COVER_H) -> Protection:
    """Return the warmest protection that the measures allow."""
    names = [name for name in BY_WARMTH if covers()[name].measure in measures]
    return protection(names[0] if names else "bare", hours=hours)


def face_weather(table: HourlyTable) -> FaceWeather:
    """Return the columns of a table that the faces of an element feel.

    A dew point that is not there is worked out from the humidity where that is.
    """
    known = table.columns
    air = np.asarray(table.column("air_temperature_c"))
    dew, humidity = known.get("dew_point_temperature_c"), known.get("relative_humidity_pct")
    if dew is None and humidity is not None:
        dew = dew_point_c(air_temperature_c=air, relative_humidity_pct=humidity)
    return FaceWeather(
        start=table.start,
        air_temperature_c=air,
        wind_speed_ms=known.get("wind_speed_ms"),
        cloud_area_fraction_pct=known.get("cloud_area_fraction_pct"),
        dew_point_temperature_c=dew,
        precipitation_amount_mm=known.get("precipitation_amount_mm"),
        shortwave_wm2=known.get("surface_downwelling_shortwave_flux_wm2"),
    )


def place_of(site: Site, *, ground_c: float | None = None, sun: bool = False) -> Place:
    """Return where an element stands; ``ground_c`` as measured, else a typical autumn figure."""
    return Place(
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        sun=sun,
        ground_c=GROUND_C if ground_c is None else ground_c,
    )


def hour_of(table: HourlyTable, moment: datetime) -> int:
    """Return the first hour of a table not before a moment; may lie outside it."""
    since = moment.timestamp() / 3600.0 - int(table.start[0].astype(np.int64))
    return int(np.ceil(since - 1e-6))
