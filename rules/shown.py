"""How values and the book's own words read in a job's units: nobody reads a limit in the other's.

The book keeps each clause in the clause's own unit. What a person reads is in the job's, with the
figures as near as a habit of the trade would round them.
"""

from __future__ import annotations

import re
from typing import Final

from rules.units import convert

SIGN: Final = {
    "degC": "°C", "degF": "°F", "delta_degC": "°C", "delta_degF": "°F", "m/s": "m/s",
    "mph": "mph", "yes_no": "", "count": "", "1": "", "h": "h", "d": "d",
}  # fmt: skip
# What a person reads in each system for a unit of the other one.
SHOWN: Final = {
    "us": {
        "degC": "degF", "delta_degC": "delta_degF", "m/s": "mph", "km/h": "mph", "mm": "in",
        "m": "ft", "MPa": "psi", "kg/m2/h": "lb/ft2/h",
    },
    "si": {
        "degF": "degC", "delta_degF": "delta_degC", "mph": "m/s", "km/h": "m/s", "in": "mm",
        "ft": "m", "psi": "MPa", "lb/ft2/h": "kg/m2/h",
    },
}  # fmt: skip
WRITTEN: Final = {  # how the book's words write a unit
    "°F": "degF", "F": "degF", "degF": "degF", "°C": "degC", "C": "degC", "degC": "degC",
    "mph": "mph", "km/h": "km/h", "m/s": "m/s", "ft": "ft", "in.": "in", "in": "in", "mm": "mm",
    "m": "m", "psi": "psi", "MPa": "MPa", "N/mm2": "MPa", "lb/ft2/h": "lb/ft2/h",
    "kg/m2/h": "kg/m2/h",
}  # fmt: skip
NUMBER: Final = r"[-−]?\d+/\d+|[-−]?\d+(?:\.\d+)?"
UNIT: Final = r"°F|°C|degF|degC|F|C|mph|km/h|m/s|ft|in\.|in|mm|m|psi|MPa|N/mm2|lb/ft2/h|kg/m2/h"
FEET_AND_INCHES: Final = re.compile(r"(?<![\w.])(\d+) ft (\d+) in\.(?: and)?(?!\w)")
# Not a clause's number ("1.8 C" of TMS 602, "1.8 C.3"), nor the word "in" ("2 in the log").
VALUES: Final = re.compile(
    rf"(?<![\w./-])(?!1\.8 C)(?P<low>{NUMBER})(?:(?P<to> to | and )(?P<high>{NUMBER}))?"
    rf" ?(?P<unit>{UNIT})"
    r"(?=(?P<rest>\)|[,;:]|\.?$|\.? |\]))(?!\.\d)"
)
PAIR: Final = re.compile(
    rf"(?P<one>(?:{NUMBER}) ?(?P<unit>{UNIT})) \((?P<other>(?:{NUMBER}) ?(?P<other_unit>{UNIT}))\)"
)
DIFFERENCE: Final = re.compile(r"(drop|differ\w*|cooler|warmer by|fall of)[^;]*$", re.IGNORECASE)
FIGURES: Final = {"degC": 1, "degF": 1, "m/s": 1, "mph": 1, "in": 1, "m": 1, "ft": 1, "MPa": 1}


def number_shown(value: float, unit: str, units: str) -> str:
    """Return a value with its unit as a job's people read it."""
    shown_unit = SHOWN.get(units, {}).get(unit, unit)
    shown = convert(float(value), unit, shown_unit) if shown_unit != unit else float(value)
    text = f"{shown:.2f}" if abs(shown) < 1 and shown != 0 else f"{shown:.1f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    text = "0" if text in {"-0", ""} else text.replace("-", "−")
    return f"{text} {SIGN.get(shown_unit, shown_unit)}".strip()


def shown(value: float | bool | None, unit: str, units: str) -> str:
    """Return what was read or reckoned, in a job's units."""
    if value is None:
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return number_shown(value, unit, units)


def prose(text: str, units: str) -> str:
    """Return words of the book with every figure in a job's units.

    Where a text gives both, ``50 °F (10 °C)``, the job's own is kept.

    Parameters
    ----------
    text : str
    units : str
        ``us`` or ``si``; any other leaves the text as it is.
    """
    if units not in SHOWN:
        return text
    text = PAIR.sub(lambda found: _own(found, units), text)
    text = FEET_AND_INCHES.sub(lambda found: _feet(found, units), text)
    return VALUES.sub(lambda found: _value(found, text, units), text)


def _own(found: re.Match[str], units: str) -> str:
    foreign = WRITTEN[found["unit"]] in SHOWN[units]
    return found["other"] if foreign else found["one"]


def _feet(found: re.Match[str], units: str) -> str:
    if units != "si":
        return found[0]
    return f"{convert(float(found[1]) * 12.0 + float(found[2]), 'in', 'm'):.2g} m"


def _value(found: re.Match[str], text: str, units: str) -> str:
    unit = WRITTEN[found["unit"]]
    to = SHOWN[units].get(unit)
    if to is None or (found["unit"] == "in" and found["rest"] not in {",", ";", ")", "]"}):
        return found[0]
    if unit in {"degF", "degC"} and DIFFERENCE.search(text[: found.start()]):
        unit, to = f"delta_{unit}", f"delta_{to}"
    parts = [_figure(found["low"], unit, to)]
    if found["high"]:
        parts.append(_figure(found["high"], unit, to))
    joined = (found["to"] or "").join(parts)
    return f"{joined} {SIGN.get(to, to)}"


def _figure(text: str, unit: str, to: str) -> str:
    top, _, under = text.replace("−", "-").partition("/")
    value = convert(float(top) / float(under or 1.0), unit, to)
    if abs(value) < 1.0:
        return f"{value:.2g}".replace("-", "−")
    digits = FIGURES.get(to.removeprefix("delta_"), 0 if abs(value) >= 10.0 else 1)
    shown = f"{value:.{digits}f}"
    return (shown.rstrip("0").rstrip(".") if "." in shown else shown).replace("-", "−")
