"""What the odds cost: a plan of 40 tasks replayed in 600 scenarios of 90 days, from verdict masks.

Run ``python -m tests.benchmarks odds_replay``. Aims: masks to finishes under 0.6 s, at least 50
times as fast as the plain loop in the same run, and equal to it to the hour.

Two plain loops stand beside it, on some of the scenarios and scaled up. Both go hour by hour
through lists, place tasks by the same policy and keep what they found until it has gone by. One
makes the finish of every start first, in a single pass over the hours of each task; that is the
plain loop of the aim. The other walks only from the hours it asks for; it is printed, no aim.

Bytes touched are what must be read and written once at the least: every mask, its bits, and what
comes out. The memory's speed is that of a long copy in the same run.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np

from scheduler.planning.replay.replay import KNOWN_H, replay
from scheduler.planning.schedule.network import Placed, Plan, Problem, Status, Tie, Work
from scheduler.planning.tables.finish import NEVER, Effort, finish_table, ready_after
from scheduler.planning.tables.work_hours import WorkHours
from tests.benchmarks._timing import fastest

SCENARIOS, TASKS, HOURS = 600, 40, 2160
SOME = 12  # scenarios of the plain loops
SECONDS, TIMES = 0.6, 50.0
First = Callable[[int, int], tuple[int, int]]  # task, hour: first start from then on, and finish
Made = Callable[["Rows", list[Effort]], First]


def instance(seed: int = 3) -> tuple[Problem, Plan, dict[str, WorkHours]]:
    """Return three crews' tasks, half of them with pauses, each with weather of its own."""
    rng = np.random.default_rng(seed)
    hour = np.arange(HOURS)
    shift = (hour % 24 >= 7) & (hour % 24 < 17) & (hour // 24 % 7 < 5)
    works, ties, hours = [], [], {}
    for n in range(TASKS):
        effort = Effort(int(rng.integers(2, 9)))
        if n % 2:
            effort = Effort(int(rng.integers(4, 40)), may_pause=True, least_piece=2)
        spells = rng.normal(0, 1, (SCENARIOS, HOURS // 6)).repeat(6, axis=1)
        fit = spells + 0.3 * rng.normal(0, 1, (SCENARIOS, HOURS)) > -0.9
        nights = rng.random((SCENARIOS, HOURS)) < 0.95
        hours[f"t{n}"] = WorkHours(fit, shift, effort, nights)
        fair = finish_table(np.ones(HOURS, bool), shift, effort)
        crew = "abc"[int(rng.integers(3))]
        works.append(Work(f"t{n}", fair, crews={crew: 1}, closes=n > TASKS - 5))
        for before in sorted(set(rng.integers(max(0, n - 6), n, 2).tolist())) if n > 2 else []:
            wait = int(rng.choice([0, 0, 24, 72]))
            ties.append(Tie(f"t{before}", f"t{n}", ready_after(HOURS, wait)))
    problem = Problem(HOURS, tuple(works), tuple(ties), {"a": 1, "b": 1, "c": 1})
    placed = tuple(Placed(f"t{n}", n, n + 1) for n in range(TASKS))
    return problem, Plan(Status.BOUNDED, placed, NEVER, 0), hours


Rows = list[list[list[bool]]]  # by task: may it be under way, may it begin, by hour


def rows_of(problem: Problem, hours: dict[str, WorkHours], scenario: int) -> Rows:
    """Return the masks of one scenario as plain lists."""
    return [
        [
            (hours[work.id].workable[scenario] & hours[work.id].shift).tolist(),
            hours[work.id].may_start[scenario].tolist(),
        ]
        for work in problem.tasks
    ]


def from_tables(rows: Rows, efforts: list[Effort]) -> First:
    """Make the finish of every start of every task, one pass each, and look it up."""
    tables = []
    for (usable, may), effort in zip(rows, efforts, strict=True):
        table, run, run_end, queue = [NEVER] * HOURS, 0, HOURS, []
        for hour in range(HOURS - 1, -1, -1):
            if not usable[hour]:
                run = 0
                continue
            run, run_end = run + 1, hour + 1 if run == 0 else run_end
            if not effort.may_pause:
                if run >= effort.hours and may[hour]:
                    table[hour] = hour + effort.hours
                continue
            least = min(effort.least_piece, effort.hours)
            if run == least:  # the last hours of the run are of use after all
                queue.extend(range(run_end - 1, hour - 1, -1))
            elif run > least:
                queue.append(hour)
            if run >= least and len(queue) >= effort.hours and may[hour]:
                table[hour] = queue[-effort.hours] + 1
        tables.append(table)

    def first(task: int, low: int) -> tuple[int, int]:
        table = tables[task]
        for hour in range(low, HOURS):
            if table[hour] < NEVER:
                return hour, table[hour]
        return NEVER, NEVER

    return first


def from_walks(rows: Rows, efforts: list[Effort]) -> First:
    """Walk hour by hour from where it is asked for."""

    def walked(usable: list[bool], effort: Effort, start: int) -> int:
        least = min(effort.least_piece, effort.hours) if effort.may_pause else effort.hours
        left, run, hour = effort.hours, 0, start
        while hour < HOURS:
            if usable[hour]:
                run += 1
                if run == least:
                    left -= run
                elif run > least:
                    left -= 1
                if left <= 0:
                    return hour + 1 + left
            elif hour - start < least:
                return NEVER
            else:
                run = 0
            hour += 1
        return NEVER

    def first(task: int, low: int) -> tuple[int, int]:
        (usable, may), effort = rows[task], efforts[task]
        for hour in range(low, HOURS):
            if usable[hour] and may[hour]:
                finish = walked(usable, effort, hour)
                if finish < NEVER:
                    return hour, finish
        return NEVER, NEVER

    return first


def plain(problem: Problem, first: First) -> list[tuple[int, int]]:
    """Replay the policy in one scenario; tasks stand in the plan's order and use one crew each."""
    count = len(problem.tasks)
    crew = [next(iter(work.crews)) for work in problem.tasks]
    free = dict.fromkeys(problem.crews, 0)
    low, waits = [0] * count, [0] * count
    after: list[list[tuple[int, list[int]]]] = [[] for _ in range(count)]
    index = {work.id: n for n, work in enumerate(problem.tasks)}
    for tie in problem.ties:
        after[index[tie.before]].append((index[tie.after], tie.ready.tolist()))
        waits[index[tie.after]] += 1
    found: list[tuple[int, int]] = [(-1, -1)] * count
    out = [(NEVER, NEVER)] * count
    turn = [n for n in range(count) if waits[n] == 0]
    while turn:
        for n in turn:
            at = max(low[n], free[crew[n]])
            if at > found[n][0]:
                found[n] = first(n, at)
        best, chosen = (NEVER, NEVER), -1
        for n in turn:
            start, finish = found[n]
            until = min(finish, start + KNOWN_H)
            ahead = any(m < n and crew[m] == crew[n] and found[m][0] < until for m in turn)
            if start < NEVER and not ahead and (start, n) < best:
                best, chosen = (start, n), n
        if chosen < 0:
            break
        turn.remove(chosen)
        out[chosen] = found[chosen]
        free[crew[chosen]] = out[chosen][1]
        for other, ready in after[chosen]:
            low[other] = max(low[other], ready[out[chosen][1]])
            waits[other] -= 1
            if waits[other] == 0:
                turn.append(other)
    return out


def copy_speed() -> float:
    """Return the bytes a second that a copy far larger than the caches reads and writes."""
    source, target = np.ones(50_000_000), np.empty(50_000_000)
    return 2 * source.nbytes / fastest(lambda: np.copyto(target, source))


def main() -> int:
    problem, plan, hours = instance()
    took = fastest(lambda: replay(problem, plan, hours))
    told = replay(problem, plan, hours)
    print(f"{SCENARIOS} scenarios x {TASKS} tasks x {HOURS} h, masks to finishes: {took:.3f} s")
    efforts = [work.effort for work in hours.values()]
    met = took < SECONDS
    for name, made, aim in (
        ("plain loop, finish of every start", from_tables, TIMES),
        ("plain loop, only what is asked for", from_walks, 0.0),
    ):
        lists = [rows_of(problem, hours, scenario) for scenario in range(SOME)]

        def by_hand(made: Made = made, lists: list[Rows] = lists) -> list[list[tuple[int, int]]]:
            return [plain(problem, made(rows, efforts)) for rows in lists]

        hand, scaled = np.array(by_hand()), fastest(by_hand, rounds=3) * SCENARIOS / SOME
        same = bool((told.start[:SOME] == hand[:, :, 0]).all())
        same &= bool((told.finish[:SOME] == hand[:, :, 1]).all())
        ratio = scaled / took
        print(
            f"{name}: {scaled:.1f} s, scaled from {SOME} scenarios; ratio {ratio:.0f}"
            + (f" (aim {aim:.0f})" if aim else "")
            + f"; {'equal to the hour' if same else 'NOT EQUAL'}"
        )
        met &= same and ratio >= aim
    tables = fastest(
        lambda: [
            finish_table(one.workable, one.shift, one.effort, may_start=one.may_start)
            for one in hours.values()
        ],
        rounds=2,
    )
    print(f"finish tables of every start, for those who need them: {tables:.3f} s")
    speed = copy_speed()
    masks = sum(one.workable.nbytes + one.may_start.nbytes for one in hours.values())
    words = SCENARIOS * (HOURS // 64 + 1) * 8
    rows = TASKS + sum(effort.pauses for effort in efforts)
    touched = masks + 2 * rows * words * 3 // 2 + told.start.nbytes + told.finish.nbytes
    floor = touched / speed
    print(
        f"{touched / 1e6:.0f} MB at the least ({masks / 1e6:.0f} MB of masks); a copy runs at "
        f"{speed / 1e9:.1f} GB/s: floor {1e3 * floor:.1f} ms, {took / floor:.1f} times that"
    )
    spread = [told.quantile(TASKS - 1, share) for share in (0.1, 0.5, 0.9)]
    print(f"last task done by hour {spread} in 10, 50, 90 %; the machine may be shared")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
