"""Plan and calls take their facts from one maker: on random logs both say the same of a row."""

from __future__ import annotations

import os
from collections import Counter
from datetime import timedelta

import numpy as np
import pytest

from rules.grading import is_on_site, row_on_site
from rules.kinds import Form, kind_of
from rules.quantities import is_fact
from rules.verdict import KEYS
from rules.weather import Weather
from rules.words import site_quantities, words
from scheduler.planning.evidence.facts import asked_with
from scheduler.planning.evidence.known import known
from scheduler.planning.evidence.trial import Trial
from scheduler.planning.model.answer import Span
from scheduler.planning.model.job import Job, State, Task
from scheduler.planning.model.log import Entry, Fact, Progress, Reading
from scheduler.planning.model.means import with_means
from scheduler.planning.rulings.rows import ruling
from tests.planning.evidence.made import BOOK, MILD, NOW, job, log, mild

SOAK = bool(os.environ.get("CLOSEIN_SOAK"))
PLACES = ("", "north", "North wall", "south wall", "pallet 2")
HOURS = 30
ROWS = [row for row in BOOK.rows if is_on_site(row) and not row.only_advises]
WORK = sorted({kind for row in ROWS for kind in row.work_types})
SIZES = ("height_m", "unbalanced_height_m", "lift_height_m", "pour_height_m", "depth_m")
YES_NO = ("braced", "floor_attached", "tied_to_final_support", "grouted")


def a_job(rng: np.random.Generator) -> Job:
    tasks = []
    for number in range(4):
        element: dict[str, object] = {
            key: float(rng.uniform(0.3, 5.0)) for key in SIZES if rng.random() < 0.3
        }
        element |= {key: bool(rng.random() < 0.5) for key in YES_NO if rng.random() < 0.3}
        ended = NOW - timedelta(hours=float(rng.uniform(1, 200)))
        done = rng.random() < 0.4
        tasks.append(
            Task(
                id=f"t{number}",
                name=f"t{number}",
                work_type=str(rng.choice(WORK)),
                duration_h=float(rng.integers(1, 8)),
                place=str(rng.choice(("", "", "north", "south"))),
                beside=str(rng.choice(("", "wall"))),
                state=State.DONE if done else State.TO_DO,
                finished_at=ended if done else None,
                element=element,
            )
        )
    return job(*tasks)


def a_log(rng: np.random.Generator, made: Job) -> tuple[Entry, ...]:
    """Return readings and facts of what the rows look at, up to ten days old, at any spot."""
    what: list[Reading | Fact] = []
    kinds = {task.work_type for task in made.tasks}
    rows = [row for row in ROWS if not kinds.isdisjoint(row.work_types)]
    for _ in range(int(rng.integers(5, 40))):
        row = rows[int(rng.integers(len(rows)))]
        at = NOW - timedelta(hours=float(rng.choice((0.1, 0.7, 3.0, 20.0, 240.0)) * rng.random()))
        place = str(rng.choice(PLACES))
        edges = [band.up_to for band in row.bands if band.up_to is not None]
        near = float(rng.choice(edges) + rng.normal(0, 2)) if edges else 0.0
        if is_fact(row.quantity):
            element, _, key = row.quantity.partition(".")
            if element in words().elements:
                value: object = near if edges else bool(rng.random() < 0.5)
                unit = row.unit if edges else ""
                since = at if rng.random() < 0.7 else None
                what.append(Fact(element, key, value, unit, since, place))
        elif row.quantity in site_quantities():
            what.append(Reading(row.quantity, near, row.unit, place, at))
    return log(*sorted(what, key=lambda one: one.at or NOW))


@pytest.mark.parametrize("seed", range(60 if SOAK else 6))
def test_both_readers_take_the_same_facts(seed: int) -> None:
    rng = np.random.default_rng(seed)
    compared: Counter[str] = Counter()
    for _ in range(8):
        made = a_job(rng)
        entries = a_log(rng, made)
        seen = known(made, mild(), None, Progress(entries), NOW)
        weather = Weather({name: np.full(HOURS, v) for name, v in MILD.items()}, HOURS)
        for task in made.tasks:
            compared += compare(seen, task, weather, start=int(rng.integers(0, 6)))
    assert compared.total() > 100
    assert compared["no_go"] > 5


def compare(seen: object, task: Task, weather: Weather, *, start: int) -> Counter[str]:
    """Compare what both make of every row on site that binds a task, at one start."""
    found: Counter[str] = Counter()
    at = NOW + timedelta(hours=start)
    trial = Trial(seen, task, Span(at, at + timedelta(hours=1)))  # type: ignore[arg-type]
    asked = with_means(asked_with(trial.known.evidence, task, NOW), trial.known.job, NOW, NOW)
    for row in BOOK.rows_for(task.work_type):
        if row not in ROWS or (row.unsaid is not None):
            continue
        call = ruling(trial, row)
        plan = KEYS[type(row.bands[0].outcome)(int(row_on_site(row, asked, weather)[start]))]
        told = "go" if call is None else call.outcome.value
        unread = call is not None and call.limit is not None and call.limit.value is None
        if plan == told or (unread and told == "not_known"):
            found[told] += 1
            continue
        # What stands or is finished asks for its measures without waiting for them.
        waits = kind_of(task.work_type).form is Form.WORK and task.state is State.TO_DO
        assert not waits, (row.id, task, plan, told)
        assert (plan, told) == ("no_go", "go_with_protection"), (row.id, task, plan, told)
    return found
