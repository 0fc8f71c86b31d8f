"""The replay against a plain loop over hours, and what it must never do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.replay.limit_odds import is_broken
from scheduler.planning.replay.replay import KNOWN_H, Replayed, at_share, replay
from scheduler.planning.schedule.network import (
    Booking,
    Placed,
    Plan,
    Problem,
    Status,
    Tie,
    Work,
    permitted,
)
from scheduler.planning.tables.finish import NEVER, Effort, finish_table, ready_after
from scheduler.planning.tables.own_gates import OwnGates
from scheduler.planning.tables.work_hours import WorkHours
from tests.planning.walked import walked_finish

HOURS = 240
SCENARIOS = 6


def plan_of(problem: Problem, starts: dict[str, int]) -> Plan:
    placed = tuple(Placed(work.id, starts[work.id], starts[work.id] + 1) for work in problem.tasks)
    return Plan(Status.BOUNDED, placed, 0, 0)


def by_hand(
    problem: Problem, plan: Plan, hours: dict[str, WorkHours], gates: OwnGates
) -> np.ndarray:
    """Replay one hour after the other, one scenario after the other: (scenarios, tasks, 2)."""
    starts = plan.starts()
    ids = [work.id for work in problem.tasks]
    rank = sorted(ids, key=lambda name: (starts[name], ids.index(name)))
    works = {work.id: work for work in problem.tasks}
    out = np.full((SCENARIOS, len(ids), 2), NEVER, dtype=np.int64)
    for scenario in range(SCENARIOS):
        tables = {
            name: permitted(Work(name, walked(hours[name], scenario), not_before=work.not_before,
                                 starts=work.starts, booking=work.booking))
            for name, work in works.items()
        }  # fmt: skip
        done: dict[str, tuple[int, int]] = {}

        def ready(
            name: str, done: dict[str, tuple[int, int]] = done, scenario: int = scenario
        ) -> int | None:
            opens = gates.opens.get(name, np.zeros(SCENARIOS, dtype=np.int32))
            at = max(works[name].not_before, int(opens[scenario]))
            for tie in problem.ties:
                if tie.after == name:
                    if tie.before not in done:
                        return None
                    mark = done[tie.before][0 if tie.from_start else 1]
                    at = max(at, int(tie.ready[mark]) if mark <= HOURS else NEVER)
                    if tie.gated:
                        own = gates.ready[tie.after, tie.before][scenario]
                        at = max(at, int(own[min(mark, HOURS)]))
            return at

        def busy(crew: str, hour: int, done: dict[str, tuple[int, int]] = done) -> int:
            return sum(
                works[name].crews.get(crew, 0) for name, (_, end) in done.items() if end > hour
            )

        def first(
            name: str,
            low: int,
            done: dict[str, tuple[int, int]] = done,
            tables: dict[str, np.ndarray] = tables,
        ) -> int:
            """Return the first start from an hour on, as crews stand now."""
            for hour in range(low, HOURS):
                if tables[name][hour] < NEVER and all(
                    busy(crew, hour) + need <= problem.crews[crew]
                    for crew, need in works[name].crews.items()
                ):
                    return hour
            return NEVER

        while len(done) < len(ids):
            turn = {
                n: first(n, at) for n in rank if n not in done and (at := ready(n)) is not None
            }
            turn = {n: start for n, start in turn.items() if start < NEVER}
            may = []
            for name, start in turn.items():
                end = min(int(tables[name][start]), start + KNOWN_H)
                rivals = [
                    other
                    for other in rank[: rank.index(name)]
                    if other in turn
                    and turn[other] < end
                    and any(
                        need + works[other].crews.get(crew, 0) > problem.crews[crew]
                        for crew, need in works[name].crews.items()
                        if crew in works[other].crews
                    )
                ]
                if not rivals:
                    may.append((start, rank.index(name), name))
            if not may:
                break
            start, _, name = min(may)
            done[name] = (start, int(tables[name][start]))
        for name, times in done.items():
            out[scenario, ids.index(name)] = times
    return out


def walked(hours: WorkHours, scenario: int) -> np.ndarray:
    """Return the finish of every start in one scenario, each walked hour by hour."""
    usable = (hours.workable[scenario] & hours.shift).tolist()
    may = np.ones(HOURS, bool) if hours.may_start is None else hours.may_start[scenario]
    return np.array([walked_finish(usable, hours.effort, h) if may[h] else NEVER
                     for h in range(HOURS)])  # fmt: skip


Net = tuple[Problem, Plan, dict[str, WorkHours], OwnGates]


@st.composite
def nets(draw: st.DrawFn, *, long_waits: bool = False) -> Net:
    count = draw(st.integers(1, 7))
    crews = {"a": draw(st.integers(1, 3)), "b": 1}
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    shift = (np.arange(HOURS) % 24 >= 7) & (np.arange(HOURS) % 24 < 16)
    works, ties, hours = [], [], {}
    for n in range(count):
        name = f"t{n}"
        effort = Effort(
            draw(st.integers(1, 4 if long_waits else 12)),
            may_pause=draw(st.booleans()),
            least_piece=draw(st.integers(1, 3)),
            set_up=draw(st.integers(0, 1)),
            cover_up=draw(st.integers(0, 1)),
        )
        fit = rng.random((SCENARIOS, HOURS)) < (
            0.98 if long_waits else draw(st.sampled_from([0.8, 0.95]))
        )
        may = rng.random((SCENARIOS, HOURS)) < 0.9 if draw(st.booleans()) else None
        hours[name] = WorkHours(fit, shift, effort, may)
        booking = None
        if draw(st.integers(0, 4)) == 0:
            booking = Booking("lifter", 24 * draw(st.integers(1, 5)) + 8, (7 * 24 + 8,))
        works.append(
            Work(
                name,
                finish_table(np.ones(HOURS, bool), shift, effort),
                crews=draw(st.sampled_from([{}, {"a": 1}, {"b": 1}, {"a": 1, "b": 1}, {"a": 2}])),
                closes=draw(st.booleans()),
                booking=booking,
            )
        )
        for before in range(n):
            for _ in range(max(draw(st.integers(-3, 2)), 0)):  # now and then tied twice
                wait = draw(st.integers(0, 30)) + (
                    100 if long_waits and draw(st.booleans()) else 0
                )
                ties.append(
                    Tie(
                        f"t{before}",
                        name,
                        ready_after(HOURS, wait),
                        from_start=draw(st.booleans()),
                        gated=draw(st.booleans()),
                    )
                )
    problem = Problem(HOURS, tuple(works), tuple(ties), crews)
    starts = {f"t{n}": int(v) for n, v in enumerate(rng.permutation(count))}
    return problem, plan_of(problem, starts), hours, gates_of(problem, rng)


def gates_of(problem: Problem, rng: np.random.Generator) -> OwnGates:
    """Return a rising table for every gated tie, and now and then a gate on work that is done."""
    hour = np.arange(HOURS + 1)
    ready = {}
    for tie in problem.ties:
        if tie.gated:
            slow = rng.integers(0, 60, (SCENARIOS, 1)) + rng.integers(0, 9, (SCENARIOS, HOURS + 1))
            table = np.maximum.accumulate(hour + slow, axis=1)
            ready[tie.after, tie.before] = np.where(table > HOURS, NEVER, table).astype(np.int32)
    first = problem.tasks[0].id
    opens = {first: rng.integers(0, 40, SCENARIOS).astype(np.int32)} if rng.random() < 0.3 else {}
    return OwnGates(ready, opens)


@settings(max_examples=60)
@given(net=nets())
def test_it_is_the_plain_loop_to_the_hour(
    net: Net,
) -> None:
    problem, plan, hours, gates = net
    found = replay(problem, plan, hours, gates=gates)
    hand = by_hand(problem, plan, hours, gates)
    assert (found.start == hand[:, :, 0]).all()
    assert (found.finish == hand[:, :, 1]).all()


@settings(max_examples=100)
@given(net=nets(long_waits=True))
def test_what_is_decided_by_an_hour_does_not_know_what_comes_long_after_it(net: Net) -> None:
    """What would be over after an hour cannot begin, and no gate opens after it.

    What begins well before, with or without, begins with both.
    """
    problem, plan, hours, gates = net
    tables = {
        name: finish_table(each.workable, each.shift, each.effort, may_start=each.may_start)
        for name, each in hours.items()
    }
    begun = np.arange(HOURS)
    longest = max(
        int(np.where(table < NEVER, table - begun, 0).max()) for table in tables.values()
    )
    one = replay(problem, plan, hours, gates=gates)
    late = np.unique(one.start[(one.start > longest + KNOWN_H) & (one.start < NEVER)])
    for cut in late[:6].tolist():
        bad = {name: replace(each, may_start=tables[name] <= cut) for name, each in hours.items()}
        shut = {
            key: np.where(ready >= cut, NEVER, ready).astype(np.int32)
            for key, ready in gates.ready.items()
        }
        other = replay(problem, plan, bad, gates=replace(gates, ready=shut))
        early = np.minimum(one.start, other.start) + longest + KNOWN_H < cut
        assert (one.start[early] == other.start[early]).all()


@settings(max_examples=40)
@given(net=nets())
def test_crews_and_ties_hold_in_every_scenario(
    net: Net,
) -> None:
    problem, plan, hours, gates = net
    found = replay(problem, plan, hours, gates=gates)
    index = {name: n for n, name in enumerate(found.ids)}
    for tie in problem.ties:
        at = (
            found.start[:, index[tie.before]]
            if tie.from_start
            else found.finish[:, index[tie.before]]
        )
        after = found.start[:, index[tie.after]]
        begun = after < NEVER
        assert (after[begun] >= tie.ready[at[begun]]).all()
        if tie.gated:
            own = gates.ready[tie.after, tie.before]
            assert (after[begun] >= own[np.flatnonzero(begun), at[begun]]).all()
    for crew, size in problem.crews.items():
        used = np.zeros((SCENARIOS, HOURS + 1), dtype=int)
        for n, work in enumerate(problem.tasks):
            for row in np.flatnonzero(found.start[:, n] < NEVER):
                used[row, found.start[row, n] : found.finish[row, n]] += work.crews.get(crew, 0)
        assert used.max() <= size


def one_after_another() -> tuple[Problem, Plan, dict[str, WorkHours]]:
    """Two tasks of five hours in a row; the second scenario loses its first day."""
    shift = (np.arange(HOURS) % 24 >= 7) & (np.arange(HOURS) % 24 < 17)
    fit = np.ones((2, HOURS), dtype=np.bool_)
    fit[1, :24] = False
    hours = {name: WorkHours(fit, shift, Effort(5)) for name in ("lay", "cap")}
    fair = finish_table(fit[0], shift, Effort(5))
    works = (Work("lay", fair), Work("cap", fair, closes=True))
    problem = Problem(HOURS, works, (Tie("lay", "cap", ready_after(HOURS, 0)),))
    return problem, plan_of(problem, {"lay": 7, "cap": 12}), hours


def test_a_lost_day_moves_the_rest_and_the_shares_say_so() -> None:
    problem, plan, hours = one_after_another()
    found = replay(problem, plan, hours)
    assert found.start.tolist() == [[7, 12], [31, 36]]
    assert found.close_in.tolist() == [17, 41]
    assert (found.quantile(1, 0.5), found.quantile(1, 0.9)) == (17, 41)
    assert found.holds(1, 12).mean() == 0.5
    assert found.critical().tolist() == [1.0, 1.0]
    assert found.cause.tolist() == [[-1, 0], [-1, 0]]


def test_an_appointment_missed_takes_the_next_slot_offered() -> None:
    problem, plan, hours = one_after_another()
    works = (problem.tasks[0], Work("cap", problem.tasks[1].finish, closes=True,
                                    booking=Booking("lifter", 12, (60, 84))))  # fmt: skip
    booked = Problem(HOURS, works, problem.ties)
    found = replay(booked, plan, hours)
    assert found.start[:, 1].tolist() == [12, 60]
    assert found.holds(1, 12).mean() == 0.5


def test_a_task_slips_into_a_gap_but_never_ahead_of_one_that_could_begin_before_it_is_over() -> (
    None
):
    """``long`` waits for 20 h of drying; 20 h of other work fit before it, 30 h would not."""
    shift = np.ones(HOURS, dtype=np.bool_)
    fit = np.ones((1, HOURS), dtype=np.bool_)
    for length, start in ((20, 5), (30, 35)):
        efforts = {"first": Effort(5), "long": Effort(10), "other": Effort(length)}
        hours = {name: WorkHours(fit, shift, effort) for name, effort in efforts.items()}
        works = tuple(
            Work(name, finish_table(fit[0], shift, effort), crews={"a": 1})
            for name, effort in efforts.items()
        )
        ties = (Tie("first", "long", ready_after(HOURS, 20)),)
        problem = Problem(HOURS, works, ties, {"a": 1})
        found = replay(problem, plan_of(problem, {"first": 0, "long": 25, "other": 40}), hours)
        assert found.start[0].tolist() == [0, 25, start]


def test_shares_rise_with_the_level_and_a_plan_without_a_place_is_refused() -> None:
    hours = np.array([5, 9, 7, NEVER, 6], dtype=np.int32)
    found = [at_share(hours, share) for share in (0.1, 0.2, 0.5, 0.8, 0.9)]
    assert found == [5, 5, 7, 9, NEVER]
    problem, _, hours = one_after_another()
    with pytest.raises(ValueError, match="places every task"):
        replay(problem, Plan(Status.INFEASIBLE, (), NEVER, NEVER), hours)


def test_limits_not_more_than_so_many_hours_after_are_watched() -> None:
    """The second scenario loses the day after ``lay``; in the third ``cap`` is never begun."""
    problem, plan, hours = one_after_another()
    fit = np.ones((4, HOURS), dtype=np.bool_)
    fit[1, 12:36] = False
    fit[2, 12:] = False
    fit[3] = False  # nothing is begun at all: nothing is broken
    may = {"lay": np.ones(HOURS, bool), "cap": np.ones(HOURS, bool)}
    hours = {name: replace(hours[name], workable=fit, may_start=may[name]) for name in hours}
    for within, from_start, broken in (
        (0, False, [0, 1, 1, 0]),
        (23, False, [0, 1, 1, 0]),
        (24, False, [0, 0, 1, 0]),
        (28, True, [0, 1, 1, 0]),
        (29, True, [0, 0, 1, 0]),
    ):
        tie = Tie("lay", "cap", ready_after(HOURS, 0), from_start=False, within=within)
        found: Replayed = replay(Problem(HOURS, problem.tasks, (tie,)), plan, hours)
        counted = replace(tie, from_start=from_start)
        assert is_broken(found, counted).tolist() == [bool(one) for one in broken]


def test_a_task_waits_for_the_last_of_its_crews_whichever_is_named_first() -> None:
    shift, fit = np.ones(HOURS, dtype=np.bool_), np.ones((1, HOURS), dtype=np.bool_)
    efforts = {"short": Effort(5), "long": Effort(10), "both": Effort(3)}
    hours = {name: WorkHours(fit, shift, effort) for name, effort in efforts.items()}
    for need in ({"a": 1, "b": 1}, {"b": 1, "a": 1}):
        crews = {"short": {"a": 1}, "long": {"b": 1}, "both": need}
        works = tuple(
            Work(name, finish_table(fit[0], shift, effort), crews=crews[name])
            for name, effort in efforts.items()
        )
        problem = Problem(HOURS, works, (), {"a": 1, "b": 1})
        found = replay(problem, plan_of(problem, {"short": 0, "long": 0, "both": 10}), hours)
        assert found.start[0].tolist() == [0, 0, 10]
        assert found.cause[0].tolist() == [-1, -1, 1]


def test_masks_and_gates_of_different_scenarios_are_refused() -> None:
    problem, plan, hours = one_after_another()
    tie = replace(problem.ties[0], gated=True)
    table = np.zeros((3, HOURS + 1), dtype=np.int32)
    with pytest.raises(ValueError, match="as many scenarios"):
        replay(replace(problem, ties=(tie,)), plan, hours, gates=OwnGates({("cap", "lay"): table}))
