"""How long it takes to read one gridpoint answer; the aim is under 30 ms on one core.

Also told as a ratio to what Python's JSON reader alone takes for the same text, since machines
differ. Run ``python -m tests.benchmarks.weather_answer``.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from scheduler.weather.files import parse_weather
from tests.recorded_data import recorded_files
from tests.weather.mutants import made

AIM_MS = 30.0
ROUNDS = 21


def milliseconds(work: Callable[[], object]) -> float:
    """Return the median time of processor that a piece of work takes."""
    took = []
    for _ in range(ROUNDS):
        began = time.process_time_ns()
        work()
        took.append((time.process_time_ns() - began) / 1e6)
    return median(took)


def answers() -> list[tuple[str, bytes]]:
    """Return the answers to read: the recorded ones, else a small made one."""
    files: list[Path] = recorded_files("nws", "nws-gridpoint-*.json")
    return [(path.stem, path.read_bytes()) for path in files] or [
        ("made", json.dumps(made()).encode())
    ]


def main() -> int:
    """Print a line for each answer; 1 where one takes longer than the aim."""
    slow = 0
    print(f"{'answer':46} {'kB':>6} {'ms':>7} {'times json':>11}")
    for name, raw in answers():
        parse_weather(raw, name)  # columns and patterns are read once a process
        ours = milliseconds(lambda raw=raw, name=name: parse_weather(raw, name))  # type: ignore[misc]
        plain = milliseconds(lambda raw=raw: json.loads(raw))  # type: ignore[misc]
        print(f"{name:46} {len(raw) / 1e3:6.0f} {ours:7.2f} {ours / max(plain, 1e-3):11.1f}")
        slow += ours > AIM_MS
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
