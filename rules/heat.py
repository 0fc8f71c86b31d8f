"""Temperature of fresh work by hour, from its placing on.

The full path marches the section with the cement's heat for the starts that are asked for. The
coarse path leaves that heat and the warmth of placing out, so that one trace serves every start:
it is meant for climate years and far hours, and is colder than the full path wherever the work is
placed warmer than what surrounds it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.elements import Section, network_of
from rules.films import Surroundings
from rules.hydration import Hydration, ageing_rate
from rules.propagate import Network, Steps, steady_state, steps_of
from rules.verdict import FloatArray

SMALL_PRODUCT: Final = 200_000  # multiplications; below it OpenBLAS stays on one thread
BLOCK_H: Final = 12  # hours that the coarse path does in one product


@dataclass(frozen=True, slots=True)
class Traces:
    """Temperatures of fresh work by hours since placing; NaN where the weather is not known."""

    coldest_c: FloatArray  # (..., starts, steps + 1) of the nodes that hold fresh material
    mean_c: FloatArray  # (..., starts, steps + 1) of those nodes, by heat content
    nodes_c: FloatArray | None  # (..., starts, steps + 1, nodes), where asked for
    given_j_m2: FloatArray  # (..., starts) heat that the cement gave


def march(
    *,
    section: Section,
    around: Sequence[Surroundings],
    schedule: NDArray[np.intp],
    starts: NDArray[np.intp],
    begin_c: FloatArray,
    hydration: Hydration,
    parts: int = 2,
    keep_nodes: bool = False,
) -> Traces:
    """Follow fresh work from each start, with the heat of its cement.

    Parameters
    ----------
    section : Section
        The element.
    around : Surroundings, one for each way of protecting
        Each with the same (..., hours).
    schedule : (steps,)
        Which of ``around`` holds in each hour after the start.
    starts : (starts,) or (..., starts)
        Hours of the table at whose beginning the work is in place; its own for each trace where
        leading axes are given.
    begin_c : (..., starts, nodes)
        Temperature of each node then. [°C]
    hydration : Hydration
        Heat of the cement.
    parts
        Pieces an hour is cut into; the boundary stays linear within the hour.
    keep_nodes
        Keep every node's temperature.

    Returns
    -------
    Traces
        The hours after the table's end are NaN.
    """
    network = network_of(section)
    hours, lead = around[0].face_c.shape[-2], around[0].face_c.shape[:-2]
    count = starts.shape[-1]
    begun_at = np.broadcast_to(starts, (*lead, count)).reshape(-1, count)
    state = np.array(np.broadcast_to(begin_c, (*lead, count, network.nodes)))
    state = state.reshape(-1, network.nodes)
    twin = _twins(network, around, state)
    state = state[:, : twin.max() + 1]
    cement = _Cement(network, twin, hydration, traces=state.shape[0])
    steps = [_step_of(network, one, twin, cement.young, 1.0 / parts) for one in around]
    kept = np.empty((schedule.size + 1, *state.shape))
    kept[0] = state
    for step, which in enumerate(schedule):  # the cement's heat depends on the state: in turn
        before, after, kind = _faces(around[which], begun_at + step, hours)
        alike, rise = _alike(kind), after - before
        for part in range(parts):
            ends = [before + rise * (at / parts) for at in (part, part + 1)]
            state = _advance(state, ends, steps[which], alike, cement)
        kept[step + 1] = state
    return _traces(
        kept.take(twin, axis=-1), network, cement, (*lead, count), keep_nodes=keep_nodes
    )


def held_nodes(network: Network) -> NDArray[np.bool_]:
    """Return the nodes that hold fresh material, all of them where none does."""
    young = network.fresh_kg_m2 > 0.0
    return young if young.any() else np.ones_like(young)


class _Cement:
    """Age and heat of the cement at every node of every trace, moved on step by step."""

    def __init__(
        self, network: Network, twin: NDArray[np.intp], hydration: Hydration, *, traces: int
    ) -> None:
        stood_for = np.bincount(twin)
        self.young = np.flatnonzero(network.fresh_kg_m2[: stood_for.size] > 0.0)
        self.kg_m2 = network.fresh_kg_m2[self.young]
        self.stood_for = stood_for[self.young]
        self.hydration = hydration
        self.age_h = np.zeros((traces, self.young.size))
        self.released_j_kg = np.zeros_like(self.age_h)

    def heat(self, young_c: FloatArray, step_h: float) -> FloatArray:
        """Return the heat (J/m²) that a step gives at the young nodes at a temperature."""
        self.next_age_h = self.age_h + ageing_rate(temperature_c=young_c) * step_h
        self.next_released = self.hydration.released_j_kg(self.next_age_h)
        return (self.next_released - self.released_j_kg) * self.kg_m2

    def move_on(self) -> None:
        """Keep the age and heat of the last ``heat`` as reached."""
        self.age_h, self.released_j_kg = self.next_age_h, self.next_released

    def given_j_m2(self) -> FloatArray:
        """Return the heat given so far by each trace."""
        return self.released_j_kg @ (self.kg_m2 * self.stood_for)


def _faces(
    around: Surroundings, hour: NDArray[np.intp], hours: int
) -> tuple[FloatArray, FloatArray, NDArray[np.intp]]:
    """Return what the faces feel at the beginning and end of an hour, and its kind, by trace.

    The last hour of the table keeps its value to its end; later hours are NaN.
    """
    traces, last = np.arange(hour.shape[0])[:, None], hours - 1
    felt, kinds = around.face_c.reshape(-1, hours, 2), around.kind.reshape(-1, hours)
    now, next_ = np.minimum(hour, last), np.minimum(hour + 1, last)
    after = np.where((hour <= last)[..., None], felt[traces, next_], np.nan)
    kind = kinds[traces, now].reshape(-1).astype(np.intp)
    return felt[traces, now].reshape(-1, 2), after.reshape(-1, 2), kind


@dataclass(frozen=True, slots=True)
class _Step:
    """``Steps`` as products with rows of values, one matrix for each kind of surroundings."""

    calm: FloatArray  # (kinds, nodes + 4, nodes) of the state and the faces before and after
    heated: FloatArray  # (kinds, young, nodes) of the cement's heat
    step_h: float


def _step_of(
    network: Network,
    around: Surroundings,
    twin: NDArray[np.intp],
    young: NDArray[np.intp],
    step_h: float,
) -> _Step:
    steps = steps_of(network, around.face_w_m2k, step_h=step_h)
    stands_for = np.eye(twin.max() + 1)[twin]  # (nodes, followed)
    kept, heated = steps.kept @ stands_for, steps.heated @ stands_for
    calm = np.concatenate([kept, steps.begun, steps.ended], axis=-1)
    calm, heated = (
        np.ascontiguousarray(made[:, : stands_for.shape[1]].swapaxes(1, 2))
        for made in (calm, heated)
    )
    return _Step(calm, heated[:, young], step_h)


def _twins(
    network: Network, around: Sequence[Surroundings], state: FloatArray
) -> NDArray[np.intp]:
    """Return which node is followed for each: half of them where both faces fare alike."""
    node = np.arange(network.nodes)
    alike = all(
        np.array_equal(felt.face_c[..., 0], felt.face_c[..., 1], equal_nan=True)
        and _mirrored(network, felt.face_w_m2k)
        for felt in around
    )
    if alike and np.allclose(state, state[:, ::-1], rtol=0.0, atol=1e-9, equal_nan=True):
        return np.minimum(node, node[::-1])
    return node


@dataclass(frozen=True, slots=True)
class _Alike:
    """Traces in the order of the kind of their surroundings, for one product a kind."""

    order: NDArray[np.intp]
    back: NDArray[np.intp]
    groups: tuple[tuple[int, slice], ...]  # kind, and where it stands in that order

    def product(self, values: FloatArray, of_kind: FloatArray) -> FloatArray:
        """Return each trace's values (traces, n) times the matrix (n, m) of its kind."""
        out = np.empty((values.shape[0], of_kind.shape[-1]))
        if len(self.groups) == 1:
            return np.matmul(values, of_kind[self.groups[0][0]], out=out)
        ordered = values.take(self.order, axis=0)
        for kind, rows in self.groups:
            np.matmul(ordered[rows], of_kind[kind], out=out[rows])
        return out.take(self.back, axis=0)


def _alike(kind: NDArray[np.intp]) -> _Alike:
    order = kind.argsort(kind="stable")
    back = np.empty_like(order)
    back[order] = np.arange(order.size)
    counts = np.bincount(kind)
    ends = counts.cumsum()
    groups = tuple((int(k), slice(ends[k] - counts[k], ends[k])) for k in np.flatnonzero(counts))
    return _Alike(order, back, groups)


def _advance(
    state: FloatArray,
    ends: Sequence[FloatArray],
    step: _Step,
    alike: _Alike,
    cement: _Cement,
) -> FloatArray:
    """Return the state after one step, the cement's heat taken at the step's middle."""
    young = cement.young
    calm = alike.product(np.concatenate([state, *ends], axis=1), step.calm)
    if not young.size:
        return calm
    before, after = state[:, young], calm[:, young]
    heat = cement.heat(before, step.step_h)
    warm = after + alike.product(heat, step.heated[:, :, young])
    heat = cement.heat((before + warm) / 2.0, step.step_h)
    cement.move_on()
    return calm + alike.product(heat, step.heated)


def _traces(
    kept: FloatArray,
    network: Network,
    cement: _Cement,
    lead: tuple[int, ...],
    *,
    keep_nodes: bool,
) -> Traces:
    """Turn (steps + 1, traces, nodes) into what is asked for, time last."""
    young = held_nodes(network)
    weight = network.capacity_j_m2k * young
    shape = (*lead, kept.shape[0])
    nodes = np.moveaxis(kept, 0, 1).reshape(*shape, network.nodes) if keep_nodes else None
    return Traces(
        coldest_c=np.ascontiguousarray(kept[:, :, young].min(axis=-1).T).reshape(shape),
        mean_c=np.ascontiguousarray((kept @ (weight / weight.sum())).T).reshape(shape),
        nodes_c=nodes,
        given_j_m2=cement.given_j_m2().reshape(lead),
    )


@dataclass(frozen=True, slots=True)
class CoarseTrace:
    """One trace for all starts, without the cement's heat; (..., hours + 1) each.

    NaN from a gap until it has worn off to a thousandth.
    """

    fresh_c: FloatArray  # coldest of the nodes that would hold fresh material
    coldest_c: FloatArray  # coldest of all nodes


def coarse(*, section: Section, around: Surroundings) -> CoarseTrace:
    """Return the coldest nodes at the beginning of each hour and the end of the last.

    Parameters
    ----------
    section : Section
        The element.
    around : Surroundings
        (..., hours); the strongest conductance that occurs is taken for every hour.

    Returns
    -------
    CoarseTrace
        [°C]
    """
    network, steps, faces = _strongest(section, around)
    lead, hours = around.face_c.shape[:-2], around.face_c.shape[-2]
    felt, gap = _without_gaps(around)
    begin = steady_state(network, faces, felt[:, 0])
    wanted, young = np.arange(network.nodes), held_nodes(network)
    if _mirrored(network, faces) and np.array_equal(felt[..., 0], felt[..., 1]):
        wanted = wanted[: (network.nodes + 1) // 2]  # the other half is the same
        felt, steps = felt[..., :1], _both_faces_as_one(steps)
    fresh, coldest = (np.empty((felt.shape[0], hours + 1)) for _ in range(2))
    fresh[:, 0], coldest[:, 0] = begin[:, young].min(axis=-1), begin.min(axis=-1)
    for first, inside in _blocks(felt, steps, wanted, begin):
        through = slice(first + 1, first + 1 + inside.shape[-1])
        by_node = list(np.moveaxis(inside, 1, 0))
        held = [values for values, one in zip(by_node, young[wanted], strict=True) if one]
        fresh[:, through] = reduce(np.minimum, held)
        coldest[:, through] = reduce(np.minimum, by_node)
    for out in (fresh, coldest):
        if gap.any():
            out[_worn(gap, steps)] = np.nan
    return CoarseTrace(fresh.reshape(*lead, hours + 1), coldest.reshape(*lead, hours + 1))


def settled(*, section: Section, around: Surroundings, hours: NDArray[np.intp]) -> FloatArray:
    """Return every node's temperature at some hours without the cement's heat.

    What units and soil are like when fresh work comes to them.

    Parameters
    ----------
    section : Section
        The element.
    around : Surroundings
        (..., hours), as ``coarse``; the table's first hour counts as having stood for ever.
    hours : (n,)
        Beginnings of hours of the table, up to its end.

    Returns
    -------
    (..., n, nodes)
        [°C]
    """
    network, steps, faces = _strongest(section, around)
    felt, gap = _without_gaps(around)
    begin = steady_state(network, faces, felt[:, 0])
    out = np.empty((felt.shape[0], hours.size, network.nodes))
    out[:, hours == 0] = begin[:, None]
    for first, inside in _blocks(felt, steps, np.arange(network.nodes), begin):
        here = (hours > first) & (hours <= first + inside.shape[-1])
        out[:, here] = np.moveaxis(inside[:, :, hours[here] - first - 1], 1, 2)
    if gap.any():
        out[_worn(gap, steps)[:, hours]] = np.nan
    return out.reshape(*around.face_c.shape[:-2], hours.size, network.nodes)


def _strongest(section: Section, around: Surroundings) -> tuple[Network, Steps, FloatArray]:
    """Return network, step and face conductances of the row that lets most heat through."""
    network = network_of(section)
    faces = around.face_w_m2k[around.strongest]
    return network, steps_of(network, faces[None]), faces


def _without_gaps(around: Surroundings) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return what the faces feel by trace with gaps at 0 °C, and where they are."""
    felt = around.face_c.reshape(-1, *around.face_c.shape[-2:])
    gap = np.isnan(felt[..., 0]) | np.isnan(felt[..., 1])
    return np.where(gap[..., None], 0.0, felt) if gap.any() else felt, gap


def _both_faces_as_one(steps: Steps) -> Steps:
    begun, ended = (part.sum(axis=-1, keepdims=True) for part in (steps.begun, steps.ended))
    return replace(steps, begun=begun, ended=ended)


def _mirrored(network: Network, faces_w_m2k: FloatArray) -> bool:
    """Tell whether a section is the same seen from either face."""
    held = (network.capacity_j_m2k, network.conductance_w_m2k, network.fresh_kg_m2)
    return all(np.allclose(p, p[..., ::-1]) for p in (*held, network.edge_m2_m2, faces_w_m2k))


def _blocks(
    felt: FloatArray, steps: Steps, wanted: NDArray[np.intp], state: FloatArray
) -> Iterator[tuple[int, FloatArray]]:
    """Run all traces through the hours, half a day in one product.

    Gives the part's first hour and the wanted nodes after each of its hours, (traces, wanted,
    length); the node comes before the hour, so that the least of the nodes is taken fast.
    """
    traces, hours, _ = felt.shape  # faces: two, or one for both
    powers, response = _half_day(steps)
    for first in range(0, hours, BLOCK_H):
        length = min(BLOCK_H, hours - first)
        through = np.minimum(np.arange(first, first + length + 1), hours - 1)
        faces = felt[:, through].reshape(traces, -1)
        own = powers[1 : length + 1][:, wanted].swapaxes(0, 1).reshape(-1, state.shape[1])
        outer = response[1 : length + 1, wanted, : length + 1].swapaxes(0, 1)
        inside = _product(state, own.T) + _product(faces, outer.reshape(own.shape[0], -1).T)
        last = response[length, :, : length + 1].reshape(state.shape[1], -1)
        state = _product(state, powers[length].T) + _product(faces, last.T)
        yield first, inside.reshape(traces, wanted.size, length)


def _product(left: FloatArray, right: FloatArray) -> FloatArray:
    """Return ``left @ right`` in tiles too small to be shared out to threads.

    Matrix libraries split larger products over threads, which for these costs several times what
    it saves: 1.75 s against 0.32 s for 600 years of 2160 hours on two cores.
    """
    rows = max(SMALL_PRODUCT // right.size, 1)
    whole = left.shape[0] // rows * rows
    out = np.empty((left.shape[0], right.shape[1]))
    tiles = left[:whole].reshape(-1, rows, left.shape[1])
    np.matmul(tiles, right, out=out[:whole].reshape(-1, rows, right.shape[1]))
    np.matmul(left[whole:], right, out=out[whole:])
    return out


def _half_day(steps: Steps) -> tuple[FloatArray, FloatArray]:
    """Return powers of the step (hours + 1, nodes, nodes) and the response to each moment.

    ``response[j, node, i, face]`` is what the face's temperature at moment i does to a node at
    moment j; a moment is the end of one step and the beginning of the next.
    """
    kept, begun, ended = steps.kept[0], steps.begun[0], steps.ended[0]
    nodes = kept.shape[0]
    powers = np.stack([np.linalg.matrix_power(kept, j) for j in range(BLOCK_H + 1)])
    response = np.zeros((BLOCK_H + 1, nodes, BLOCK_H + 1, begun.shape[-1]))
    for j in range(1, BLOCK_H + 1):
        response[j] = np.einsum("nm,mif->nif", kept, response[j - 1])
        response[j, :, j - 1] += begun
        response[j, :, j] += ended
    return powers, response


def _worn(gap: NDArray[np.bool_], steps: Steps) -> NDArray[np.bool_]:
    """Return the moments (traces, hours + 1) at which a gap still shows."""
    slowest = float(np.abs(np.linalg.eigvals(steps.kept[0])).max())
    memory = int(np.ceil(np.log(1e-3) / np.log(slowest)))
    hit = np.concatenate([gap, gap[:, -1:]], axis=-1)
    moments = np.arange(hit.shape[-1])
    last = np.maximum.accumulate(np.where(hit, moments, -memory - 1), axis=-1)
    return moments - last <= memory
