"""Forecast files that must be refused with a clear line, small and hostile."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.weather.gridpoints import answer, layer

C = "wmoUnit:degC"


def _grid(**layers: object) -> bytes:
    return json.dumps(answer(**layers), indent=1).encode()


def _good_layer() -> dict[str, Any]:
    return layer(C, ("00:00:00+00:00/PT3H", 2), ("03:00:00+00:00/PT3H", 4))


def _spoilt(change: Callable[[dict[str, Any]], None]) -> bytes:
    """Return a gridpoint answer whose temperature layer was changed."""
    told = _good_layer()
    change(told)
    return _grid(temperature=told)


def _house(change: Callable[[dict[str, Any]], None]) -> bytes:
    data: dict[str, Any] = {
        "format": "closein-weather/1",
        "issued_at": "2026-10-29T06:00-04:00",
        "hours": {
            "start": "2026-10-29T07:00-04:00",
            "step_h": 1,
            "columns": {
                "air_temperature": {"unit": "degF", "values": [32, 33]},
                "wind_speed": {"unit": "mph", "values": [3, 4]},
            },
        },
    }
    changed = copy.deepcopy(data)
    change(changed)
    return json.dumps(changed, indent=1).encode()


def _csv(*rows: str, head: str = "time,air_temperature_c") -> bytes:
    return "\n".join((head, *rows, "")).encode()


GOOD = _spoilt(lambda told: None)

SMALL: dict[str, bytes] = {
    "empty": b"",
    "blank": b"  \n\n",
    "truncated": GOOD[: len(GOOD) // 2],
    "truncated in a name": GOOD[: GOOD.index(b"validTime") + 4],
    "half a brace": b"{",
    "html": b"<!DOCTYPE html><html><body>Access Denied</body></html>",
    "not utf-8": GOOD.replace(b"degC", b"deg\xff"),
    "utf-16": GOOD.decode().encode("utf-16"),
    "zero bytes": GOOD.replace(b"degC", b"de\0C"),
    "only zero bytes": b"\0" * 1000,
    "a number": b"42",
    "a list": b"[1, 2, 3]",
    "null": b"null",
    "an unknown object": b'{"hello": "world"}',
    "deep nesting": b"[" * 100_000 + b"]" * 100_000,
    "deep objects": b'{"a":' * 50_000 + b"1" + b"}" * 50_000,
    "a key twice": GOOD.replace(b'"gridX": 10', b'"gridY": 10'),
    "NaN literal": _spoilt(lambda t: t["values"][0].update(value=float("nan"))),
    "Infinity literal": _spoilt(lambda t: t["values"][0].update(value=float("inf"))),
    "NaN string": _spoilt(lambda t: t["values"][0].update(value="NaN")),
    "a value of words": _spoilt(lambda t: t["values"][0].update(value="mild")),
    "a value yes": _spoilt(lambda t: t["values"][0].update(value=True)),
    "a value of many digits": _spoilt(lambda t: t["values"][0].update(value=1)).replace(
        b'"value": 1\n', b'"value": ' + b"9" * 5000 + b"\n"
    ),
    "a list as value": _spoilt(lambda t: t["values"][0].update(value=[2])),
    "no value": _spoilt(lambda t: t["values"][0].pop("value")),
    "no interval": _spoilt(lambda t: t["values"][0].pop("validTime")),
    "an interval without offset": _spoilt(
        lambda t: t["values"][0].update(validTime="2026-01-05T00:00:00/PT3H")
    ),
    "an interval without length": _spoilt(
        lambda t: t["values"][0].update(validTime="2026-01-05T00:00:00+00:00")
    ),
    "an interval of months": _spoilt(
        lambda t: t["values"][0].update(validTime="2026-01-05T00:00:00+00:00/P3M")
    ),
    "an interval of no length": _spoilt(
        lambda t: t["values"][0].update(validTime="2026-01-05T00:00:00+00:00/PT0H")
    ),
    "an interval of years": _spoilt(
        lambda t: t["values"][0].update(validTime="2026-01-05T00:00:00+00:00/P9999D")
    ),
    "a day that is not there": _spoilt(
        lambda t: t["values"][0].update(validTime="2026-02-30T00:00:00+00:00/PT3H")
    ),
    "entries that are texts": _spoilt(lambda t: t.update(values=["2", "3"])),
    "values that are no list": _spoilt(lambda t: t.update(values={"0": 2})),
    "a unit of something else": _spoilt(lambda t: t.update(uom="wmoUnit:mm")),
    "a unit nobody knows": _spoilt(lambda t: t.update(uom="wmoUnit:hand")),
    "no unit": _spoilt(lambda t: t.pop("uom")),
    "a layer that is a text": _grid(temperature="mild", windSpeed=_good_layer()),
    "no issue time": GOOD.replace(b"updateTime", b"updated"),
    "an issue time of words": GOOD.replace(b'"updateTime": "2026', b'"updateTime": "new'),
    "a refusal of the service": b'{"type": "https://api.weather.gov/problems/NotFound", '
    b'"title": "Not Found", "status": 404, "detail": "no such cell"}',
    "a list of alerts": b'{"type": "FeatureCollection", "features": []}',
    "house: another version": _house(lambda d: d.update(format="closein-weather/2")),
    "house: no start": _house(lambda d: d["hours"].pop("start")),
    "house: a start without offset": _house(lambda d: d["hours"].update(start="2026-10-29T07:00")),
    "house: a wrong unit": _house(
        lambda d: d["hours"]["columns"]["air_temperature"].update(unit="mph")
    ),
    "house: an unknown column": _house(
        lambda d: d["hours"]["columns"].update(air_temp={"unit": "degF", "values": [1, 2]})
    ),
    "house: columns of two lengths": _house(
        lambda d: d["hours"]["columns"]["wind_speed"].update(values=[3])
    ),
    "house: a step of nothing": _house(lambda d: d["hours"].update(step_h=0)),
    "house: an unknown key": _house(lambda d: d.update(hous=3)),
    "house: a text as value": _house(
        lambda d: d["hours"]["columns"]["air_temperature"].update(values=["32", 33])
    ),
    "house: for ever fresh": _house(lambda d: d.update(age_limit_h=1e9)),
    "csv: an unknown column": _csv("2026-11-09T10:00Z,1", head="time,colour"),
    "csv: no time": _csv("1,2", head="air_temperature_c,wind_speed_ms"),
    "csv: a wrong unit": _csv("2026-11-09T10:00Z,1", head="time,air_temperature [mm]"),
    "csv: no unit": _csv("2026-11-09T10:00Z,1", head="time,air_temperature"),
    "csv: an hour twice": _csv("2026-11-09T10:00Z,1", "2026-11-09T10:00Z,2"),
    "csv: unsorted hours": _csv("2026-11-09T11:00Z,1", "2026-11-09T10:00Z,2"),
    "csv: a time of words": _csv("noon,1"),
    "csv: no offset": _csv("2026-11-09T10:00,1"),
    "csv: half hours": _csv("2026-11-09T10:30Z,1"),
    "csv: NaN": _csv("2026-11-09T10:00Z,NaN"),
    "csv: a comma too many": _csv("2026-11-09T10:00Z,1,2"),
    "csv: an open quote": _csv('2026-11-09T10:00Z,"1'),
    "csv: only a header": _csv(),
    "csv: a column twice": _csv(
        "2026-11-09T10:00Z,1,2", head="time,air_temperature_c,air_temperature [degF]"
    ),
    "csv: a millennium": _csv("1026-11-09T10:00Z,1", "2026-11-09T10:00Z,2"),
    "netcdf without a body": b"CDF\x01" + b"\0" * 40,
}


def hostile(folder: Path) -> list[Path]:
    """Write files made to cost time or memory; return where they are."""
    writers: dict[str, Callable[[Path], object]] = {
        "200 MB of zero bytes": lambda p: _sparse(p, 200_000_000),
        "200 MB of zeros": lambda p: p.write_bytes(b"0" * 200_000_000),
        "16 MB of zeros": lambda p: p.write_bytes(b"0" * 15_900_000),
        "8 million numbers": lambda p: p.write_bytes(b"[" + b"0," * 7_900_000 + b"0]"),
        "5 million objects": lambda p: p.write_bytes(b"[" + b"{}," * 5_200_000 + b"{}]"),
        "8 million values": lambda p: p.write_bytes(
            _house(lambda d: d["hours"]["columns"]["wind_speed"].update(values=["@"])).replace(
                b'"@"', b"0," * 7_900_000 + b"0"
            )
        ),
        "100000 intervals": lambda p: p.write_bytes(_many_intervals(100_000)),
        "a million bad rows": lambda p: p.write_bytes(_csv(*["x,y"] * 900_000)),
        "blank lines": lambda p: p.write_bytes(b"time,air_temperature_c\n" + b"\n" * 15_000_000),
        "a line of commas": lambda p: p.write_bytes(b"," * 15_900_000),
        "a long word": lambda p: p.write_bytes(b"time," + b"a" * 15_900_000),
        "brackets": lambda p: p.write_bytes(b"[" * 15_900_000),
    }
    made = []
    for name, write in writers.items():
        path = folder / name.replace(" ", "-")
        write(path)
        made.append(path)
    return made


def _sparse(path: Path, size: int) -> None:
    with path.open("wb") as file:
        file.truncate(size)


def _many_intervals(count: int) -> bytes:
    entry = '{"validTime":"2026-01-05T00:00:00+00:00/PT600H","value":%d}'
    entries = ",".join(entry % i for i in range(count))
    body = '{"updateTime":"2026-01-05T00:00:00Z","temperature":{"uom":"%s","values":[%s]}}'
    return (body % (C, entries)).encode()
