"""What a person wrote, as a value: lengths with or without a unit, days, choices."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import Final

from rules.errors import BadInput
from rules.units import convert
from scheduler.newjob.questions import Form, Question

Value = str | bool | int | float | date | datetime | tuple[float, ...] | None

PART: Final = re.compile(
    r"\s*(-?\d+(?:[.,]\d+)?)\s*(ft|feet|foot|in|inch|inches|'|\"|mm|cm|m)?\.?\s*", re.I
)
UNIT: Final = {
    "feet": "ft", "foot": "ft", "'": "ft", "inch": "in", "inches": "in", '"': "in",
}  # fmt: skip
YES: Final = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}


class AnswerFault(BadInput):
    """One answer that cannot be taken: which, what it is, and what would be right."""

    def __init__(self, question: Question, value: object, want: str) -> None:
        name = question.key.replace("_", "-")
        super().__init__(f"--{name} is {str(value)!r}; {want}")


def read(question: Question, text: str, units: str) -> Value:
    """Return the value of an answer, lengths in metres, temperature in °C; None where left out.

    Raises
    ------
    AnswerFault
        If the text is no answer to the question, or out of its bounds.
    """
    text = text.strip()
    if not text:
        return None
    try:
        value = READERS[question.form](question, text, units)
    except ValueError as error:
        raise AnswerFault(question, text, str(error) or _wants(question)) from error
    for number in value if isinstance(value, tuple) else (value,):
        if isinstance(number, int | float) and not isinstance(number, bool):
            _check(question, text, number, units)
    return value


def _check(question: Question, text: str, value: float, units: str) -> None:
    low, high = question.low, question.high
    below = low is not None and value < low - 1e-9
    above = high is not None and value > high + 1e-9
    if below or above:
        raise AnswerFault(question, text, _range(question, units))


def _range(question: Question, units: str) -> str:
    shown = [_shown(question, bound, units) for bound in (question.low, question.high)]
    return f"want {shown[0]} to {shown[1]}"


def _shown(question: Question, value: float | None, units: str) -> str:
    if value is None:
        return "any"
    if question.form in {Form.LENGTH, Form.LENGTHS}:
        return length_text(value, units, small=question.small)
    if question.form is Form.TEMPERATURE and units == "us":
        return f"{convert(value, 'degC', 'degF'):g} F"
    return f"{value:g}"


def length_text(value_m: float, units: str, *, small: bool = False) -> str:
    """Return a length as people of those units write it."""
    unit = _bare(units, small=small)
    size = float(convert(value_m, "m", unit))
    return f"{float(f'{size:.4g}'):g} {unit}"


def _bare(units: str, *, small: bool) -> str:
    """Return the unit that a bare length is in."""
    return ("in" if small else "ft") if units == "us" else ("mm" if small else "m")


def metres(text: str, units: str, *, small: bool = False) -> float:
    """Return a length in metres: ``7 ft 6 in``, ``2.3 m``; a bare number is in the units given."""
    bare = _bare(units, small=small)
    total, at = 0.0, 0
    while at < len(text):
        found = PART.match(text, at)
        if found is None or found.end() == at:
            raise ValueError("want a length such as 24 ft, 7 ft 6 in or 2.3 m")
        unit = (found[2] or bare).lower()
        value = float(found[1].replace(",", "."))
        total += convert(value, UNIT.get(unit, unit), "m")
        at = found.end()
    return total


def _length(question: Question, text: str, units: str) -> Value:
    return metres(text, units, small=question.small)


def _lengths(question: Question, text: str, units: str) -> Value:
    return tuple(
        metres(part.strip(), units, small=question.small) for part in re.split(r"[,;]\s*", text)
    )


def _area(_: Question, text: str, units: str) -> Value:
    found = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(?:sq\.?\s*)?(ft|m)?2?", text, re.I)
    if found is None:
        raise ValueError("want an area such as 120 ft2 or 11 m2")
    unit = (found[2] or ("ft" if units == "us" else "m")).lower()
    return float(found[1]) * float(convert(1.0, unit, "m")) ** 2


def _choice(question: Question, text: str, _: str) -> Value:
    if text in question.choices:
        return text
    raise ValueError(f"want one of {', '.join(question.choices)}")


def _yes_no(_: Question, text: str, __: str) -> Value:
    if text.lower() not in YES:
        raise ValueError("want yes or no")
    return YES[text.lower()]


def _whole(_: Question, text: str, __: str) -> Value:
    if not re.fullmatch(r"-?\d+", text):
        raise ValueError("want a whole number")
    return int(text)


def _number(_: Question, text: str, __: str) -> Value:
    if not re.fullmatch(r"-?\d+(\.\d+)?", text):
        raise ValueError("want a number")
    return float(text)


def _temperature(_: Question, text: str, units: str) -> Value:
    found = re.fullmatch(r"(-?\d+(?:\.\d+)?)\s*(?:deg|°)?\s*([FfCc])?", text)
    if found is None:
        raise ValueError("want a temperature such as 40 F or 5 C")
    unit = (found[2] or ("F" if units == "us" else "C")).upper()
    return convert(float(found[1]), f"deg{unit}", "degC")


def _day(_: Question, text: str, __: str) -> Value:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError("want a day such as 2026-10-05") from None


def _moment(_: Question, text: str, __: str) -> Value:
    try:
        told = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError("want a local time such as 2026-10-05T08:00") from None
    if told.tzinfo is not None:
        raise ValueError("want a local time without an offset")
    return told


def _text(_: Question, text: str, __: str) -> Value:
    if len(text) > 120 or any(ord(sign) < 32 for sign in text):
        raise ValueError("want one line of at most 120 signs")
    return text


def _wants(question: Question) -> str:
    return f"want a {question.form.value}"


READERS: Final[Mapping[Form, Callable[[Question, str, str], Value]]] = {
    Form.TEXT: _text,
    Form.CHOICE: _choice,
    Form.YES_NO: _yes_no,
    Form.WHOLE: _whole,
    Form.NUMBER: _number,
    Form.LENGTH: _length,
    Form.LENGTHS: _lengths,
    Form.AREA: _area,
    Form.TEMPERATURE: _temperature,
    Form.DAY: _day,
    Form.MOMENT: _moment,
}
