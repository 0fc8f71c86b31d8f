"""The log page: large fields for gloves, one form for each thing that is written down."""

from __future__ import annotations

import html
import secrets
from collections.abc import Mapping, Sequence
from typing import Any, Final

READINGS: Final = (
    ("masonry_temperature", "masonry or grout"),
    ("concrete_temperature", "concrete"),
    ("air_temperature", "air"),
)
CAUSES: Final = ("rain", "wind", "cold", "snow", "heat", "other")
KEY_BYTES: Final = 18


def log_body(parts: Mapping[str, Any], said: Sequence[str] = ()) -> str:
    """Return the forms; ``said`` stands above them: what was written, or what was wrong."""
    tasks = _options([(str(name), str(text)) for name, text in parts["tasks"]])
    causes = _options([(cause, cause) for cause in CAUSES])
    unit = "degF" if parts["units"] == "us" else "degC"
    sign = "\u00b0F" if unit == "degF" else "\u00b0C"
    told = "".join(f'<p class="late" role="status">{html.escape(line)}</p>' for line in said)
    return told + "".join((
        _form("started", "Started", _select("task", "Task", tasks)),
        _form("finished", "Finished", _select("task", "Task", tasks)),
        _form("lost", "Hours lost", _field("hours", "Hours", "decimal")
              + _select("cause", "Because of", causes)),
        _form("reading", "Reading", _select("quantity", "In the", _options(READINGS))
              + _field("value", f"Temperature, {sign}", "decimal")
              + _field("place", "Where on site", "text", needed=False)
              + f'<input type="hidden" name="unit" value="{unit}">'),
        _form("note", "Note", _field("text", "What", "text")),
    ))  # fmt: skip


def _form(what: str, title: str, fields: str) -> str:
    key = secrets.token_urlsafe(KEY_BYTES)
    return (
        f'<form method="post" action="log"><h2>{title}</h2>{fields}'
        f'<input type="hidden" name="what" value="{what}">'
        f'<input type="hidden" name="key" value="{key}">'
        f'<button type="submit">Write down: {title.lower()}</button></form>\n'
    )


def _field(name: str, label: str, mode: str, *, needed: bool = True) -> str:
    required = " required" if needed else ""
    return (
        f'<label>{html.escape(label)}<input name="{name}" inputmode="{mode}" maxlength="200"'
        f"{required}></label>"
    )


def _select(name: str, label: str, options: str) -> str:
    return f'<label>{html.escape(label)}<select name="{name}">{options}</select></label>'


def _options(pairs: Sequence[tuple[str, str]]) -> str:
    return "".join(
        f'<option value="{html.escape(value)}">{html.escape(text)}</option>'
        for value, text in pairs
    )
