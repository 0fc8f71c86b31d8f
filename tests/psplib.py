"""PSPLIB, a public benchmark of project scheduling, read as planning problems.

R. Kolisch and A. Sprecher, "PSPLIB - A project scheduling problem library", European Journal of
Operational Research 96 (1997) 205-216. Files ``jNNG_K.sm``; makespans known best stand beside
them in ``best_known.csv``.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from scheduler.planning.network import Problem, Tie, Work
from scheduler.planning.tables import NEVER, ready_after


@dataclass(frozen=True)
class Instance:
    """One file: durations, successors, demands; jobs from 1, first and last of no duration."""

    name: str
    duration: dict[int, int]
    successors: dict[int, list[int]]
    demand: dict[int, list[int]]
    capacity: list[int]

    def problem(self) -> Problem:
        """Return the instance as a planning problem over the sum of its durations."""
        hours = sum(self.duration.values()) + 1
        ready = ready_after(hours, 0)
        crews = {f"r{n}": size for n, size in enumerate(self.capacity)}
        return Problem(
            hours=hours,
            tasks=tuple(
                Work(
                    id=f"{job:03d}",
                    finish=_finish(hours, self.duration[job]),
                    crews={f"r{n}": need for n, need in enumerate(self.demand[job]) if need},
                )
                for job in sorted(self.duration)
            ),
            ties=tuple(
                Tie(before=f"{job:03d}", after=f"{after:03d}", ready=ready)
                for job in sorted(self.successors)
                for after in self.successors[job]
            ),
            crews=crews,
        )


def _finish(hours: int, duration: int) -> np.ndarray:
    finish = np.arange(hours, dtype=np.int32) + duration
    return np.where(finish < hours + (duration > 0), finish, NEVER).astype(np.int32)


def read_instance(path: Path) -> Instance:
    """Read one single-mode file."""
    text = path.read_text(encoding="ascii")
    links = _rows(text, "PRECEDENCE RELATIONS:")
    needs = _rows(text, "REQUESTS/DURATIONS:")
    (capacity,) = _rows(text, "RESOURCEAVAILABILITIES:")
    instance = Instance(
        name=path.stem,
        duration={row[0]: row[2] for row in needs},
        successors={row[0]: row[3:] for row in links},
        demand={row[0]: row[3:] for row in needs},
        capacity=capacity,
    )
    assert all(len(row) == 3 + row[2] for row in links), f"{path.name}: successors miscounted"
    assert instance.duration.keys() == instance.successors.keys()
    return instance


def _rows(text: str, title: str) -> list[list[int]]:
    section = text.split(title, 1)[1].split("****", 1)[0]
    lines = [line.split() for line in section.splitlines()]
    return [[int(x) for x in line] for line in lines if line and line[0].isdigit()]


def best_known(folder: Path) -> dict[str, tuple[int, int]]:
    """Return lower and upper bound of each instance, from the table beside the folder."""
    with (folder.parent / "best_known.csv").open(encoding="ascii", newline="") as file:
        return {
            row["instance"]: (int(row["lower_bound"]), int(row["upper_bound"]))
            for row in csv.DictReader(file)
        }


def files_of(folder: Path) -> list[Path]:
    """Return a folder's instances in the order of their numbers."""
    return sorted(folder.glob("*.sm"), key=lambda p: [int(n) for n in re.findall(r"\d+", p.stem)])
