"""The one maker of facts: sizes, log, places, ages. Trade values: see the sources named."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from rules.conditions import fixed_conditions
from rules.facts import Since, number, stated
from rules.judge import hour_verdicts
from rules.verdict import Verdict
from rules.weather import Weather
from scheduler.planning.calls.decide import decide
from scheduler.planning.evidence.facts import asked_with
from scheduler.planning.model.answer import Outcome
from scheduler.planning.model.job import State, Task
from scheduler.planning.model.log import Entry, EntryKind, Fact, Progress, Reading
from tests.planning.evidence.made import BOOK, MILD, NOW, job, known_of, log, mild, read

LAY = Task("lay", "Lay", "lay_block", 8.0)
FILL = Task("fill", "Fill", "backfill", 4.0)
GROUT = Task("grout", "Grout", "place_grout", 4.0)
HOURS = 48


def amounts(task: Task, name: str, unit: str, *what: Reading | Fact) -> list[float]:
    found = stated(name, known_of(job(task), log(*what)).of(task, NOW))
    return sorted(amount for one in found if (amount := number(one.value, unit)) is not None)


def plan_verdicts(task: Task, *what: Reading | Fact, others: tuple[Task, ...] = ()) -> np.ndarray:
    """Return what the plan's reader says of each hour of mild weather from now on."""
    known = known_of(job(task, *others), log(*what))
    weather = Weather({name: np.full(HOURS, v) for name, v in MILD.items()}, HOURS)
    asked = asked_with(known, task, NOW)
    return hour_verdicts(BOOK, asked, weather)


def call_rules(task: Task, *what: Reading | Fact, others: tuple[Task, ...] = ()) -> set[str]:
    """Return the rules that refuse in a call of the same moment."""
    made = job(task, *others)
    answers = decide(made, mild(), None, Progress(log(*what)), BOOK, NOW)
    answer = next(one for one in answers if one.task == task.id)
    return {limit.rule for limit in answer.limits if limit.outcome is Outcome.NO_GO}


# sizes of the job file


@pytest.mark.parametrize(
    ("task", "logged", "rule"),
    [
        # IRC R404.1.7: 4 ft of unbalanced fill before the floor is on or the wall braced
        (
            Task("fill", "Fill", "backfill", 4.0, element={"unbalanced_height_m": 1.6}),
            (Fact("backfill", "unbalanced_height", 1.6, "m"),),
            "backfill.unbraced",
        ),
        # TMS 602 3.5 D: no lift over 12 ft 8 in.
        (
            Task("grout", "Grout", "place_grout", 4.0, element={"lift_height_m": 4.1}),
            (read("lift_height", 4.1, "m"),),
            "grout.lift.highest",
        ),
        # OSHA 1926.706(b): walls over 8 ft are braced
        (
            Task("lay", "Lay", "lay_block", 8.0, element={"height_m": 2.9, "braced": False}),
            (Fact("wall", "height", 9.6, "ft"), Fact("wall", "braced", False)),
            "wall.unbraced-over-8-ft-own",
        ),
    ],
)
def test_a_size_of_the_job_file_binds_as_the_same_figure_logged(
    task: Task, logged: tuple[Reading | Fact, ...], rule: str
) -> None:
    bare = Task(task.id, task.name, task.work_type, task.duration_h)
    for asked, what in ((task, ()), (bare, logged)):
        assert rule in call_rules(asked, *what)
        assert (plan_verdicts(asked, *what) == Verdict.NO_GO).all()


def test_a_wall_s_size_binds_who_works_beside_it() -> None:
    """OSHA 1926.706(b): a wall over 8 ft without braces keeps the framer out too."""
    tall = Task("lay", "Lay", "lay_block", 8.0, state=State.DONE, element={"height_m": 2.7})
    low = Task("lay", "Lay", "lay_block", 8.0, state=State.DONE, element={"height_m": 2.2})
    framing = Task("frame", "Frame", "framing", 6.0, beside="wall")
    assert "wall.unbraced-over-8-ft" in call_rules(framing, others=(tall,))
    assert "wall.unbraced-over-8-ft" not in call_rules(framing, others=(low,))
    assert (plan_verdicts(framing, others=(tall,)) == Verdict.NO_GO).all()


def test_the_log_outranks_the_job_file_where_it_covers_the_work() -> None:
    task = Task("lay", "Lay", "lay_block", 8.0, element={"height_m": 3.0})
    assert amounts(task, "wall_height", "m") == [3.0]
    assert amounts(task, "wall_height", "m", Fact("wall", "height", 2.0, "m")) == [2.0]
    # said of one end only: the rest of the wall is as the file says
    north = Fact("wall", "height", 2.0, "m", place="north")
    assert amounts(task, "wall_height", "m", north) == [2.0, 3.0]
    placed = Task("lay", "Lay", "lay_block", 8.0, place="North wall", element={"height_m": 3.0})
    assert amounts(placed, "wall_height", "m", north) == [2.0]


def test_what_is_specified_is_not_what_is_there() -> None:
    task = Task("grout", "Grout", "place_grout", 4.0, element={"strength_mpa": 13.8})
    assert amounts(task, "grout_strength", "MPa") == []
    assert amounts(task, "grout_strength", "MPa", read("grout_strength", 500, "psi"))


@pytest.mark.parametrize(
    ("element", "name", "value", "unit"),
    [
        ({"slag_share": 0.3}, "grout.slag_share", 30.0, "%"),
        ({"section_m": 0.254}, "task.section", 10.0, "in"),
        ({"depth_m": 1.524}, "cut_depth", 5.0, "ft"),
        ({"placed_c": 20.0}, "concrete_temperature_as_placed", 68.0, "degF"),
        ({"lift_height_m": 2.0}, "grout_pour_height", 2.0, "m"),  # a pour is not under its lifts
    ],
)
def test_every_size_reaches_the_rows(
    element: dict[str, object], name: str, value: float, unit: str
) -> None:
    task = Task("one", "One", "place_footing", 4.0, element=element)
    assert amounts(task, name, unit) == pytest.approx([value])


def test_the_thickness_of_a_slab_is_its_section() -> None:
    """ACI 306 goes by the least dimension of the section."""
    thick = Task("slab", "Slab", "place_slab", 4.0, element={"thickness_m": 0.4})
    known = known_of(job(thick), ())
    row = next(r for r in BOOK.rows if r.id == "concrete.cold.placed-12-to-36-in")
    assert fixed_conditions(row, asked_with(known, thick, NOW)) is True


# places and ages


def test_the_newest_of_each_spot_counts() -> None:
    what = (
        read("unit_core_temperature", 15, "degF", before_h=5, place="north wall"),
        read("unit_core_temperature", 50, "degF", before_h=4, place="South wall"),
        read("unit_core_temperature", 44, "degF", before_h=2, place="North wall"),
    )
    assert amounts(LAY, "unit_core_temperature", "degF", *what) == [44.0, 50.0]


def test_the_worst_place_refuses_in_plan_and_call() -> None:
    """TMS 602 1.8 C: units under 20 °F are not laid; law 2: the worst place governs."""
    what = (
        read("unit_core_temperature", 15, "degF", before_h=0.5, place="north wall"),
        read("unit_core_temperature", 50, "degF", before_h=0.2, place="south wall"),
    )
    assert "masonry.cold.unit-temperature" in call_rules(LAY, *what) or (
        plan_verdicts(LAY, *what)[0] == Verdict.NO_GO
    )
    verdicts = plan_verdicts(LAY, *what)
    # To the end of a shift from the reading, half an hour ago, unless somebody reads again.
    assert (verdicts[:12] == Verdict.NO_GO).all()
    assert (verdicts[12:] < Verdict.NO_GO).all()


def test_a_task_with_a_place_looks_at_its_own() -> None:
    north = Task("n", "N", "lay_block", 8.0, place="north")
    south = Task("s", "S", "lay_block", 8.0, place="south")
    what = (read("unit_core_temperature", 15, "degF", before_h=0.5, place="North wall"),)
    assert plan_verdicts(north, *what, others=(south,))[0] == Verdict.NO_GO
    assert plan_verdicts(south, *what, others=(north,))[0] < Verdict.NO_GO


def test_a_reading_of_ten_days_ago_counts_in_neither() -> None:
    what = (read("unit_core_temperature", 15, "degF", before_h=240, place="north wall"),)
    assert (plan_verdicts(LAY, *what) < Verdict.NO_GO).all()
    assert "masonry.cold.unit-temperature" not in call_rules(LAY, *what)


def test_two_readings_of_one_spot_within_the_hour_count_both_and_are_read_again() -> None:
    what = (
        read("unit_core_temperature", 17, "degF", before_h=0.4, place="pallet"),
        read("unit_core_temperature", 44, "degF", before_h=0.3, place="Pallet"),
    )
    assert amounts(LAY, "unit_core_temperature", "degF", *what) == [17.0, 44.0]
    third = read("unit_core_temperature", 45, "degF", before_h=0.1, place="pallet")
    assert amounts(LAY, "unit_core_temperature", "degF", *what, third) == [44.0, 45.0]


def test_a_bad_state_told_without_its_hour_stays_a_good_one_does_not() -> None:
    """OSHA 1926.305(c): firm bearing; ice that nobody said is gone is still there."""
    lower = Task("lower", "Lower", "lower_house", 6.0)
    old = NOW - timedelta(days=2)
    made = job(lower)
    for value, refused in ((True, True), (False, False)):
        entries = log(Fact("cribs", "ice_on_top", value), at=old)
        asked = asked_with(known_of(made, entries), lower, NOW)
        weather = Weather({name: np.full(HOURS, v) for name, v in MILD.items()}, HOURS)
        verdicts = hour_verdicts(BOOK, asked, weather)
        assert bool(verdicts[0] == Verdict.NO_GO) is refused
        assert verdicts[-1] < Verdict.NO_GO  # in two days it may be gone


def test_ages_told_as_facts_are_known_to_the_plan() -> None:
    """UFGS 04 20 00: a concentrated load waits 72 h after masonry is grouted."""
    lower = Task("lower", "Lower", "lower_house", 6.0, load="concentrated")
    grouted = Fact("first_lift", "grouted", True, at=NOW - timedelta(hours=40))
    (one,) = stated("age_of_grout", known_of(job(lower), log(grouted)).of(lower, NOW))
    assert one.value == Since(-40.0)
    verdicts = plan_verdicts(lower, grouted)
    assert (verdicts[:32] == Verdict.NO_GO).all()
    assert verdicts[32] < Verdict.NO_GO


def test_the_wall_being_laid_is_as_young_as_can_be() -> None:
    (one,) = stated("age_of_masonry", known_of(job(LAY), ()).of(LAY, NOW))
    assert one.value == (0.0, "h")


def test_any_grouted_part_makes_the_stricter_rule_hold() -> None:
    known = known_of(job(LAY), log(Fact("upper_courses", "grouted", True)))
    assert [one.value for one in stated("task.grouted", known.of(LAY, NOW))] == [True]
    assert not stated("task.grouted", known_of(job(LAY), ()).of(LAY, NOW))


# what has happened


SANK = read("crib_settlement", 1.3, "in", before_h=4.0, place="south-west crib")
LEVEL_AGAIN = read("crib_settlement", 0.0, "in", before_h=1.0, place="south-west crib")
RAISE = Task("raise", "Raise", "raise_house", 6.0)


def released(role: str, before_h: float, row: str | None = "cribs.settled") -> Entry:
    at = NOW - timedelta(hours=before_h)
    told = {"role": role, "row": row}
    return Entry(9, at, at, EntryKind.RELEASE, task="raise", who="L. Orr", payload=told)


@pytest.mark.parametrize(
    ("release", "holds"),
    [
        (None, True),
        (released("house_lifter", 0.5), False),
        (released("engineer", 0.5, row=None), False),
        (released("house_lifter", 5.0), True),  # before it sank
        (released("competent_person", 0.5, row="cribs.ice"), True),  # of another hold
    ],
)
def test_a_crib_that_sank_is_released_by_who_holds_it_not_by_a_better_reading(
    release: Entry | None, holds: bool
) -> None:
    """29 CFR 1926.305(c), firm footing under a raised load; that the lifter finds out why a crib
    sank before anybody goes on is common practice, no source."""
    entries = (*log(SANK, LEVEL_AGAIN), *([] if release is None else [release]))
    entries = tuple(sorted(entries, key=lambda entry: entry.at))
    made = job(RAISE)
    found = decide(made, mild(), None, Progress(entries), BOOK, NOW)[0]
    refused = {line.rule for line in found.limits if line.outcome is Outcome.NO_GO}
    weather = Weather({name: np.full(HOURS, v) for name, v in MILD.items()}, HOURS)
    planned = hour_verdicts(BOOK, asked_with(known_of(made, entries), RAISE, NOW), weather)
    assert ("cribs.settled" in refused) is holds
    assert bool(planned[0] == Verdict.NO_GO) is holds


@pytest.mark.parametrize(
    ("looked_h", "holds"),
    [(2.0, True), (0.2, False)],  # the look of the morning; one after it slid
)
def test_a_side_that_slid_is_looked_at_before_somebody_s_word_counts(
    looked_h: float, holds: bool
) -> None:
    """29 CFR 1926.651(k)(2): out of the cut until the competent person has seen to it."""
    cut = Task("cut", "Cut", "work_in_trench", 4.0)
    facts = [
        Fact("trench", "inspected", value=True, at=NOW - timedelta(hours=looked_h)),
        Fact("trench", "slumped", value=True, at=NOW - timedelta(hours=1), place="east side"),
        Fact("trench", "slumped", value=False, at=NOW - timedelta(minutes=5), place="east side"),
    ]
    told = sorted(facts, key=lambda fact: fact.at or NOW)
    assert ("trench.slumped" in call_rules(cut, *told)) is holds
    assert bool(plan_verdicts(cut, *told)[0] == Verdict.NO_GO) is holds
