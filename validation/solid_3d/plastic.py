"""Bone that yields in the solid: plastic strains at the quadrature points of its tetrahedra.

With B the strains of a displacement u at these points and V their volumes, the plastic strains load the
bone by Bᵀ V C ε_p(B u), and take Bᵀ V C (∂ε_p/∂ε) B from its tangent.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp
from ngsolve import TET, VOL, ElementId, IntegrationRule

from validation.solid_3d import block
from validation.solid_3d.quadric import Quadric, stiffness_over_modulus

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from numpy.typing import NDArray

    from stillroot.inputs.case import Case
    from validation.solid_3d.elastic import Solid

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

VOLUME_ORDER = 4
"""Order that the rule in a tetrahedron is exact for: that of the stiffness of cubic displacement."""
SAME = 1e-9
"""Largest relative difference of the bone's two stiffnesses."""


@dataclass(frozen=True, kw_only=True)
class Lost:
    """What flow takes from the tangent: `strain` (6k, dofs) at k points, `blocks` (k, 6, 6) [N·mm]."""

    strain: sp.csr_array
    blocks: Floats

    def force(self, u: Floats) -> Floats:
        """Return its force (dofs,) for a displacement (dofs,)."""
        stress = np.einsum("qij,qj->qi", self.blocks, (self.strain @ u).reshape(-1, 6))
        return self.strain.T @ stress.ravel()


@dataclass(frozen=True, kw_only=True)
class PlasticBone:
    """The bone at q points, and its plastic strains so far, `before` (q, 6).

    `strain` (6q, dofs), six of each point in turn (`quadric`); `energy_n_mm` (q,): modulus times volume;
    `points`: those of each law.
    """

    strain: sp.csr_array
    energy_n_mm: Floats
    laws: Mapping[str, Quadric]
    points: Mapping[str, Ints]
    before: Floats
    poisson: float

    @cached_property
    def _stiffness(self) -> Floats:
        return stiffness_over_modulus(self.poisson)

    def step(self, u: Floats, *, tangent: bool = True) -> tuple[Floats, Lost | None]:
        """Return ε_p (q, 6) at a displacement (dofs,), and what it takes from the tangent."""
        strain = (self.strain @ u).reshape(-1, 6)
        after, flowing, blocks = np.empty_like(strain), [], []
        for name, here in self.points.items():
            after[here], flows, slope = self.laws[name].step(strain[here], self.before[here])
            flowing.append(here[flows])
            blocks.append(self._stiffness @ slope)
        if not tangent:
            return after, None
        where = np.concatenate(flowing)
        rows = (6 * where[:, None] + np.arange(6)).ravel()
        lost = np.concatenate(blocks) * self.energy_n_mm[where, None, None]
        return after, Lost(strain=self.strain[rows], blocks=lost)

    def force(self, plastic: Floats) -> Floats:
        """Return the load Bᵀ V C ε_p (dofs,)."""
        return self.strain.T @ ((plastic @ self._stiffness) * self.energy_n_mm[:, None]).ravel()

    def left(self, u: Floats) -> PlasticBone:
        """Return the bone with the plastic strains that a state leaves."""
        return replace(self, before=self.step(u, tangent=False)[0])


def plastic_bone(solid: Solid, order: int = VOLUME_ORDER) -> PlasticBone:
    """Return the bone of a solid before anything strains it."""
    rule = IntegrationRule(TET, order)
    scalar, body = solid.bodies[1].components[0], solid.bodies[1]
    start = solid.bodies[0].ndof
    shift = [start + body.Range(i).start for i in range(3)]
    entries: list[tuple[Ints, Ints, Floats]] = []
    volume, material = [], []
    for element in solid.mesh.Materials(block.BONE).Elements():
        name = ElementId(VOL, element.nr)
        trafo, shape = solid.mesh.GetTrafo(name), scalar.GetFE(name)
        dofs = np.array(scalar.GetDofNrs(name))
        for point, weight in zip(rule.points, rule.weights, strict=True):
            at = trafo(*point)
            entries += _rows(6 * len(volume), np.array(shape.CalcDShape(at)), dofs, shift)
            volume.append(weight * at.measure)
            material.append(element.mat)
    rows, columns, values = (np.concatenate(part) for part in zip(*entries, strict=True))
    size = (6 * len(volume), solid.space.ndof)
    laws, moduli = _laws(solid.case)
    names = np.array(material)
    bone = PlasticBone(
        strain=sp.csr_array((values, (rows, columns)), shape=size),
        energy_n_mm=np.array(volume) * np.array([moduli[name] for name in material]),
        laws=laws,
        points={name: np.flatnonzero(names == name) for name in laws},
        before=np.zeros((len(volume), 6)),
        poisson=solid.case.bone.poisson,
    )
    if order == VOLUME_ORDER:
        _check_stiffness(solid, bone)
    return bone


def _rows(row: int, slope: Floats, dofs: Ints, shift: list[int]) -> list[tuple[Ints, Ints, Floats]]:
    """Return the entries of one point: ε_ii = u_i,i, then √2 ε_ij = (u_i,j + u_j,i)/√2."""
    parts = [(k, k, k, 1.0) for k in range(3)]
    for k, (i, j) in enumerate([(1, 2), (0, 2), (0, 1)], start=3):
        parts += [(k, i, j, np.sqrt(0.5)), (k, j, i, np.sqrt(0.5))]
    return [
        (np.full(len(dofs), row + k), shift[i] + dofs, factor * slope[:, j]) for k, i, j, factor in parts
    ]


def _laws(case: Case) -> tuple[dict[str, Quadric], dict[str, float]]:
    """Return the law and the modulus [MPa] of each kind of bone."""
    bone, strength = case.bone, case.bone.strength
    moduli = {"cortical": bone.cortical_modulus_mpa, "trabecular": bone.trabecular_profile_mpa[0][1]}
    laws = {}
    for name, modulus in moduli.items():
        compression, tension = strength.stated_mpa(name)
        if compression is None or tension is None:
            msg = "strengths are stated here"
            raise ValueError(msg)
        laws[name] = Quadric(
            compression=compression / modulus,
            tension=tension / modulus,
            interaction=strength.interaction,
            hardening=strength.hardening,
            poisson=bone.poisson,
        )
    return laws, moduli


def _check_stiffness(solid: Solid, bone: PlasticBone) -> None:
    """Hold Bᵀ V C B against the library's own assembly, on displacements of the bone alone."""
    probe: Any = np.random.default_rng(2).standard_normal(solid.space.ndof)
    probe[: solid.bodies[0].ndof] = 0.0
    ours, theirs = bone.force((bone.strain @ probe).reshape(-1, 6)), solid.stiffness @ probe
    off = np.linalg.norm(ours - theirs) / np.linalg.norm(theirs)
    if off > SAME:
        msg = f"the bone's stiffnesses differ by {off:.1e}"
        raise AssertionError(msg)
