"""Finish and ready tables against a walk hour by hour, and that both rise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.tables.finish import (
    NEVER,
    Effort,
    earliest,
    finish_table,
    next_start,
    ready_after,
    ready_after_shifts,
    whole_hours,
)
from scheduler.planning.tables.hour_bits import Counted, packed, unbroken, unpacked
from scheduler.planning.tables.work_hours import Finder, WorkHours
from tests.planning.walked import walked_finish

HOURS = 40
masks = st.lists(st.booleans(), min_size=HOURS, max_size=HOURS).map(np.array)
efforts = st.builds(
    Effort,
    hours=st.integers(0, 12),
    may_pause=st.booleans(),
    least_piece=st.integers(1, 4),
    set_up=st.integers(0, 2),
    cover_up=st.integers(0, 2),
)


@given(workable=masks, shift=masks, effort=efforts)
def test_finish_is_what_a_walk_hour_by_hour_gives(workable, shift, effort) -> None:
    usable = (workable & shift).tolist()
    expected = [walked_finish(usable, effort, hour) for hour in range(HOURS)]
    assert finish_table(workable, shift, effort).tolist() == expected


@given(workable=st.lists(masks, min_size=6, max_size=6).map(np.array), shift=masks, effort=efforts)
def test_scenarios_do_not_touch_each_other(workable, shift, effort) -> None:
    together = finish_table(workable.reshape(2, 3, HOURS), shift, effort)
    apart = [finish_table(row, shift, effort) for row in workable]
    assert together.shape == (2, 3, HOURS)
    assert (together.reshape(6, HOURS) == np.array(apart)).all()


@given(workable=masks, may_start=masks, effort=efforts)
def test_finish_rises_over_permitted_starts(workable, may_start, effort) -> None:
    table = finish_table(workable, np.ones(HOURS, bool), effort, may_start=may_start)
    assert (np.diff(table[table < NEVER]) >= 0).all()
    assert (table[~(workable & may_start)] == NEVER).all()
    assert (np.diff(earliest(table)) >= 0).all()
    assert (np.diff(next_start(table)) >= 0).all()


@given(workable=masks, more=masks, effort=efforts)
def test_more_workable_hours_never_finish_later(workable, more, effort) -> None:
    always = np.ones(HOURS, bool)
    before = earliest(finish_table(workable, always, effort))
    after = earliest(finish_table(workable | more, always, effort))
    assert (after <= before).all()


@given(
    workable=st.lists(masks, min_size=3, max_size=3).map(np.array),
    may_start=st.lists(masks, min_size=3, max_size=3).map(np.array),
    offered=masks,
    efforts=st.lists(efforts, min_size=1, max_size=3),
)
def test_the_first_start_asked_for_is_that_of_the_table(
    workable, may_start, offered, efforts
) -> None:
    always = np.ones(HOURS, bool)
    works = [WorkHours(workable, always, effort, may_start) for effort in efforts]
    finder = Finder.of(works, [offered] * len(works), 3)
    for task, effort in enumerate(efforts):
        table = finish_table(workable, always, effort, may_start=may_start & offered)
        for low in range(HOURS + 1):
            rows = np.arange(3)
            start, finish = finder.first(np.full(3, task), rows, np.full(3, low, dtype=np.int32))
            if low == HOURS:
                assert (start == NEVER).all()
                continue
            assert start.tolist() == next_start(table)[:, low].tolist()
            assert finish.tolist() == earliest(table)[:, low].tolist()


@given(
    mask=st.lists(st.booleans(), min_size=1, max_size=300).map(np.array), run=st.integers(1, 90)
)
def test_bits_tell_what_the_mask_tells(mask, run) -> None:
    words = packed(mask)
    assert (unpacked(words, mask.size) == mask).all()
    whole = [bool(mask[h : h + run].all()) and h + run <= mask.size for h in range(mask.size)]
    assert unpacked(unbroken(words, run), mask.size).tolist() == whole
    counted = Counted.of(words)
    places = np.flatnonzero(mask)
    assert counted.place(np.arange(places.size)).tolist() == places.tolist()
    assert counted.place(np.array([places.size]))[0] >= mask.size
    before = counted.count(np.arange(mask.size))
    assert before.tolist() == [int(mask[:h].sum()) for h in range(mask.size)]


def test_work_that_may_not_pause_needs_one_shift() -> None:
    shift = np.tile(np.arange(24) // 8 == 1, 3)  # 8 to 16
    fit = np.ones(72, bool)
    assert finish_table(fit, shift, Effort(8))[8] == 16
    assert (finish_table(fit, shift, Effort(9)) == NEVER).all()
    assert finish_table(fit, shift, Effort(9, may_pause=True))[8] == 24 + 9


def test_each_piece_pays_for_setting_up_and_covering() -> None:
    shift = np.tile(np.arange(24) // 8 == 1, 3)
    effort = Effort(9, may_pause=True, set_up=1, cover_up=1)
    assert finish_table(np.ones(72, bool), shift, effort)[8] == 24 + 8 + 1 + 3 + 1


def test_a_short_piece_is_not_begun() -> None:
    usable = np.array([True] * 5 + [False] + [True] * 2 + [False] + [True] * 4)
    effort = Effort(8, may_pause=True, least_piece=3)
    assert finish_table(usable, np.ones(usable.size, bool), effort)[0] == 12


def test_waits_count_elapsed_or_working_hours() -> None:
    shift = np.tile(np.arange(24) // 8 == 1, 2)
    assert ready_after(48, 30)[10] == 40
    ready = ready_after_shifts(shift, 4)
    assert ready[14] == 34  # two hours today, two tomorrow
    assert ready[8] == 12
    assert ready[45] == NEVER
    assert (np.diff(ready) >= 0).all()
    assert (ready_after_shifts(shift, 0) == np.arange(49)).all()


@pytest.mark.parametrize(("given_", "want"), [(4.0, 4), (4.2, 5), (0.1 + 0.2 + 3.7, 4)])
def test_hours_are_rounded_up(given_: float, want: int) -> None:
    assert whole_hours(given_) == want
