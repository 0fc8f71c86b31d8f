"""Heat conduction through a section: nodes, and exact steps for boundaries that change linearly.

A section is cut into nodes that hold heat, joined by resistances (lumped, node at each face and at
each joint of layers). Written out, that is ``C dT/dt = -K T + U u(t) + q`` with a symmetric ``K``,
so its eigenvectors give the exact state after a step in which ``u`` runs linearly and ``q`` is
even. Every coefficient of a step is non-negative: a warmer start, boundary or source never gives
a colder node, and the answer does not hang on the length of the step.

References
----------
H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., 1959 (the equation).
J. E. Seem, Modeling of Heat Transfer in Buildings, PhD thesis, University of Wisconsin, 1987,
chapter 2 (exact response to a boundary that is linear within each step).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from rules.verdict import FloatArray

SECONDS_PER_HOUR: Final = 3600.0


@dataclass(frozen=True, slots=True)
class Network:
    """Nodes of one square metre of a section, from the first face to the second."""

    capacity_j_m2k: FloatArray  # (nodes,) heat held by each node
    conductance_w_m2k: FloatArray  # (nodes - 1,) between neighbours
    fresh_kg_m2: FloatArray  # (nodes,) cement that gives heat at each node
    edge_m2_m2: FloatArray  # (nodes,) side of each node that is open at an end, corner or top

    @property
    def nodes(self) -> int:
        """Return the number of nodes."""
        return int(self.capacity_j_m2k.size)


@dataclass(frozen=True, slots=True)
class Steps:
    """One step for each kind of surroundings.

    ``state_after = kept @ state + begun @ faces_before + ended @ faces_after + heated @ heat``
    with the two faces' temperatures and the heat given to each node during the step [J/m²].
    """

    kept: FloatArray  # (kinds, nodes, nodes)
    begun: FloatArray  # (kinds, nodes, 2)
    ended: FloatArray  # (kinds, nodes, 2)
    heated: FloatArray  # (kinds, nodes, nodes) [K per J/m²]
    step_h: float


def steps_of(network: Network, face_w_m2k: FloatArray, *, step_h: float = 1.0) -> Steps:
    """Return the exact step for each kind of surroundings.

    Parameters
    ----------
    network : Network
        Nodes of the section.
    face_w_m2k : (kinds, 2)
        Conductance from the first and the second face to what they feel; 0 lets nothing through.
        Open edges lose as the first face does. [W/m²/K]
    step_h
        Length of a step. [h]

    Returns
    -------
    Steps
        Matrices, made once and used for every hour, start and scenario.
    """
    made = [_step(network, faces, step_h * SECONDS_PER_HOUR) for faces in face_w_m2k]
    kept, begun, ended, heated = (np.stack(parts) for parts in zip(*made, strict=True))
    return Steps(kept=kept, begun=begun, ended=ended, heated=heated, step_h=step_h)


def loss_matrix(network: Network, faces_w_m2k: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the loss matrix ``K`` (nodes, nodes) and the boundary matrix ``U`` (nodes, 2)."""
    between = network.conductance_w_m2k
    boundary = np.zeros((network.nodes, 2))
    boundary[0, 0] += faces_w_m2k[0]
    boundary[-1, 1] += faces_w_m2k[1]
    boundary[:, 0] += faces_w_m2k[0] * network.edge_m2_m2
    own = boundary.sum(axis=1)
    own[:-1] += between
    own[1:] += between
    return np.diag(own) - np.diag(between, 1) - np.diag(between, -1), boundary


def steady_state(network: Network, faces_w_m2k: FloatArray, face_c: FloatArray) -> FloatArray:
    """Return the node temperatures after the faces' temperatures have stood for ever.

    Parameters
    ----------
    network : Network
        Nodes of the section.
    faces_w_m2k : (2,)
        Conductance of the first and second face, at least one above 0. [W/m²/K]
    face_c : (..., 2)
        What the faces feel. [°C]

    Returns
    -------
    (..., nodes)
        Temperatures. [°C]
    """
    loss, boundary = loss_matrix(network, faces_w_m2k)
    return face_c @ np.linalg.solve(loss, boundary).T


def _step(
    network: Network, faces_w_m2k: FloatArray, step_s: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return kept, begun, ended and heated for one kind of surroundings."""
    loss, boundary = loss_matrix(network, faces_w_m2k)
    root = np.sqrt(network.capacity_j_m2k)
    rate, shapes = np.linalg.eigh(loss / np.outer(root, root))
    left, right = shapes / root[:, None], (shapes * root[:, None]).T
    even, late = _responses(np.maximum(rate, 0.0) * step_s)
    kept = (left * np.exp(-np.maximum(rate, 0.0) * step_s)) @ right
    to_boundary = shapes.T @ (boundary / root[:, None])
    ended = (left * (late * step_s)) @ to_boundary
    begun = (left * ((even - late) * step_s)) @ to_boundary
    heated = (left * even) @ (shapes.T / root)
    # Rounding leaves entries of −1e-17 where the exact coefficient is zero or more.
    return np.maximum(kept, 0), np.maximum(begun, 0), np.maximum(ended, 0), np.maximum(heated, 0)


def _responses(decay: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what is left at the step's end of a unit source, even and growing from zero.

    ``(1 − e^−z)/z`` and ``(1 − (1 − e^−z)/z)/z``, by series where z is small.
    """
    small = decay < 1e-4
    z = np.where(small, 1.0, decay)
    even = np.where(small, 1.0 - decay / 2.0 + decay**2 / 6.0, -np.expm1(-z) / z)
    late = np.where(small, 0.5 - decay / 6.0 + decay**2 / 24.0, (1.0 + np.expm1(-z) / z) / z)
    return even, late
