"""The templates of this room: what ends in ``.html.jinja`` is escaped, a missing name is a bug."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def environment() -> Environment:
    """Return the one environment that every template is read in."""
    from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

    return Environment(
        loader=PackageLoader("scheduler.output", "templates"),
        autoescape=select_autoescape(("html.jinja", "html"), default_for_string=False),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
