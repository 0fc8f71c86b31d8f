"""What the name of a quantity in the book stands for.

A name is a weather column without its unit (``air_temperature``), a function of columns
(``air.wind_chill``), something read on site (``unit_core_temperature``), or a fact
(``scaffold.ice_on_top``, ``task.grouted``).
"""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Callable
from functools import cache
from typing import Final

from rules.columns import columns
from rules.units import UNITS
from rules.verdict import FloatArray
from rules.words import nearest, site_quantities, words

_SUFFIX_UNIT: Final = {
    "c": "degC", "ms": "m/s", "mm": "mm", "pct": "%", "deg": "degree", "pa": "Pa", "wm2": "W/m2",
}  # fmt: skip


def is_fact(name: str) -> bool:
    """Tell whether a name is ``element.condition``, ``*.condition`` or a key of the task."""
    element, _, condition = name.partition(".")
    if element == "*":
        return any(condition in known for known in words().elements.values())
    return element == "task" or condition in words().elements.get(element, [])


@cache
def weather_columns() -> dict[str, tuple[str, str]]:
    """Return the house column and its unit for each plain weather name."""
    plain = {name: name.rpartition("_") for name in columns()}
    return {stem: (name, _SUFFIX_UNIT[suffix]) for name, (stem, _, suffix) in plain.items()}


@cache
def computed(quantity: str) -> Callable[..., FloatArray] | None:
    """Return the function of ``module.function``; None where ``rules`` has none."""
    module, _, name = quantity.rpartition(".")
    if not module or is_fact(quantity):
        return None
    try:
        function = getattr(importlib.import_module(f"rules.{module}"), name, None)
    except ModuleNotFoundError:
        return None
    return function if inspect.isfunction(function) else None


@cache
def inputs_of(quantity: str) -> tuple[tuple[str, bool], ...]:
    """Return the arguments of a computed quantity, and whether each must be given."""
    function = computed(quantity)
    if function is None:
        return ()
    arguments = inspect.signature(function).parameters.values()
    return tuple((a.name, a.default is inspect.Parameter.empty) for a in arguments)


@cache
def si_unit(unit: str) -> str:
    """Return the unit kept inside for what this unit measures."""
    kind = UNITS[unit][0]
    return next(name for name, row in UNITS.items() if row == (kind, 1.0, 0.0))


def problem(name: str, unit: str) -> str:
    """Say what is wrong with a quantity and its unit; empty where nothing is."""
    if name in weather_columns():
        return _unit_problem(name, unit, weather_columns()[name][1])
    if name in site_quantities():
        return _unit_problem(name, unit, site_quantities()[name].unit)
    if is_fact(name) or computed(name) is not None:
        return "" if not unit or unit in UNITS else f"unit {unit!r} is not known"
    near = nearest(name, [*weather_columns(), *site_quantities()])
    return f"quantity {name!r} is not known" + (f"; did you mean {near}" if near else "")


def _unit_problem(name: str, unit: str, own: str) -> str:
    if unit not in UNITS:
        return f"unit {unit!r} of {name} is not known"
    if UNITS[unit][0] != UNITS[own][0]:
        return f"{name} is a {UNITS[own][0]}; {unit} measures {UNITS[unit][0]}"
    return ""
