"""Predecessors in one cell: ``lay; grout + 24 h; top at 70% + 72 h for lower_house``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

ONE: Final = re.compile(
    r"(?P<task>[A-Za-z][A-Za-z0-9_-]*)"
    r"(?P<start>\s+start)?"
    r"(?:\s+at\s+(?P<share>\d+(?:\.\d+)?)\s*%)?"
    r"(?:\s*\+\s*(?P<wait>\d+(?:[.,]\d+)?)\s*(?P<working>working\s+)?(?P<unit>h|d|days?|hours?))?"
    r"(?:\s+for\s+(?P<purpose>[a-z_]+))?"
    r"(?:\s+within\s+(?P<within>\d+(?:[.,]\d+)?)\s*h)?",
    re.IGNORECASE,
)
WANT: Final = "want task ids such as lay; grout + 24 h; top at 70% + 72 h for lower_house"
DAY_H: Final = 24.0


def links_of(text: str) -> list[object]:
    """Return the links of a cell, as the job file has them.

    Raises
    ------
    ValueError
        If a part of it is no predecessor.
    """
    return [_link(part.strip()) for part in re.split(r"[;|\n]", text) if part.strip()]


def _link(text: str) -> object:
    found = ONE.fullmatch(text)
    if found is None:
        raise ValueError(WANT)
    link: dict[str, object] = {"task": found["task"]}
    if found["start"]:
        link["kind"] = "start_start"
    wait = None if found["wait"] is None else float(found["wait"].replace(",", "."))
    if wait is not None and found["unit"].lower().startswith("d"):
        wait *= DAY_H
    if found["share"] is not None:
        gate: dict[str, object] = {"share": round(float(found["share"]) / 100, 6)}
        gate |= {"wait_h": wait} if wait is not None else {}
        gate |= {"purpose": found["purpose"]} if found["purpose"] else {}
        link["gate"] = gate
    elif found["purpose"]:
        raise ValueError(WANT)
    elif wait is not None:
        link["wait_working_h" if found["working"] else "wait_h"] = wait
    if found["within"] is not None:
        link["within_h"] = float(found["within"].replace(",", "."))
    return found["task"] if len(link) == 1 else link


def links_text(value: object) -> str:
    """Return links as one cell."""
    links = value if isinstance(value, list) else [value]
    return "; ".join(_text(link) for link in links)


def _text(link: object) -> str:
    if not isinstance(link, Mapping):
        return str(link)
    text = str(link["task"]) + (" start" if link.get("kind") == "start_start" else "")
    gate = link.get("gate")
    if isinstance(gate, Mapping):
        text += f" at {float(gate['share']) * 100:g}%"
        text += f" + {gate['wait_h']:g} h" if gate.get("wait_h") else ""
        text += f" for {gate['purpose']}" if gate.get("purpose") else ""
    elif link.get("wait_h"):
        text += f" + {link['wait_h']:g} h"
    elif link.get("wait_working_h"):
        text += f" + {link['wait_working_h']:g} working h"
    if link.get("within_h") is not None:
        text += f" within {link['within_h']:g} h"
    return text
