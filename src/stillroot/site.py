"""A case made ready to be loaded: meshed, assembled, condensed to its wall.

Everything in a `Site` depends on geometry and moduli alone. Friction, interference and loads come later,
so a study that varies those reuses the site.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg as la

from stillroot.bodies import BodyPair, take_apart
from stillroot.condense import body_harmonic, elimination_order, free_rows
from stillroot.contact import SeriesStiffness
from stillroot.harmonics import AXIS_MM, angular_weight, face_loads, unit_stiffness
from stillroot.interface import layer_on
from stillroot.materials import Material
from stillroot.outline import CORTICAL, GAP, TRABECULAR

if TYPE_CHECKING:
    import scipy.sparse as sp
    import scipy.sparse.linalg as spla
    from numpy.typing import NDArray

    from stillroot.bodies import Body
    from stillroot.case import Case
    from stillroot.condense import BodyHarmonic
    from stillroot.harmonics import HarmonicStiffness
    from stillroot.interface import Layer
    from stillroot.mesh import HalfSection

HARD_LAYER_MM = 0.002
"""Stands in for a layer of no thickness: 2 µm of the bone's own modulus (docs/theory.md measures
what it costs)."""

RESULTANTS = ("lateral", "moment", "axial", "torque")
"""Unit loads on a section: along θ = 0 [N], tilting towards θ = 0 [N·mm], along +z [N], about
+z [N·mm]."""


@dataclass(frozen=True, kw_only=True)
class LoadedHarmonic:
    """Harmonic 0 or 1 of the implant, kept to condense loads and to recover the implant's motion.

    `loads` (3n, 8) are the `RESULTANTS` on the abutment's top, then at the crest, zero where they
    belong to the other harmonic; `condensed` (i, 8) the same on the wall; `bonded` holds
    the Cholesky factors of S_i + S_b.
    """

    body: BodyHarmonic
    interior: spla.SuperLU
    loads: NDArray[np.float64]
    condensed: NDArray[np.float64]
    bone_schur: NDArray[np.float64]
    bonded: tuple[NDArray[np.float64], bool]


@dataclass(frozen=True, kw_only=True)
class Site:
    """Bodies, wall and series stiffness of a case, in harmonics 0 to `highest`.

    `wall_loads` (8, 2, 2, m, 3): λ_0 of equation (8) for each unit resultant on top and at the crest, in
    both families and harmonics 0 and 1.
    """

    case: Case
    pair: BodyPair
    series: SeriesStiffness
    loaded: tuple[LoadedHarmonic, LoadedHarmonic]
    wall_loads: NDArray[np.float64]

    @property
    def highest(self) -> int:
        """The highest harmonic."""
        return len(self.series.free) - 1

    def layer(self, *, interference_um: float | None = None, friction: float | None = None) -> Layer:
        """Return the interface law; both arguments default to the case's."""
        face = self.case.interface
        beside = _modulus_beside(self.case, self.pair)
        unit = Material(modulus_mpa=1.0, poisson=self.case.bone.poisson)
        hard = beside / HARD_LAYER_MM
        torn = hard
        if face.layer_thickness_mm > 0:
            torn = np.minimum(hard, face.layer_modulus_ratio * beside / face.layer_thickness_mm)
        stiffness = np.where(self.pair.wall.fill, hard, torn)  # fill is not torn, it clings
        interference = face.interference_um if interference_um is None else interference_um
        return layer_on(
            self.pair.wall,
            normal_stiffness=stiffness * unit.oedometric_modulus_mpa,
            shear_stiffness=stiffness * unit.shear_modulus_mpa,
            crush_mpa=self.case.bone.crush_strain * beside,
            interference_mm=interference / 1000,
            glued=face.kind == "bonded",
            friction=face.friction if friction is None else friction,
        )


def prepare(case: Case, section: HalfSection, highest: int) -> Site:
    """Assemble and condense a meshed case in harmonics 0 to `highest`."""
    pair = take_apart(section, keep_gap=case.socket.gap_filled)
    wall = pair.wall
    implant_k = implant_stiffness(case, pair.implant)
    bone_k = bone_stiffness(case, pair.bone)
    implant_order = elimination_order(implant_k, wall.implant_nodes)
    bone_order = elimination_order(bone_k, wall.bone_nodes)
    unfixed = np.zeros(pair.implant.nodes_mm.shape[1], dtype=bool)
    fixed = supported(case, pair.bone)
    units = [
        (name, getattr(face_loads(pair.implant.basis, height), name))
        for height in (case.implant.abutment_height_mm, 0.0)
        for name in RESULTANTS
    ]
    m = wall.nodes_mm.shape[1]
    free, expand, loaded = [], [], []
    wall_loads = np.zeros((len(units), 2, 2, 3 * m))
    for n in range(highest + 1):
        weight = angular_weight(n)
        implant = body_harmonic(implant_k, n, pair.implant.nodes_mm, implant_order, m, unfixed, weight)
        bone = body_harmonic(bone_k, n, pair.bone.nodes_mm, bone_order, m, fixed, weight)
        bone_schur = bone.schur()
        bonded = la.cho_factor(implant.schur() + bone_schur, lower=True, check_finite=False)
        half = la.solve_triangular(bonded[0], bone_schur, lower=True, check_finite=False)
        free.append(bone_schur - half.T @ half)
        expand.append(_wall_expansion(implant, wall.implant_nodes))
        if n <= 1:
            columns = np.zeros((len(unfixed) * 3, len(units)))
            for i, (name, unit) in enumerate(units):
                if (name in ("lateral", "moment")) == (n == 1):
                    columns[:, i] = weight * unit
            interior = implant.interior_solver()
            condensed = implant.condensed_load(columns, interior)
            on_wall = np.zeros((3 * m, len(units)))
            on_wall[free_rows(expand[n])] = bone_schur @ la.cho_solve(bonded, condensed)
            for i, (name, _) in enumerate(units):
                wall_loads[i, int(name == "torque"), n] = on_wall[:, i]
            loaded.append(
                LoadedHarmonic(
                    body=implant,
                    interior=interior,
                    loads=columns,
                    condensed=condensed,
                    bone_schur=bone_schur,
                    bonded=bonded,
                )
            )
    return Site(
        case=case,
        pair=pair,
        series=SeriesStiffness(free=tuple(free), expand=tuple(expand)),
        loaded=(loaded[0], loaded[1]),
        wall_loads=wall_loads.reshape(len(units), 2, 2, m, 3),
    )


def implant_stiffness(case: Case, implant: Body) -> HarmonicStiffness:
    """Return the stiffness of the implant with its abutment."""
    material = case.implant.elastic
    everything = np.arange(implant.basis.nelems)
    return unit_stiffness(implant.basis, everything, material.poisson, material.modulus_mpa)


def bone_stiffness(case: Case, bone: Body) -> HarmonicStiffness:
    """Return the stiffness of the bone, its layers and any gap fill."""
    depth = -np.asarray(bone.basis.global_coordinates())[1]
    total: HarmonicStiffness | None = None
    for name in (CORTICAL, TRABECULAR, GAP):
        if name not in bone.names:
            continue
        elements = np.flatnonzero(bone.region == bone.names.index(name))
        if len(elements) == 0:
            continue
        modulus = region_modulus(case, name, depth[elements])
        part = unit_stiffness(bone.basis, elements, case.bone.poisson, modulus)
        total = part if total is None else total + part
    if total is None:
        msg = "the bone has no elements"
        raise AssertionError(msg)
    return total


def region_modulus(case: Case, name: str, depth_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the modulus [MPa] of a bone region at depths below the crest (any shape)."""
    if name == CORTICAL:
        return np.full_like(depth_mm, case.bone.cortical_modulus_mpa)
    if name == GAP:
        return np.full_like(depth_mm, case.socket.gap_stiffness_mpa)
    depths, moduli = np.array(case.bone.trabecular_profile_mpa).T
    return np.interp(depth_mm, depths, moduli)


def supported(case: Case, bone: Body) -> NDArray[np.bool_]:
    """Return which bone nodes (n,) the far support holds."""
    r, z = bone.nodes_mm
    radius, depth = case.block_mm
    held = z < -depth + AXIS_MM
    if case.bone.support == "all_round":
        held |= r > radius - AXIS_MM
    return held


def _modulus_beside(case: Case, pair: BodyPair) -> NDArray[np.float64]:
    """Return the modulus (k,) of the bone or fill next to each edge of the wall."""
    wall, bone = pair.wall, pair.bone
    depth = -wall.nodes_mm[1, wall.edges[1]]
    names = np.array(bone.names)[bone.region[wall.bone_elements]]
    modulus = np.empty(len(depth))
    for name in np.unique(names):
        here = names == name
        modulus[here] = region_modulus(case, str(name), depth[here])
    return modulus


def _wall_expansion(implant: BodyHarmonic, wall_nodes: NDArray[np.int64]) -> sp.csc_array:
    """Return (3m, k): the admissible wall values of a harmonic to u, v, w of each wall node."""
    rows = (3 * wall_nodes[:, None] + np.arange(3)).ravel()
    return implant.to_dofs.tocsr()[rows][:, implant.interior :].tocsc()
