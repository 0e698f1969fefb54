"""Bone that yields: plastic strain at points of the bone and angles round the axis, as one more load.

The bone is elastic but for its plastic strain ε_p, which acts on it like a load, in harmonic n::

    f_p = ∫ (B0 + n B1)ᵀ C ε_p r dr dz dθ                                                  (20)

With t the forces of the wall's tractions, its displacement is u = K⁻¹ (f_p + t), and u_0, K⁻¹ f_p on the
wall, is what the plastic strain alone does to the free wall. Condensed to the wall, (8) becomes::

    D (w + u_0) + t(w) = λ_0                                                               (21)

D and all that moves the implant see w + u_0, the law at the wall sees w: stiffness, condensation and
factors stay those of elastic bone. Strains at an angle, and f_p from plastic strains there, use the same
tables, so forces and strains are conjugate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from skfem import Basis, ElementTriP2

from stillroot.mechanics.condense import body_harmonic, elimination_order
from stillroot.mechanics.fourier import ODD, round_axis
from stillroot.mechanics.groundwork import bone_stiffness
from stillroot.mechanics.harmonics import angular_weight, strain_matrices
from stillroot.mechanics.outline import CORTICAL, TRABECULAR
from stillroot.mechanics.yield_surface import YieldSurface

if TYPE_CHECKING:
    from stillroot.arrays import Bools, Floats, Ints
    from stillroot.mechanics.bodies import BodyPair
    from stillroot.mechanics.condense import BodyHarmonic, Interior
    from stillroot.mechanics.fourier import Fourier
    from stillroot.mechanics.solids import Solids

ORDER = 4
"""Of the quadrature of (20), exact for P2 strains times r: six points a triangle."""


LEAST_TAKEN = 1e-3
"""Of the strength: less stress taken away by plastic strain counts as none."""


@dataclass(frozen=True, kw_only=True)
class YieldingBone:
    """The native bone at p points, `surface` at each; K⁻¹ of the whole bone in harmonics 0, 1, …

    `nodes` (e, 6) of each triangle; `B0`, `B1` (e, 6k, 18) of (2) at its k points; `weight` (p,), E r dr
    dz [N·mm per radian], `volume` (p,), r dr dz [mm³ per radian]; `wall` (m,): the bone's nodes on the
    wall, of `count` in all; `beside` (k,): the triangle on each edge of the wall, -1 where it is none.
    """

    surface: YieldSurface
    nodes: Ints
    B0: Floats
    B1: Floats
    weight: Floats
    volume: Floats
    wall: Ints
    beside: Ints
    count: int
    harmonics: tuple[tuple[BodyHarmonic, Interior], ...]

    def at_rest(self, fourier: Fourier) -> BoneState:
        """Return the bone before anything strains it."""
        points = len(self.volume), len(fourier.angles)
        return BoneState(
            u=np.zeros((*fourier.shape, self.count, 3)),
            u_0=np.zeros((*fourier.shape, len(self.wall), 3)),
            taken=np.zeros((6, *points)),
        )

    def yielded_beside(self, state: BoneState) -> Bools:
        """Return on which edges of the wall (k, a) the bone beside has yielded."""
        far = np.max(np.abs(state.taken), axis=0) > LEAST_TAKEN * self.surface.compression[:, None]
        of_triangle = far.reshape(len(self.nodes), -1, far.shape[1]).any(axis=1)
        return np.where(self.beside[:, None] >= 0, of_triangle[self.beside], False)

    def strain(self, fourier: Fourier, u: Floats) -> Floats:
        """Return the strains (6, p, a) of coefficients u (f, h, n, 3) of the bone's displacement."""
        f, h = fourier.shape
        d = u[:, :, self.nodes].reshape(f, h, len(self.nodes), 18).transpose(2, 3, 0, 1)
        flat = d.reshape(len(self.nodes), 18, f * h)
        n = np.tile(np.arange(h), f)
        amplitude = self.B0 @ flat + self.B1 @ (flat * n)  # (2)
        parts = amplitude.reshape(-1, 6, f * h)
        return np.stack([parts[:, k] @ table for k, table in enumerate(_tables(fourier))])

    def force(self, fourier: Fourier, taken: Floats) -> Floats:
        """Return f_p (f, h, n, 3) [N] of (20) from s_p = C ε_p (6, p, a), relative to the modulus."""
        f, h = fourier.shape
        tables = _tables(fourier) * fourier.angle_weight
        amplitude = np.stack([s @ table.T for s, table in zip(taken, tables, strict=True)], axis=1)
        weighted = (amplitude * self.weight[:, None, None]).reshape(len(self.nodes), -1, f * h)
        n = np.tile(np.arange(h), f)
        local = self.B0.transpose(0, 2, 1) @ weighted + self.B1.transpose(0, 2, 1) @ (weighted * n)
        nodal = np.zeros((self.count, 3, f * h))
        np.add.at(nodal, self.nodes, local.reshape(len(self.nodes), 6, 3, f * h))
        return nodal.transpose(2, 0, 1).reshape(f, h, self.count, 3)

    def moved(self, force: Floats) -> Floats:
        """Return u (f, h, n, 3) [mm] = K⁻¹ of forces on the bone's nodes."""
        u = np.zeros_like(force)
        for n in range(force.shape[1]):
            body, inside = self.harmonics[n]
            columns = force[:, n].reshape(len(force), -1).T
            u[:, n] = body.recovered(np.zeros((0, len(force))), columns, inside).T.reshape(u[:, n].shape)
        return u

    def under(self, wall_force: Floats) -> Floats:
        """Return u (f, h, n, 3) of forces (f, h, m, 3) on the wall."""
        force = np.zeros((*wall_force.shape[:2], self.count, 3))
        force[:, :, self.wall] = wall_force
        return self.moved(force)


@dataclass(frozen=True, kw_only=True)
class BoneState:
    """Bone that has yielded.

    `u` (f, h, n, 3): its displacement; `u_0` (f, h, m, 3): that of the free wall under its plastic
    strain alone; `taken` (6, p, a): s_p of that strain relative to the modulus.
    """

    u: Floats
    u_0: Floats
    taken: Floats

    def scaled(self, factor: float) -> BoneState:
        """Return the state with all strains multiplied by `factor`."""
        return BoneState(u=factor * self.u, u_0=factor * self.u_0, taken=factor * self.taken)

    def in_expansion(self, fourier: Fourier) -> BoneState:
        """Return an axisymmetric state in a larger expansion."""
        return BoneState(
            u=fourier.embedded(self.u),
            u_0=fourier.embedded(self.u_0),
            taken=np.repeat(self.taken, len(fourier.angles), axis=-1),
        )


def _tables(fourier: Fourier) -> Floats:
    """Return the contribution (6, f·h, a) of each coefficient to each strain."""
    n = np.arange(fourier.highest + 1)[:, None]
    families = [round_axis(family, n * fourier.angles) for family in range(fourier.shape[0])]
    both = [np.concatenate(part) for part in zip(*families, strict=True)]
    return np.stack([both[1] if k in ODD else both[0] for k in range(6)])


def yielding_bone(solids: Solids, pair: BodyPair, highest: int) -> YieldingBone | None:
    """Return the bone of two solids at its points; None where its bone has no strength."""
    bone = pair.bone
    if solids.strength is None:
        return None
    native = [k for k, name in enumerate(bone.names) if name in (CORTICAL, TRABECULAR)]
    elements = np.flatnonzero(np.isin(bone.region, native))
    basis = Basis(bone.basis.mesh, ElementTriP2(), intorder=ORDER)
    r, z = np.asarray(basis.global_coordinates())[:, elements]
    modulus, compression, tension = np.empty_like(r), np.empty_like(r), np.empty_like(r)
    for k in native:
        here = bone.region[elements] == k
        name = bone.names[k]
        modulus[here] = solids.modulus_mpa(name, -z[here])
        compression[here], tension[here] = solids.strength.over(modulus[here], name)
    volume = np.asarray(basis.dx)[elements] * r
    B0, B1 = (b.reshape(len(elements), -1, 18) for b in strain_matrices(basis, elements))
    place = np.full(bone.basis.nelems, -1)
    place[elements] = np.arange(len(elements))
    stiffness, fixed = bone_stiffness(solids, bone), solids.held(bone.nodes_mm)
    order = elimination_order(stiffness, np.array([], dtype=np.int64))

    def factored(n: int) -> tuple[BodyHarmonic, Interior]:
        body = body_harmonic(stiffness, n, bone.nodes_mm, order, 0, fixed, angular_weight(n))
        return body, body.interior_solver()

    return YieldingBone(
        surface=YieldSurface(
            compression=compression.ravel(),
            tension=tension.ravel(),
            interaction=solids.strength.interaction,
            hardening=solids.strength.hardening,
            poisson=solids.poisson,
        ),
        nodes=np.asarray(bone.basis.element_dofs)[:, elements].T,
        B0=B0,
        B1=B1,
        weight=(volume * modulus).ravel(),
        volume=volume.ravel(),
        wall=pair.wall.bone_nodes,
        beside=place[pair.wall.bone_elements],
        count=bone.nodes_mm.shape[1],
        harmonics=tuple(factored(n) for n in range(highest + 1)),
    )
