"""Gates by scenario: followed ones keep their hour, the others share the followed ones' hours."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.tables.own_gates import OwnGates, in_each

HOURS = 12


@given(
    members=st.integers(1, 5),
    others=st.integers(0, 20),
    seed=st.integers(0, 2**32 - 1),
)
def test_others_take_the_followed_hours_by_their_own_place(
    members: int, others: int, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    finishes = np.array([2, 5, 9])
    bound = rng.integers(50, 90, (members + others, HOURS + 1)).astype(np.int32)
    followed = rng.integers(0, 40, (members, 3)).astype(np.int32)
    slowness = rng.integers(0, 30, (members + others, 3)).astype(np.int32)
    found = in_each(bound, followed=followed, slowness=slowness, finishes=finishes)
    apart = np.setdiff1d(np.arange(HOURS + 1), finishes)
    assert (found[:, apart] == bound[:, apart]).all()
    assert (found[:members, finishes] == followed).all()
    for column in range(3):
        mine, hours = slowness[members:, column], found[members:, finishes[column]]
        told = np.sort(followed[:, column])
        by_hand = np.full(others, -1)
        for place, scenario in enumerate(np.argsort(mine, kind="stable")):
            # the least of the followed whose share is no smaller
            share = (place + 1) / others
            by_hand[scenario] = next(
                hour for n, hour in enumerate(told) if (n + 1) / members >= share - 1e-12
            )
        assert hours.tolist() == by_hand.tolist()
        assert (np.diff(hours[np.argsort(mine, kind="stable")]) >= 0).all()


def test_the_first_scenarios_of_gates_are_theirs() -> None:
    table = np.arange(12, dtype=np.int32).reshape(4, 3)
    gates = OwnGates({("b", "a"): table}, {"c": np.array([7], dtype=np.int32)})
    assert gates.scenarios == 4
    assert gates.first(2).ready["b", "a"].tolist() == [[0, 1, 2], [3, 4, 5]]
    assert (gates.first(2).scenarios, gates.first(2).opens["c"].tolist()) == (2, [7])
