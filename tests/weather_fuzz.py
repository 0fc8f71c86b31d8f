"""Spoil real answers many times over; nothing may break, and nothing lost may come back.

Run ``python -m tests.weather_fuzz --mutants 20000``. Each mutant is read twice, as a file (which
refuses faults) and as an answer of the service (which turns them into gaps). Asked each time: does
anything but a plain refusal come out; is any value told that the mutant no longer holds; does any
value differ from what the original told, where the change was a loss and not another value.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import random
import sys
import traceback
from collections import Counter
from typing import Any

import numpy as np

from rules.errors import CloseinError
from scheduler.planning.tables.hours import HourlyTable
from scheduler.weather.files import parse_weather
from scheduler.weather.nws import NwsGridpoints
from tests.recorded_data import recorded_files
from tests.weather.mutants import Mutant, made, mutant


def bases() -> list[dict[str, Any]]:
    """Return the answers to spoil: the recorded ones where they are, a made one always."""
    files = recorded_files("nws", "nws-gridpoint-*.json")
    return [made(), *(json.loads(path.read_text(encoding="utf-8")) for path in files)]


def complaint(spoilt: Mutant, table: HourlyTable, original: HourlyTable) -> str:
    """Return what is wrong with what was read, "" where nothing is."""
    begin = {hour: i for i, hour in enumerate(table.start.astype(np.int64).tolist())}
    for column, hour in spoilt.lost:
        if column in spoilt.free:  # the layer is gone as a whole, and another may tell instead
            continue
        if hour in begin and np.isfinite(table.column(column)[begin[hour]]):
            return f"{column} is known at hour {hour} although it was lost"
    if not spoilt.same or not table.hours:
        return ""
    shift = int(table.start[0].astype(np.int64) - original.start[0].astype(np.int64))
    for column, values in table.columns.items():
        if column in spoilt.free:
            continue
        known = np.flatnonzero(np.isfinite(values))
        there = (known + shift >= 0) & (known + shift < original.hours)
        if not there.all():
            return f"{column} is known outside the original's hours"
        told = original.column(column)[known + shift]
        if not np.array_equal(values[known], told):
            return f"{column} has other values than the original"
    return ""


def read_both_ways(spoilt: Mutant) -> tuple[str, list[HourlyTable]]:
    """Read a mutant as a file and as an answer; return what became of the file, and the tables."""
    tables = []
    try:
        tables.append(parse_weather(spoilt.raw, "mutant.json").table)
        verdict = "read"
    except CloseinError as error:
        verdict = "refused"
        if not error.lines() or any("\n" in line for line in error.lines()):
            raise AssertionError("a refusal without a clear line") from error
    with contextlib.suppress(CloseinError):
        tables.append(NwsGridpoints().parse(spoilt.raw).table)
    return verdict, tables


def fuzz(mutants: int, seed: int) -> tuple[Counter[str], list[str]]:
    """Return how many mutants ended how, and every complaint."""
    rng = random.Random(seed)
    answers = bases()
    originals = [parse_weather(json.dumps(a).encode(), "original").table for a in answers]
    ends: Counter[str] = Counter()
    complaints: list[str] = []
    for number in range(mutants):
        which = rng.randrange(len(answers))
        spoilt = mutant(answers[which], rng)
        try:
            verdict, tables = read_both_ways(spoilt)
        except Exception:
            verdict, tables = "broke", []
            complaints.append(f"mutant {number} ({spoilt.name}):\n{traceback.format_exc()}")
        ends[verdict] += 1
        for table in tables:
            told = complaint(spoilt, table, originals[which])
            if told:
                complaints.append(f"mutant {number} ({spoilt.name}): {told}")
    return ends, complaints


def main() -> int:
    """Run from the command line; 1 where anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mutants", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    ends, complaints = fuzz(given.mutants, given.seed)
    for line in complaints[:20]:
        print(line)
    print(f"{given.mutants} mutants: {dict(ends)}; {len(complaints)} complaints")
    return 1 if complaints else 0


if __name__ == "__main__":
    sys.exit(main())
