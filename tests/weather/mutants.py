"""Spoilt copies of real gridpoint answers, and what each one must not tell any more."""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from scheduler.weather.intervals import HOUR_S, interval_s
from scheduler.weather.nws_grid import LAYERS
from tests.weather.gridpoints import answer, layer

Spoiler = Callable[[dict[str, Any], "Mutant", random.Random], None]
EntryChange = Callable[[dict[str, Any], int, random.Random], None]
LayerChange = Callable[[dict[str, Any], str, random.Random], None]
Lost = set[tuple[str, int]]  # column and hour since 1970


@dataclass
class Mutant:
    """One spoilt answer."""

    raw: bytes
    did: list[str] = field(default_factory=list)
    lost: Lost = field(default_factory=set)  # values that are gone and must not come back
    told_elsewhere: Lost = field(default_factory=set)  # by a second interval, so never lost
    free: set[str] = field(default_factory=set)  # columns that another layer may tell instead
    same: bool = True  # what is still told must be what the original told

    @property
    def name(self) -> str:
        """Return what was done."""
        return ", ".join(self.did)


def made() -> dict[str, Any]:
    """Return an answer to spoil where no recorded one is at hand."""
    temperature = layer(
        "wmoUnit:degC", *((f"{h:02d}:00:00+00:00/PT2H", h / 2) for h in range(0, 24, 2))
    )
    rain = layer("wmoUnit:mm", *((f"{h:02d}:00:00+00:00/PT6H", 3.0) for h in range(0, 24, 6)))
    gust = layer("wmoUnit:km_h-1", *((f"{h:02d}:00:00+00:00/PT3H", 20) for h in range(0, 24, 3)))
    return answer(temperature=temperature, quantitativePrecipitation=rain, windGust=gust)


def mutant(base: dict[str, Any], rng: random.Random) -> Mutant:
    """Return a copy of an answer spoilt in one to three ways."""
    data = dict(base)
    inner = dict(data.get("properties", data))
    if "properties" in data:
        data["properties"] = inner
    else:
        data = inner
    spoilt = Mutant(b"")
    for _ in range(rng.randint(1, 3)):
        rng.choice(CHANGES)(inner, spoilt, rng)
    spoilt.lost -= spoilt.told_elsewhere
    spoilt.raw = json.dumps(data).encode()
    if rng.random() < 0.15:
        rng.choice(BYTES)(spoilt, rng)
    return spoilt


def _picked(inner: dict[str, Any], rng: random.Random) -> tuple[str, dict[str, Any]] | None:
    """Choose a filled layer and put a copy of it in place, free to be spoilt."""
    filled = [
        name
        for name in LAYERS
        if isinstance(inner.get(name), dict)
        and isinstance(inner[name].get("values"), list)
        and inner[name]["values"]
    ]
    if not filled:
        return None
    name = rng.choice(filled)
    inner[name] = {**inner[name], "values": [copy.copy(e) for e in inner[name]["values"]]}
    return name, inner[name]


def _hours(name: str, entry: object) -> Lost:
    """Return the cells that an interval tells."""
    try:
        start, end = interval_s(entry["validTime"])  # type: ignore[index]
    except (ValueError, KeyError, TypeError, AttributeError):
        return set()
    return {(LAYERS[name][0], hour) for hour in range(start // HOUR_S, -(-end // HOUR_S))}


def _on_entry(
    did: str,
    change: Callable[[dict[str, Any], int, random.Random], None],
    *,
    same: bool = True,
    loses: bool = True,
) -> Callable[[dict[str, Any], Mutant, random.Random], None]:
    def spoil(inner: dict[str, Any], spoilt: Mutant, rng: random.Random) -> None:
        picked = _picked(inner, rng)
        if picked is None:
            return
        name, told = picked
        at = rng.randrange(len(told["values"]))
        entry = told["values"][at]
        if loses:
            spoilt.lost |= _hours(name, entry)
        spoilt.same &= same
        spoilt.did.append(f"{did} {name}[{at}]")
        change(told, at, rng)
        if did in {"moved", "told again", "told otherwise"}:
            spoilt.told_elsewhere |= _hours(name, entry)
        if did == "moved":
            spoilt.same = False

    return spoil


def _set(key: str, value: Callable[[random.Random], object]) -> EntryChange:
    def change(told: dict[str, Any], at: int, rng: random.Random) -> None:
        if isinstance(told["values"][at], dict):
            told["values"][at][key] = value(rng)

    return change


def _without(key: str) -> EntryChange:
    def change(told: dict[str, Any], at: int, rng: random.Random) -> None:
        if isinstance(told["values"][at], dict):
            told["values"][at].pop(key, None)

    return change


def _made_odd(told: dict[str, Any], at: int, rng: random.Random) -> None:
    told["values"][at] = rng.choice(GARBAGE)


def _moved(told: dict[str, Any], at: int, rng: random.Random) -> None:
    entry = told["values"][at]
    if isinstance(entry, dict) and isinstance(entry.get("validTime"), str):
        other = told["values"][rng.randrange(len(told["values"]))]
        start = str(other.get("validTime") if isinstance(other, dict) else "").partition("/")[0]
        entry["validTime"] = f"{start}/PT{rng.randint(1, 99)}H"


def _again(told: dict[str, Any], at: int, rng: random.Random) -> None:
    told["values"].insert(rng.randrange(len(told["values"])), copy.copy(told["values"][at]))


def _again_otherwise(told: dict[str, Any], at: int, rng: random.Random) -> None:
    entry = copy.copy(told["values"][at])
    if isinstance(entry, dict) and isinstance(entry.get("value"), int | float):
        entry["value"] = entry["value"] + rng.choice([-2.5, 2.5])
        told["values"].insert(rng.randrange(len(told["values"])), entry)


def _on_layer(
    did: str,
    change: Callable[[dict[str, Any], str, random.Random], None],
    *,
    loses: bool,
    same: bool = True,
) -> Callable[[dict[str, Any], Mutant, random.Random], None]:
    def spoil(inner: dict[str, Any], spoilt: Mutant, rng: random.Random) -> None:
        picked = _picked(inner, rng)
        if picked is None:
            return
        name, told = picked
        # Words of the weather layer may stand for an absent chance of thunder, not for a lost one.
        if loses and name == "probabilityOfThunder" and "weather" in inner:
            spoilt.free.add(LAYERS[name][0])
        elif loses:
            for entry in told["values"]:
                spoilt.lost |= _hours(name, entry)
        spoilt.same &= same
        spoilt.did.append(f"{did} {name}")
        change(inner, name, rng)

    return spoil


GARBAGE: list[object] = ["", "NaN", "mild", [], [3], {}, {"value": 3}, True, 1e400, -1e300, "1_0"]
UNITS = ["wmoUnit:degF", "wmoUnit:K", "wmoUnit:m_s-1", "wmoUnit:kt", "wmoUnit:in", "wmoUnit:cm"]
NO_UNITS: list[object] = ["wmoUnit:hand", "", None, 3, [], "degrees"]

CHANGES: list[Callable[[dict[str, Any], Mutant, random.Random], None]] = [
    _on_entry("dropped", lambda told, at, _: told["values"].pop(at)),
    _on_entry("nulled", _set("value", lambda _: None)),
    _on_entry("garbled", _set("value", lambda rng: rng.choice(GARBAGE))),
    _on_entry("without value", _without("value")),
    _on_entry("without time", _without("validTime")),
    _on_entry(
        "made odd", lambda told, at, rng: told["values"].__setitem__(at, rng.choice(GARBAGE))
    ),
    _on_entry("told again", _again, loses=False),
    _on_entry("told otherwise", _again_otherwise, loses=False, same=False),
    _on_entry(
        "time spoilt",
        _set("validTime", lambda rng: rng.choice(["", "NOW/PT1H", "2026-13-01T00:00Z/PT1H", 7])),
    ),
    _on_entry(
        "implausible",
        _set("value", lambda rng: rng.choice([9999, -9999, 1e9, -1e9])),
    ),
    _on_entry(
        "moved",
        _set(
            "validTime",
            lambda rng: f"2026-01-{rng.randint(1, 31):02d}T00:00Z/PT{rng.randint(1, 99)}H",
        ),
        same=False,
    ),
    _on_layer(
        "shuffled", lambda inner, name, rng: rng.shuffle(inner[name]["values"]), loses=False
    ),
    _on_layer("emptied", lambda inner, name, _: inner[name].update(values=[]), loses=True),
    _on_layer("removed", lambda inner, name, _: inner.pop(name), loses=True),
    _on_layer("as text", lambda inner, name, _: inner.update({name: "mild"}), loses=True),
    _on_layer(
        "without unit",
        lambda inner, name, rng: inner[name].update(uom=rng.choice(NO_UNITS)),
        loses=False,
        same=False,
    ),
    _on_layer(
        "unit swapped",
        lambda inner, name, rng: inner[name].update(uom=rng.choice(UNITS)),
        loses=False,
        same=False,
    ),
    _on_layer("cut short", lambda inner, name, rng: _cut(inner[name], rng), loses=False),
]


def _cut(told: dict[str, Any], rng: random.Random) -> None:
    del told["values"][rng.randrange(len(told["values"])) :]


def _truncated(spoilt: Mutant, rng: random.Random) -> None:
    spoilt.raw = spoilt.raw[: rng.randrange(len(spoilt.raw))]
    spoilt.did.append("truncated")


def _flipped(spoilt: Mutant, rng: random.Random) -> None:
    raw = bytearray(spoilt.raw)
    for _ in range(rng.randint(1, 8)):
        raw[rng.randrange(len(raw))] = rng.randrange(256)
    spoilt.raw, spoilt.same, spoilt.lost = bytes(raw), False, set()
    spoilt.did.append("bytes flipped")


def _pieces(spoilt: Mutant, rng: random.Random) -> None:
    a, b = sorted(rng.randrange(len(spoilt.raw)) for _ in range(2))
    spoilt.raw, spoilt.same, spoilt.lost = spoilt.raw[:a] + spoilt.raw[b:], False, set()
    spoilt.did.append("a piece cut out")


BYTES: list[Callable[[Mutant, random.Random], None]] = [_truncated, _flipped, _pieces]
