"""A case meshed, assembled and condensed to its wall, ready to be loaded.

A `Site` depends on geometry and moduli alone. Friction, interference and loads enter later, so a study
that varies only those reuses the site.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg as la

from stillroot.inputs.materials import Material
from stillroot.mechanics.condense import free_rows
from stillroot.mechanics.contact import SeriesStiffness
from stillroot.mechanics.groundwork import RESULTANTS, groundwork, region_modulus, region_scale_mpa
from stillroot.mechanics.interface import layer_on

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stillroot.inputs.case import Case
    from stillroot.mechanics.bodies import BodyPair
    from stillroot.mechanics.groundwork import Groundwork, LoadedImplant
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.mesh import HalfSection

HARD_LAYER_MM = 0.002
"""Replaces a layer thickness of zero: 2 µm of the bone's own modulus (docs/theory.md gives the error
that this introduces)."""


@dataclass(frozen=True, kw_only=True)
class LoadedHarmonic:
    """Harmonic 0 or 1 of the implant and its bone; `bonded`: Cholesky factorisation of S_i + S_b."""

    implant: LoadedImplant
    bone_schur: NDArray[np.float64]
    bonded: tuple[NDArray[np.float64], bool]


@dataclass(frozen=True, kw_only=True)
class Site:
    """Bodies, wall and series stiffness of a case, in harmonics 0 to `highest`.

    `wall_loads` (8, 2, 2, m, 3): λ_0 of equation (8) for each unit resultant on the abutment's top and
    at the crest, in both families and harmonics 0 and 1.
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
        stiffness = np.where(self.pair.wall.fill, hard, torn)  # gap fill is not torn: it is glued
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
    return site_on(groundwork(case, section, highest), case)


def site_on(ground: Groundwork, case: Case) -> Site:
    """Return the site of a groundwork with the bone moduli of a case of the same geometry."""
    modulus = {name: region_scale_mpa(case, name) for name in ground.bone[0].rims}
    m = ground.pair.wall.nodes_mm.shape[1]
    free, loaded = [], []
    wall_loads = np.zeros((2 * len(RESULTANTS), 2, 2, 3 * m))
    for n, bone in enumerate(ground.bone):
        bone_schur = bone.schur(modulus)
        bonded = la.cho_factor(ground.implant_schur[n] + bone_schur, lower=True, check_finite=False)
        half = la.solve_triangular(bonded[0], bone_schur, lower=True, check_finite=False)
        free.append(bone_schur - half.T @ half)
        if n <= 1:
            implant = ground.loaded[n]
            on_wall = np.zeros((3 * m, len(wall_loads)))
            on_wall[free_rows(ground.expand[n])] = bone_schur @ la.cho_solve(bonded, implant.condensed)
            for i in range(len(wall_loads)):
                family = int(RESULTANTS[i % len(RESULTANTS)] == "torque")
                wall_loads[i, family, n] = on_wall[:, i]
            loaded.append(LoadedHarmonic(implant=implant, bone_schur=bone_schur, bonded=bonded))
    return Site(
        case=case,
        pair=ground.pair,
        series=SeriesStiffness(free=tuple(free), expand=ground.expand),
        loaded=(loaded[0], loaded[1]),
        wall_loads=wall_loads.reshape(-1, 2, 2, m, 3),
    )


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
