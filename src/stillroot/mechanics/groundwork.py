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
from stillroot.mechanics.harmonics import AXIS_MM, admissible, angular_weight, face_loads, unit_stiffness
from stillroot.mechanics.outline import CORTICAL, GAP, TRABECULAR

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    import scipy.sparse as sp
    from numpy.typing import NDArray

    from stillroot.inputs.case import Case
    from stillroot.mechanics.condense import BodyHarmonic, Interior
    from stillroot.mechanics.harmonics import HarmonicStiffness
    from stillroot.mechanics.mesh import HalfSection

    Each = Callable[[Callable[[int], Any], Iterable[int]], Iterable[Any]]

WHOLE = "bone"
"""The name of all regions of the bone taken as one."""
RESULTANTS = ("lateral", "moment", "axial", "torque")
"""Unit loads on a section: along θ = 0 [N], tilting towards θ = 0 [N·mm], along +z [N], about
+z [N·mm]."""


@dataclass(frozen=True, kw_only=True)
class LoadedImplant:
    """Harmonic 0 or 1 of the implant, kept to condense loads and to recover the implant's motion.

    `loads` (3n, 8) are the `RESULTANTS` on the abutment's top, then at the crest, zero where they act in
    the other harmonic; `condensed` (i, 8) the same condensed to the wall.
    """

    body: BodyHarmonic
    interior: Interior
    loads: NDArray[np.float64]
    condensed: NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class BoneHarmonic:
    """One harmonic of the bone, its regions condensed to their rims: S_r of equation (16).

    `rims` maps each region to S_r (k_r, k_r) for a modulus of 1 MPa and to the indices (k_r,) of its
    values among those of all rims; of these the first `shared` lie off the wall.
    """

    rims: dict[str, tuple[NDArray[np.float64], NDArray[np.int64]]]
    shared: int

    def schur(self, modulus_mpa: Mapping[str, float]) -> NDArray[np.float64]:
        """Return S_b on the wall (i, i) [N/mm] for the modulus of each region."""
        size = 1 + max(int(place[-1]) for _, place in self.rims.values())
        s = np.zeros((size, size))
        for name, (rim, place) in self.rims.items():
            s[np.ix_(place, place)] += modulus_mpa[name] * rim
        k = self.shared
        if k == 0:
            return s
        factor, _ = la.cho_factor(s[:k, :k], lower=True, check_finite=False)
        half = la.solve_triangular(factor, s[:k, k:], lower=True, check_finite=False)
        return s[k:, k:] - half.T @ half


@dataclass(frozen=True, kw_only=True)
class Groundwork:
    """Bodies and wall of a geometry in harmonics 0, 1, …: all that no modulus of the bone changes.

    `expand`, h matrices (3m, k), maps the admissible values of a harmonic to u, v, w of each wall node;
    `implant_schur`: h matrices (k, k); `loaded`: n = 0 and n = 1.
    """

    pair: BodyPair
    expand: tuple[sp.csc_array, ...]
    implant_schur: tuple[NDArray[np.float64], ...]
    loaded: tuple[LoadedImplant, LoadedImplant]
    bone: tuple[BoneHarmonic, ...]

    @property
    def for_any_moduli(self) -> bool:
        """Whether the bone is condensed region by region, so that its moduli may still change."""
        return WHOLE not in self.bone[0].rims


def groundwork(
    case: Case,
    section: HalfSection,
    highest: int,
    *,
    for_any_moduli: bool = False,
    each: Each = map,
) -> Groundwork:
    """Assemble and condense a meshed case in harmonics 0 to `highest`.

    With `for_any_moduli` the bone is condensed region by region; of the case's moduli only the implant's
    and the shape of a profile with depth are then used. Otherwise the bone is one region with the moduli
    of the case, which costs less. `each` is `map` or an equivalent, for instance on several threads:
    harmonics are independent of each other. Factors are discarded in the thread that made them, since
    their memory would not be returned to the system otherwise.
    """
    pair = take_apart(section, keep_gap=case.socket.gap_filled)
    wall, implant = pair.wall, pair.implant
    stiffness = implant_stiffness(case, implant)
    order = elimination_order(stiffness, wall.implant_nodes)
    unfixed = np.zeros(implant.nodes_mm.shape[1], dtype=bool)
    units = _unit_loads(case, implant)

    def condensed(n: int) -> tuple[BodyHarmonic, NDArray[np.float64]]:
        body = body_harmonic(
            stiffness, n, implant.nodes_mm, order, len(wall.implant_nodes), unfixed, angular_weight(n)
        )
        return body, body.schur()

    bodies, schur = zip(*each(condensed, range(highest + 1)), strict=True)
    return Groundwork(
        pair=pair,
        expand=tuple(_wall_expansion(body, wall.implant_nodes) for body in bodies),
        implant_schur=schur,
        loaded=(_loaded(bodies[0], 0, units), _loaded(bodies[1], 1, units)),
        bone=_bone_harmonics(case, pair, highest, apart=for_any_moduli, each=each),
    )


def with_far_support(ground: Groundwork, case: Case, farther: Case, highest: int) -> Groundwork:
    """Return a groundwork with the far support of the case `farther`, all else unchanged.

    Bone nodes in the outer half of the distance from implant to support are moved outwards in
    proportion; nearer ones stay, so that little but the support changes. Harmonics 0 to `highest`.
    """
    bone, implant = ground.pair.bone, case.implant
    mesh = bone.basis.mesh
    moved = np.array(mesh.p)
    reach = np.array([implant.diameter_mm / 2, implant.length_mm])
    for axis, sign in ((0, 1.0), (1, -1.0)):
        far, new = case.block_mm[axis], farther.block_mm[axis]
        stays = 0.5 * (far + reach[axis])
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
        pair=pair,
        expand=ground.expand[: highest + 1],
        implant_schur=ground.implant_schur[: highest + 1],
        loaded=ground.loaded,
        bone=_bone_harmonics(farther, pair, highest, apart=ground.for_any_moduli),
    )


def split_by_moduli(ground: Groundwork, case: Case, each: Each = map) -> Groundwork:
    """Return a groundwork for any moduli of the bone from one that may be for those of one case only."""
    bone = _bone_harmonics(case, ground.pair, len(ground.bone) - 1, apart=True, each=each)
    return replace(ground, bone=bone)


def implant_stiffness(case: Case, implant: Body) -> HarmonicStiffness:
    """Return the stiffness of the implant with its abutment."""
    material = case.implant.elastic
    everything = np.arange(implant.basis.nelems)
    return unit_stiffness(implant.basis, everything, material.poisson, material.modulus_mpa)


def bone_stiffness(case: Case, bone: Body) -> HarmonicStiffness:
    """Return the stiffness of the bone, its layers and any gap fill."""
    depth = -np.asarray(bone.basis.global_coordinates())[1]
    modulus = np.empty_like(depth)
    for name, elements in _regions(bone):
        modulus[elements] = region_modulus(case, name, depth[elements])
    return unit_stiffness(bone.basis, np.arange(len(depth)), case.bone.poisson, modulus)


def region_modulus(case: Case, name: str, depth_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the modulus [MPa] of a bone region at depths below the crest (any shape)."""
    return region_scale_mpa(case, name) * _region_shape(case, name, depth_mm)


def _region_shape(case: Case, name: str, depth_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the modulus of a bone region relative to its `region_scale_mpa`."""
    if name != TRABECULAR:
        return np.ones_like(depth_mm)
    depths, relative = np.array(case.bone.trabecular_shape).T
    return np.interp(depth_mm, depths, relative)


def region_scale_mpa(case: Case, name: str) -> float:
    """Return the modulus of a bone region, the first one of a profile; 1 for `WHOLE`."""
    return {
        WHOLE: 1.0,
        CORTICAL: case.bone.cortical_modulus_mpa,
        TRABECULAR: case.bone.trabecular_profile_mpa[0][1],
        GAP: case.socket.gap_stiffness_mpa,
    }[name]


def supported(case: Case, bone: Body) -> NDArray[np.bool_]:
    """Return which bone nodes (n,) are fixed at the far support."""
    r, z = bone.nodes_mm
    radius, depth = case.block_mm
    held = z < -depth + AXIS_MM
    if case.bone.support == "all_round":
        held |= r > radius - AXIS_MM
    return held


def _unit_loads(case: Case, implant: Body) -> NDArray[np.float64]:
    """Return the `RESULTANTS` (3n, 8) on the abutment's top, then at the crest, per radian."""
    sections = [face_loads(implant.basis, z) for z in (case.implant.abutment_height_mm, 0.0)]
    return np.stack([getattr(section, name) for section in sections for name in RESULTANTS], axis=1)


def _loaded(body: BodyHarmonic, n: int, units: NDArray[np.float64]) -> LoadedImplant:
    acts = np.array([(name in ("lateral", "moment")) == (n == 1) for name in RESULTANTS] * 2)
    loads = np.where(acts, angular_weight(n) * units, 0.0)
    interior = body.interior_solver()
    return LoadedImplant(
        body=body, interior=interior, loads=loads, condensed=body.condensed_load(loads, interior)
    )


def _regions(bone: Body) -> list[tuple[str, NDArray[np.int64]]]:
    """Return the name and the elements of each of the bone's regions that has any."""
    found = [
        (name, np.flatnonzero(bone.region == bone.names.index(name)))
        for name in (CORTICAL, TRABECULAR, GAP)
        if name in bone.names
    ]
    return [(name, elements) for name, elements in found if len(elements)]


def _region_stiffness(
    case: Case, bone: Body, name: str, elements: NDArray[np.int64]
) -> HarmonicStiffness:
    """Return the stiffness of a region for a `region_scale_mpa` of 1."""
    depth = -np.asarray(bone.basis.global_coordinates())[1][elements]
    shape = _region_shape(case, name, depth)
    return unit_stiffness(bone.basis, elements, case.bone.poisson, shape)


def _bone_harmonics(
    case: Case, pair: BodyPair, highest: int, *, apart: bool, each: Each = map
) -> tuple[BoneHarmonic, ...]:
    bone, wall = pair.bone, pair.wall.bone_nodes
    fixed = supported(case, bone)
    if apart:
        nodes = {name: np.unique(bone.elements[:, here]) for name, here in _regions(bone)}
        whole = {name: _region_stiffness(case, bone, name, here) for name, here in _regions(bone)}
    else:
        nodes = {WHOLE: np.arange(bone.nodes_mm.shape[1])}
        whole = {WHOLE: bone_stiffness(case, bone)}
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


def _wall_expansion(implant: BodyHarmonic, wall_nodes: NDArray[np.int64]) -> sp.csc_array:
    """Return (3m, k), from the admissible wall values of a harmonic to u, v, w of each wall node."""
    rows = (3 * wall_nodes[:, None] + np.arange(3)).ravel()
    return implant.to_dofs.tocsr()[rows][:, implant.interior :].tocsc()
