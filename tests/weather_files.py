"""Read every file of a folder and say what each is, how long, with how many gaps.

Run ``python -m tests.weather_files FOLDER``. Each line is one file: its kind, hours, gaps (hours
of columns without a value) and the verdict: read, or refused with the reason. Exits 1 where a file
ended in anything but one of the two. It holds for files nobody tuned the readers to.
"""

from __future__ import annotations

import re
import sys
import traceback
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rules.errors import CloseinError, WeatherUnavailable
from scheduler.planning.model.job import Site
from scheduler.planning.tables.hours import HourlyTable
from scheduler.weather.climate import parse_record, stations_of
from scheduler.weather.files import bytes_of, is_grid, parse_weather
from scheduler.weather.grid_file import NETCDF_MARKS
from scheduler.weather.grids.framing import fields_of
from scheduler.weather.grids.inventory import read_inventory, wanted
from scheduler.weather.grids.messages import sort_out
from scheduler.weather.json_text import JsonDocument
from scheduler.weather.nws_alerts import read_alerts
from scheduler.weather.nws_answers import answered_body, kind_of
from scheduler.weather.nws_periods import read_periods
from scheduler.weather.records import DailyRecord

INVENTORY = re.compile(r"\d+:\d+:d=\d")


@dataclass(frozen=True)
class Told:
    """What was found in one file."""

    kind: str
    hours: int = 0
    gaps: int = 0
    verdict: str = "read"


def of_table(kind: str, table: HourlyTable, note: str = "") -> Told:
    """Return what a table of hours holds."""
    gaps = sum(int(np.isnan(values).sum()) for values in table.columns.values())
    return Told(kind, table.hours, gaps, f"read{note}")


def json_file(raw: bytes, name: str) -> Told:
    """Read an answer of the weather service or a house file."""
    document = JsonDocument(raw, name)
    body = answered_body(document.data)
    if body is not None:
        told = json_file(body.encode(), name)
        return Told(f"exchange: {told.kind}", told.hours, told.gaps, told.verdict)
    kind = kind_of(document.data)
    if kind == "period forecast":
        periods = read_periods(document)
        lost = sum(np.isnan(p.air_temperature_c) for p in periods)
        hours = sum(round((p.end - p.start).total_seconds() / 3600) for p in periods)
        return Told(kind, hours, int(lost), _with_faults(document, "read, for cross-checks only"))
    if kind == "list of alerts":
        alerts = read_alerts(document) or ()
        return Told(kind, 0, 0, _with_faults(document, f"read: {len(alerts)} alerts"))
    if kind == "points answer":
        return Told(kind, 0, 0, "read: names the cell, holds no hours")
    return of_table("forecast", parse_weather(raw, name).table)


def _with_faults(document: JsonDocument, verdict: str) -> str:
    faults = document.faults()
    return f"{verdict}; {len(faults)} values refused: {faults[0]}" if faults else verdict


def text_file(raw: bytes, name: str) -> Told:
    """Read an hourly CSV, or a station's record of days or hours."""
    first = raw[:4000].split(b"\n", 1)[0].decode("utf-8", "replace")
    if "time" in {head.strip() for head in first.split(",")} or first.startswith("#"):
        return of_table("hourly csv", parse_weather(raw, name).table)
    if INVENTORY.match(first):
        lines = read_inventory(raw.decode("utf-8", "replace"), name)
        fields = f"read: {len(lines)} fields, {len(wanted(lines))} of use"
        return Told("inventory of a grid", 0, 0, fields)
    stations = stations_of(raw, name)
    record = parse_record(raw, name, station=stations[0] if len(stations) > 1 else "")
    note = f" (station {stations[0]} of {len(stations)})" if len(stations) > 1 else ""
    if isinstance(record, DailyRecord):
        gaps = 24 * sum(int(np.isnan(values).sum()) for values in record.columns.values())
        return Told("daily record", 24 * record.day.size, gaps, f"read{note}")
    return of_table("hourly record", record.table, note)


def grid_file(raw: bytes, name: str) -> Told:
    """Read a grid at its own middle, or at the first of a few cells that has values."""
    if not raw.startswith(NETCDF_MARKS) and b"GRIB" in raw[:256]:
        missed: CloseinError | None = None
        for site in sites_on(raw, name):
            try:
                table = parse_weather(raw, name, site).table
            except WeatherUnavailable as error:
                missed = error
                continue
            at = f" at {site.latitude_deg:.2f}, {site.longitude_deg:.2f}"
            return of_table("grid", table, at)
        if missed is not None:
            raise missed
    return of_table("grid", parse_weather(raw, name, Site("", 0.0, 0.0, 0.0, "UTC")).table)


def sites_on(raw: bytes, name: str) -> Iterator[Site]:
    """Yield cells spread over the first grid of a file that is read, its middle first."""
    for message in sort_out(fields_of(raw, name)).chosen[:1]:
        grid = message.grid
        for down, across in ((2, 2), (3, 2), (2, 3), (4, 3), (3, 4), (1, 1)):
            row, column = (
                np.array([grid.rows // down - (down == 1)]),
                np.array([grid.columns // across - (across == 1)]),
            )
            lat, lon = grid.place(row, column)
            if np.isfinite(lat).all() and np.isfinite(lon).all():
                yield Site("", float(lat[0]), float(lon[0]), 0.0, "UTC")


def judged(path: Path) -> tuple[Told, str]:
    """Return what a file holds, and the traceback where reading it broke."""
    kind = "file"
    try:
        raw = bytes_of(path)
        reader: Callable[[bytes, str], Told]
        if is_grid(raw):
            kind, reader = "grid", grid_file
        elif raw[:100].lstrip()[:1] in (b"{", b"["):
            kind, reader = "json", json_file
        else:
            kind, reader = "text", text_file
        return reader(raw, path.name), ""
    except CloseinError as error:
        lines = error.lines()
        more = f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""
        reason = lines[0].removeprefix(f"{path.name}: ").removeprefix(path.name)
        return Told(kind, verdict=f"refused: {reason}{more}"), ""
    except Exception:
        return Told(kind, verdict="BROKE"), traceback.format_exc()


def report(folder: Path, say: Callable[[str], object] = print) -> int:
    """Say what every file of a folder holds; return how many broke."""
    paths: Iterable[Path] = sorted(p for p in folder.rglob("*") if p.is_file())
    broke = 0
    say(f"{'file':58} {'kind':26} {'hours':>7} {'gaps':>8}  verdict")
    for path in paths:
        told, trace = judged(path)
        name = path.relative_to(folder).as_posix()
        say(f"{name[-58:]:58} {told.kind:26} {told.hours:7d} {told.gaps:8d}  {told.verdict[:180]}")
        if trace:
            broke += 1
            say(trace)
    return broke


def main() -> int:
    """Run from the command line."""
    if len(sys.argv) != 2 or not Path(sys.argv[1]).is_dir():
        print("usage: python -m tests.weather_files FOLDER")
        return 2
    return 1 if report(Path(sys.argv[1])) else 0


if __name__ == "__main__":
    sys.exit(main())
