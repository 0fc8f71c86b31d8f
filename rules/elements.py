"""Elements of the job as layers: block wall, bond-beam course, footing on soil, slab.

Figures of materials and units stand in ``rules/book/elements.toml`` with their sources.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Final

import numpy as np

from rules.errors import OutOfRange
from rules.propagate import Network
from rules.verdict import FloatArray

# Depth of the strip at an end, corner or top that is open on one more side, as a share of the
# thickness. At this share the strip is, from the third hour on, within a hundredth of the step of
# the exact corner of a square bar that cools, or colder (product of two plane walls, Carslaw and
# Jaeger 1959, section 5.6; the test shows it).
EDGE_STRIP: Final = 0.4


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a section, even over its thickness."""

    thickness_m: float
    conductivity_w_mk: float
    heat_capacity_j_m3k: float
    cement_kg_m3: float = 0.0  # that still gives heat, per volume of the layer
    fresh_share: float = 0.0  # of the layer's heat content that has just been placed
    parts: int = 1  # how many pieces it is cut into

    def __post_init__(self) -> None:
        if min(self.thickness_m, self.conductivity_w_mk, self.heat_capacity_j_m3k) <= 0.0:
            raise OutOfRange(f"{self} has no thickness, conductivity or heat capacity")


@dataclass(frozen=True, slots=True)
class Section:
    """Layers from the outer or upper face to the inner or lower one.

    ``far_resistance_m2k_w`` stands for ground beyond the last layer; None: the second face is in
    air like the first.
    """

    name: str
    layers: tuple[Layer, ...]
    far_resistance_m2k_w: float | None = None
    edge_per_m: float = 0.0  # open side for each cubic metre of the strip
    level: bool = False  # the first face looks up, not sideways

    def at_edge(self) -> Section:
        """Return the strip at an end, corner or top of the same section."""
        thickness = sum(layer.thickness_m for layer in self.layers if self.open_sided(layer))
        return replace(self, name=f"{self.name}, edge", edge_per_m=1.0 / (EDGE_STRIP * thickness))

    def open_sided(self, layer: Layer) -> bool:
        """Tell whether a layer's side is open at an edge: not where it is ground."""
        return self.far_resistance_m2k_w is None or layer.fresh_share > 0.0


@dataclass(frozen=True, slots=True)
class Material:
    """One row of materials of the book."""

    density_kg_m3: float
    conductivity_w_mk: float
    specific_heat_j_kgk: float
    source: str
    verify: bool
    cement_kg_m3: float = 0.0

    @property
    def heat_capacity_j_m3k(self) -> float:
        """Return the heat a cubic metre holds for each kelvin."""
        return self.density_kg_m3 * self.specific_heat_j_kgk


@dataclass(frozen=True, slots=True)
class BlockUnit:
    """One row of block sizes of the book."""

    thickness_m: float
    face_shell_m: float
    web_share: float  # of the core zone that is web, seen from the face
    source: str
    verify: bool


@cache
def _book() -> dict[str, dict[str, dict[str, object]]]:
    text = resources.files("rules").joinpath("book/elements.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def materials() -> dict[str, Material]:
    """Return the materials of the book by name."""
    return {name: Material(**row) for name, row in _book()["material"].items()}  # type: ignore[arg-type]


@cache
def block_units() -> dict[str, BlockUnit]:
    """Return the block sizes of the book by nominal inches."""
    return {name: BlockUnit(**row) for name, row in _book()["block"].items()}  # type: ignore[arg-type]


def block_wall(*, thickness_in: int = 8, grouted_share: float = 1.0) -> Section:
    """Return a block wall in air on both faces.

    Parameters
    ----------
    thickness_in
        Nominal thickness; a size of the book. [in]
    grouted_share
        Share of the cells that is grouted. A partly grouted wall is taken as even: the grout's
        heat is spread over the hollow cells beside it, which is the colder side.

    Returns
    -------
    Section
        Face shell, core zone, face shell: seven nodes.

    Raises
    ------
    OutOfRange
        If the size is not in the book or the share leaves 0 to 1.
    """
    unit = block_units().get(str(thickness_in))
    if unit is None:
        known = ", ".join(block_units())
        raise OutOfRange(f"block of {thickness_in} in. is not in the book; it has {known}")
    if not 0.0 <= grouted_share <= 1.0:
        raise OutOfRange(f"grouted share is {grouted_share}; want 0 to 1, not percent")
    block, grout = materials()["block"], materials()["grout"]
    depth = unit.thickness_m - 2.0 * unit.face_shell_m
    webs, cells = unit.web_share, 1.0 - unit.web_share
    filled, hollow = cells * grouted_share, cells * (1.0 - grouted_share)
    hollow_w_mk = depth / float(_book()["air_space"]["resistance_m2k_w"]["value"])  # type: ignore[arg-type]
    held = webs * block.heat_capacity_j_m3k + filled * grout.heat_capacity_j_m3k
    shell = Layer(unit.face_shell_m, block.conductivity_w_mk, block.heat_capacity_j_m3k)
    core = Layer(
        depth,
        webs * block.conductivity_w_mk + filled * grout.conductivity_w_mk + hollow * hollow_w_mk,
        held,
        cement_kg_m3=filled * grout.cement_kg_m3,
        fresh_share=filled * grout.heat_capacity_j_m3k / held,
        parts=4,
    )
    grouted = "hollow" if grouted_share == 0.0 else f"{grouted_share:.0%} grouted"
    return Section(f"{thickness_in} in. block wall, {grouted}", (shell, core, shell))


def bond_beam_course(*, thickness_in: int = 8) -> Section:
    """Return the grouted top course: full of grout, and open above as well as at both faces."""
    course = block_wall(thickness_in=thickness_in).at_edge()
    return replace(course, name=f"{thickness_in} in. bond beam, top course")


def footing(*, depth_m: float, soil: str = "clay_or_silt", parts: int = 4) -> Section:
    """Return a footing on soil, open above.

    Parameters
    ----------
    depth_m
        Thickness of the concrete. [m]
    soil
        A soil of the book.
    parts
        Pieces the concrete is cut into.

    Returns
    -------
    Section
        Concrete over half a metre of soil in growing pieces over the ground beyond.
    """
    concrete, ground = materials()["concrete"], materials()[soil]
    poured = Layer(
        depth_m,
        concrete.conductivity_w_mk,
        concrete.heat_capacity_j_m3k,
        cement_kg_m3=concrete.cement_kg_m3,
        fresh_share=1.0,
        parts=parts,
    )
    below = tuple(
        Layer(depth, ground.conductivity_w_mk, ground.heat_capacity_j_m3k)
        for depth in (0.07, 0.15, 0.28)
    )
    return Section(
        f"{depth_m * 1000:.0f} mm concrete on {soil.replace('_', ' ')}",
        (poured, *below),
        far_resistance_m2k_w=0.5 / ground.conductivity_w_mk,
        level=True,
    )


def slab(*, depth_m: float, soil: str = "sand_or_gravel") -> Section:
    """Return a slab on ground."""
    return replace(footing(depth_m=depth_m, soil=soil), name=f"{depth_m * 1000:.0f} mm slab")


def network_of(section: Section) -> Network:
    """Return the nodes of a section: one at each face, each joint and between pieces."""
    pieces = [
        replace(layer, thickness_m=layer.thickness_m / layer.parts) for layer in _cut(section)
    ]
    thickness = np.array([piece.thickness_m for piece in pieces])
    held = np.array([piece.heat_capacity_j_m3k for piece in pieces]) * thickness
    cement = np.array([piece.cement_kg_m3 for piece in pieces]) * thickness
    side = np.array([section.open_sided(piece) for piece in pieces]) * thickness
    return Network(
        capacity_j_m2k=_to_nodes(held),
        conductance_w_m2k=np.array([p.conductivity_w_mk for p in pieces]) / thickness,
        fresh_kg_m2=_to_nodes(cement),
        edge_m2_m2=_to_nodes(side) * section.edge_per_m,
    )


def depths_m(section: Section) -> FloatArray:
    """Return how deep each node lies under the first face: (nodes,)."""
    pieces = np.array([layer.thickness_m / layer.parts for layer in _cut(section)])
    return np.concatenate([[0.0], np.cumsum(pieces)])


def fresh_start(section: Section, *, placed_c: float, around_c: FloatArray) -> FloatArray:
    """Return the node temperatures when fresh material has just been placed.

    Parameters
    ----------
    section : Section
        The element.
    placed_c
        Temperature of the fresh material. [°C]
    around_c : (..., 1) or (..., nodes)
        Temperature of what was there before: units, soil. [°C]

    Returns
    -------
    (..., nodes)
        Placed where the material is fresh, around elsewhere, mixed by heat content in between.
    """
    share = np.array([layer.fresh_share for layer in _cut(section)])
    thickness = np.array([layer.thickness_m / layer.parts for layer in _cut(section)])
    held = np.array([layer.heat_capacity_j_m3k for layer in _cut(section)]) * thickness
    fresh = _to_nodes(held * share) / _to_nodes(held)
    begin: FloatArray = fresh * placed_c + (1.0 - fresh) * around_c
    return begin


def _cut(section: Section) -> list[Layer]:
    return [layer for layer in section.layers for _ in range(layer.parts)]


def _to_nodes(of_pieces: Iterable[float]) -> FloatArray:
    """Give half of each piece to the node on either side."""
    half = np.asarray(of_pieces, dtype=np.float64) / 2.0
    nodes = np.zeros(half.size + 1)
    nodes[:-1] += half
    nodes[1:] += half
    return nodes
