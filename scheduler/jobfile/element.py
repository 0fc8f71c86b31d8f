"""What is built: the keys of a task's ``element``, by what they hold.

A length, strength or temperature names its unit in the key (``section_in``, ``height_ft``,
``strength_psi``); planning sees ``section_m``, ``strength_mpa``, ``placed_c``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, Literal

from pydantic import Field, create_model

from rules.units import convert
from scheduler.jobfile.fields import Text
from scheduler.jobfile.parts import Part

LENGTHS: Final = {
    "section": "least thickness of the concrete",
    "thickness": "thickness of the wall or slab",
    "height": "height",
    "length": "length",
    "width": "width",
    "depth": "depth",
    "pour_height": "height of one pour of grout",
    "lift_height": "height of one lift of grout",
    "unbalanced_height": "fill on one side above that on the other",
    "distance_to_existing_footing": "distance to the footing that is there",
}
STRENGTHS: Final = {"strength": "specified strength at 28 days"}
TEMPERATURES: Final = {"placed": "temperature at placing", "mix": "temperature of the mix"}
YES_NO: Final = {
    "accelerator": "is there an accelerator in the mix",
    "air_entrained": "is air entrained",
    "exposed_to_freezing_in_service": "will it freeze in use",
    "trowelled_surface": "is the surface trowelled",
    "floor_attached": "is the floor fastened to the wall",
    "backfilled": "is there fill against it",
    "braced": "is it braced",
    "tied_to_final_support": "is it tied to what holds it for good",
    "frost_susceptible": "does the soil heave in frost",
    "below_existing_footing": "does the cut go below the footing that is there",
    "sealed": "is the work sealed",
    "under_cover": "is it under a roof or tent",
}
TEXTS: Final = {
    "mix_name": "the mix, as ordered",
    "soil": "the soil",
    "covered_with": "what it is covered with",
    "product": "the product",
    "hours": "hours in which somebody comes, kept as written",
    "hours_on_request": "hours to be had when asked for, kept as written",
}
SUFFIXES: Final = {
    "m": {"in": "in", "ft": "ft", "mm": "mm", "cm": "cm", "m": "m"},
    "mpa": {"psi": "psi", "mpa": "MPa"},
    "c": {"f": "degF", "c": "degC"},
}
INSIDE: Final = {"m": "m", "mpa": "MPa", "c": "degC"}
SIZES: Final[tuple[tuple[str, str, str, dict[str, float]], ...]] = (
    *((name, "m", text, {"gt": 0.0, "le": 1e5}) for name, text in LENGTHS.items()),
    *((name, "mpa", text, {"gt": 0.0, "le": 2e4}) for name, text in STRENGTHS.items()),
    *((name, "c", text, {"ge": -80.0, "le": 250.0}) for name, text in TEMPERATURES.items()),
)
Cement = Literal[
    "type_i_ii", "type_iii", "type_iii_with_slag", "type_iii_with_fly_ash", "type_il", "type_ip"
]


def inside(element: Part) -> dict[str, object]:
    """Return what is given of an element, sizes in house units."""
    given: dict[str, object] = element.model_dump(exclude_none=True)
    for name, kind, _, _ in SIZES:
        for suffix, unit in SUFFIXES[kind].items():
            value = given.pop(f"{name}_{suffix}", None)
            if isinstance(value, float):
                given[f"{name}_{kind}"] = convert(value, unit, INSIDE[kind])
    return given


def _field(text: str, bounds: Any = None) -> Any:  # pydantic's own type of a field
    return Field(default=None, description=text, **(bounds or {}))


def _fields() -> dict[str, Any]:
    fields: dict[str, Any] = {
        f"{name}_{suffix}": (float | None, _field(text, bounds))
        for name, kind, text, bounds in SIZES
        for suffix in SUFFIXES[kind]
    }
    fields |= {n: (bool | None, _field(t)) for n, t in YES_NO.items()}
    fields |= {n: (Text | None, _field(t)) for n, t in TEXTS.items()}
    fields["cement"] = (Cement | None, _field("the cement"))
    share = _field("slag as a share of the binder", {"ge": 0, "le": 1})
    fields["slag_share"] = (float | None, share)
    return fields


class _ElementPart(Part):
    """What is built, as far as a rule asks for it."""

    at_most_one = tuple(
        tuple(f"{name}_{suffix}" for suffix in SUFFIXES[kind]) for name, kind, _, _ in SIZES
    )


if TYPE_CHECKING:
    Element = _ElementPart
else:
    Element = create_model("ElementPart", __base__=_ElementPart, **_fields())
    Element.__doc__ = _ElementPart.__doc__
