"""The part of the model that no modulus of the bone changes: bodies, wall, stiffness condensed to it.

The bone's stiffness is a sum over its regions, K = Σ E_r K_r. With the interior of each region condensed
to its rim, the nodes on the wall and those that it shares with another region, it remains such a sum::

    S = Σ E_r S_r,     S_b = S_ww - S_ws S_ss⁻¹ S_sw        w the wall, s the shared nodes     (16)

This is substructuring (Przemieniecki, Theory of Matrix Structural Analysis, 1968, chapter 9, from
memory). S_r of each region takes one sparse factorisation; a change of modulus then takes only small
dense ones.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import scipy.linalg as la
from skfem import Basis, ElementTriP2, MeshTri

from stillroot.mechanics.bodies import QUADRATURE_ORDER, Body, BodyPair, take_apart
from stillroot.mechanics.condense import body_harmonic, elimination_order
from stillroot.mechanics.harmonics import admissible, angular_weight, face_loads, unit_stiffness
from stillroot.mechanics.outline import CORTICAL, GAP, TRABECULAR
from stillroot.mechanics.resultant import SECTIONS, UNIT_LOADS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    import scipy.sparse as sp

    from stillroot.arrays import Floats, Ints
    from stillroot.mechanics.condense import BodyHarmonic, Interior
    from stillroot.mechanics.harmonics import HarmonicStiffness
    from stillroot.mechanics.mesh import HalfSection
    from stillroot.mechanics.solids import Solids

    Each = Callable[[Callable[[int], Any], Iterable[int]], Iterable[Any]]

WHOLE = "bone"
"""The name of all regions of the bone taken as one."""


@dataclass(frozen=True, kw_only=True)
class LoadedImplant:
    """Harmonic 0 or 1 of the implant, kept to condense loads and to recover the implant's motion.

    `loads` (3n, 12): the traction of each unit load that acts in this harmonic, zero for the others;
    `condensed` (i, 12) the same condensed to the wall.
    """

    body: BodyHarmonic
    interior: Interior
    loads: Floats
    condensed: Floats


@dataclass(frozen=True, kw_only=True)
class BoneHarmonic:
    """One harmonic of the bone, its regions condensed to their rims: S_r of equation (16).

    `rims` maps each region to S_r (k_r, k_r) for a modulus of 1 MPa and to the indices (k_r,) of its
    values among those of all rims; of these the first `shared` lie off the wall.
    """

    rims: dict[str, tuple[Floats, Ints]]
    shared: int

    def schur(self, modulus_mpa: Mapping[str, float]) -> Floats:
        """Return S_b on the wall (i, i) [N/mm] for the modulus of each region."""
        size = 1 + max(int(place[-1]) for _, place in self.rims.values())
        e = {**modulus_mpa, WHOLE: 1.0}  # the whole has its moduli in it
        s = np.zeros((size, size))
        for name, (s_r, place) in self.rims.items():
            s[np.ix_(place, place)] += e[name] * s_r  # (16)
        k = self.shared
        if k == 0:
            return s
        factor, _ = la.cho_factor(s[:k, :k], lower=True, check_finite=False)
        half = la.solve_triangular(factor, s[:k, k:], lower=True, check_finite=False)
        return s[k:, k:] - half.T @ half  # (16)


@dataclass(frozen=True, kw_only=True)
class Groundwork:
    """Bodies and wall of a geometry in harmonics 0, 1, …: all that no modulus of the bone changes.

    `solids` are those that it was made for. `expand`, h matrices (3m, k), maps the admissible values of
    a harmonic to u, v, w of each wall node; `implant_schur`: h matrices (k, k); `loaded`: n = 0 and
    n = 1.
    """

    solids: Solids
    pair: BodyPair
    expand: tuple[sp.csc_array, ...]
    implant_schur: tuple[Floats, ...]
    loaded: tuple[LoadedImplant, LoadedImplant]
    bone: tuple[BoneHarmonic, ...]

    @property
    def for_any_moduli(self) -> bool:
        """Whether the bone is condensed region by region, so that its moduli may still change."""
        return WHOLE not in self.bone[0].rims


def groundwork(
    solids: Solids,
    section: HalfSection,
    highest: int,
    *,
    for_any_moduli: bool = False,
    each: Each = map,
) -> Groundwork:
    """Assemble and condense a meshed geometry in harmonics 0 to `highest`.

    With `for_any_moduli` the bone is condensed region by region; of the moduli only the implant's and
    the shape of a profile with depth are then used. Otherwise the bone is one region with its moduli,
    which costs less. `each` is `map` or an equivalent, for instance on several threads: harmonics are
    independent of each other. Factors are discarded in the thread that made them, since their memory
    would not be returned to the system otherwise.
    """
    pair = take_apart(section, keep_gap=solids.fills_gap)
    wall, implant = pair.wall, pair.implant
    stiffness = implant_stiffness(solids, implant)
    order = elimination_order(stiffness, wall.implant_nodes)
    unfixed = np.zeros(implant.nodes_mm.shape[1], dtype=bool)

    def condensed(n: int) -> tuple[BodyHarmonic, Floats]:
        body = body_harmonic(
            stiffness, n, implant.nodes_mm, order, len(wall.implant_nodes), unfixed, angular_weight(n)
        )
        return body, body.schur()

    bodies, schur = zip(*each(condensed, range(highest + 1)), strict=True)
    return Groundwork(
        solids=solids,
        pair=pair,
        expand=tuple(_wall_expansion(body, wall.implant_nodes) for body in bodies),
        implant_schur=schur,
        loaded=(_loaded(solids, implant, bodies[0], 0), _loaded(solids, implant, bodies[1], 1)),
        bone=_bone_harmonics(solids, pair, highest, apart=for_any_moduli, each=each),
    )


def with_far_support(ground: Groundwork, farther: Solids, highest: int) -> Groundwork:
    """Return a groundwork with the far support of `farther`, all else unchanged.

    Bone nodes in the outer half of the distance from implant to support are moved outwards in
    proportion; nearer ones stay, so that little but the support changes. Harmonics 0 to `highest`.
    """
    bone, near = ground.pair.bone, ground.solids
    mesh = bone.basis.mesh
    moved = np.array(mesh.p)
    for axis, sign, reach, far, new in (
        (0, 1.0, near.implant_radius_mm, near.block_radius_mm, farther.block_radius_mm),
        (1, -1.0, near.implant_length_mm, near.block_depth_mm, farther.block_depth_mm),
    ):
        stays = 0.5 * (far + reach)
        distance = sign * moved[axis]
        out = distance > stays
        moved[axis, out] = sign * (stays + (distance[out] - stays) * (new - stays) / (far - stays))
    stretched = Body(
        basis=Basis(MeshTri(moved, mesh.t), ElementTriP2(), intorder=QUADRATURE_ORDER),
        region=bone.region,
        names=bone.names,
    )
    pair = replace(ground.pair, bone=stretched)
    return Groundwork(
        solids=farther,
        pair=pair,
        expand=ground.expand[: highest + 1],
        implant_schur=ground.implant_schur[: highest + 1],
        loaded=ground.loaded,
        bone=_bone_harmonics(farther, pair, highest, apart=ground.for_any_moduli),
    )


def split_by_moduli(ground: Groundwork, each: Each = map) -> Groundwork:
    """Return a groundwork for any moduli of the bone from one that may be for one set of moduli only."""
    bone = _bone_harmonics(ground.solids, ground.pair, len(ground.bone) - 1, apart=True, each=each)
    return replace(ground, bone=bone)


def implant_stiffness(solids: Solids, implant: Body) -> HarmonicStiffness:
    """Return the stiffness of the implant with its abutment."""
    material, everything = solids.implant, np.arange(implant.basis.nelems)
    return unit_stiffness(implant.basis, everything, material.poisson, material.modulus_mpa)


def bone_stiffness(solids: Solids, bone: Body) -> HarmonicStiffness:
    """Return the stiffness of the bone, its layers and any gap fill."""
    depth = -np.asarray(bone.basis.global_coordinates())[1]
    modulus = np.empty_like(depth)
    for name, elements in _regions(bone):
        modulus[elements] = solids.modulus_mpa(name, depth[elements])
    return unit_stiffness(bone.basis, np.arange(len(depth)), solids.poisson, modulus)


def native_elements(bone: Body) -> Ints:
    """Return the triangles (e,) of native bone, in their order."""
    native = [k for k, name in enumerate(bone.names) if name in (CORTICAL, TRABECULAR)]
    return np.flatnonzero(np.isin(bone.region, native))


def whole_bone(solids: Solids, bone: Body) -> Callable[[int], tuple[BodyHarmonic, Interior]]:
    """Return what makes a harmonic of the whole bone with its factors: nothing of it is condensed."""
    stiffness, fixed = bone_stiffness(solids, bone), solids.held(bone.nodes_mm)
    order = elimination_order(stiffness, np.array([], dtype=np.int64))

    def harmonic(n: int) -> tuple[BodyHarmonic, Interior]:
        body = body_harmonic(stiffness, n, bone.nodes_mm, order, 0, fixed, angular_weight(n))
        return body, body.interior_solver()

    return harmonic


def _loaded(solids: Solids, implant: Body, body: BodyHarmonic, n: int) -> LoadedImplant:
    sections = {z: face_loads(implant.basis, z) for z in (solids.top_mm, 0.0)}
    heights = dict(zip(SECTIONS, sections, strict=True))
    loads = np.zeros((3 * implant.basis.N, len(UNIT_LOADS)))
    for k, unit in enumerate(UNIT_LOADS):
        if unit.harmonic == n:
            traction: Floats = getattr(sections[heights[unit.section]], unit.traction)
            loads[:, k] = unit.sign * angular_weight(n) * traction
    interior = body.interior_solver()
    return LoadedImplant(
        body=body, interior=interior, loads=loads, condensed=body.condensed_load(loads, interior)
    )


def _regions(bone: Body) -> list[tuple[str, Ints]]:
    """Return the name and the elements of each of the bone's regions that has any."""
    found = [
        (name, np.flatnonzero(bone.region == bone.names.index(name)))
        for name in (CORTICAL, TRABECULAR, GAP)
        if name in bone.names
    ]
    return [(name, elements) for name, elements in found if len(elements)]


def _region_stiffness(solids: Solids, bone: Body, name: str, elements: Ints) -> HarmonicStiffness:
    """Return the stiffness of a region whose modulus at its first depth is 1 MPa."""
    depth = -np.asarray(bone.basis.global_coordinates())[1][elements]
    return unit_stiffness(bone.basis, elements, solids.poisson, solids.shape(name, depth))


def _bone_harmonics(
    solids: Solids, pair: BodyPair, highest: int, *, apart: bool, each: Each = map
) -> tuple[BoneHarmonic, ...]:
    bone, wall = pair.bone, pair.wall.bone_nodes
    fixed = solids.held(bone.nodes_mm)
    if apart:
        nodes = {name: np.unique(bone.elements[:, here]) for name, here in _regions(bone)}
        whole = {name: _region_stiffness(solids, bone, name, here) for name, here in _regions(bone)}
    else:
        nodes = {WHOLE: np.arange(bone.nodes_mm.shape[1])}
        whole = {WHOLE: bone_stiffness(solids, bone)}
    used = np.zeros(bone.nodes_mm.shape[1], dtype=int)
    for here in nodes.values():
        used[here] += 1
    shared = np.setdiff1d(np.flatnonzero(used > 1), wall)
    kept = np.concatenate([shared, wall])
    parts = {}
    for name, stiffness in whole.items():
        rim = kept[np.isin(kept, nodes[name])]
        parts[name] = stiffness, elimination_order(stiffness, rim, nodes[name]), rim

    def condensed(n: int) -> BoneHarmonic:
        _, node = admissible(bone.nodes_mm, n, kept, fixed)
        rims = {}
        for name, (stiffness, order, rim) in parts.items():
            body = body_harmonic(stiffness, n, bone.nodes_mm, order, len(rim), fixed, angular_weight(n))
            rims[name] = body.schur(), np.flatnonzero(np.isin(node, rim))
        return BoneHarmonic(rims=rims, shared=int(np.sum(np.isin(node, shared))))

    return tuple(each(condensed, range(highest + 1)))


def _wall_expansion(implant: BodyHarmonic, wall_nodes: Ints) -> sp.csc_array:
    """Return (3m, k), from the admissible wall values of a harmonic to u, v, w of each wall node."""
    rows = (3 * wall_nodes[:, None] + np.arange(3)).ravel()
    return implant.to_dofs.tocsr()[rows][:, implant.interior :].tocsc()
