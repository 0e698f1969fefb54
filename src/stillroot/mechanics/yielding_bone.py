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
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp
from skfem import Basis, ElementTriP2

from stillroot.mechanics.groundwork import native_elements, whole_bone
from stillroot.mechanics.harmonics import angular_weight
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

    `nodes` (e, 6) of each triangle; at its k points `shape` (k, 6) has the shape functions and `slope`
    (e, 2k, 6) their derivatives along r, then z [1/mm]; `radius_mm` (p,); `weight` (p,), E r dr dz [N·mm
    per radian], `volume` (p,), r dr dz [mm³ per radian]; `wall` (m,): the bone's nodes on the wall, of
    `count` in all; `beside` (k,): the triangle on each edge of the wall, -1 where it is none.
    """

    surface: YieldSurface
    nodes: Ints
    shape: Floats
    slope: Floats
    radius_mm: Floats
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

    def yielded(self, state: BoneState) -> Bools:
        """Return at which points of each triangle (e, k, a) the bone has yielded."""
        far: Bools = (
            np.max(np.abs(state.taken), axis=0) > LEAST_TAKEN * self.surface.compression[:, None]
        )
        return far.reshape(len(self.nodes), -1, far.shape[1])

    def yielded_beside(self, state: BoneState) -> Bools:
        """Return on which edges of the wall (k, a) the bone beside has yielded."""
        inside: Bools = np.any(self.yielded(state), axis=1)
        return np.where(self.beside[:, None] >= 0, inside[self.beside], False)

    @cached_property
    def gather(self) -> sp.csr_array:
        """Matrix (n, 6e) that sums values at the nodes of triangles into nodes."""
        places = self.nodes.ravel()
        ones, columns = np.ones(len(places)), np.arange(len(places))
        return sp.csr_array((ones, (places, columns)), shape=(self.count, len(places)))

    def strain(self, fourier: Fourier, u: Floats) -> Floats:
        """Return the strains (6, p, a) of coefficients u (f, h, n, 3) of the bone's displacement."""
        f, h = fourier.shape
        e, k = len(self.nodes), len(self.shape)
        d = u[:, :, self.nodes].transpose(2, 3, 4, 0, 1).reshape(e, 6, 3 * f * h)
        slopes = (self.slope @ d).reshape(e, 2, k, 3, f * h).transpose(1, 3, 0, 2, 4)
        (u_r, v_r, w_r), (u_z, v_z, w_z) = slopes.reshape(2, 3, e * k, f * h)
        values = (self.shape @ d).reshape(e * k, 3, f * h) / self.radius_mm[:, None, None]
        u_, v_, w_ = values.transpose(1, 0, 2)
        n = np.tile(np.arange(h), f)
        strain = u_r, u_ + n * v_, w_z, u_z + w_r, v_r - v_ - n * u_, v_z - n * w_  # (1)
        return np.stack([part @ table for part, table in zip(strain, fourier.strain_table, strict=True)])

    def force(self, fourier: Fourier, taken: Floats) -> Floats:
        """Return f_p (f, h, n, 3) [N] of (20) from s_p = C ε_p (6, p, a), relative to the modulus."""
        f, h = fourier.shape
        e, k = len(self.nodes), len(self.shape)
        tables = fourier.strain_table * fourier.angle_weight
        weight = self.weight[:, None]
        rr, tt, zz, rz, rt, zt = (weight * (s @ table.T) for s, table in zip(taken, tables, strict=True))
        n, r = np.tile(np.arange(h), f), self.radius_mm[:, None]
        # The transpose of (1): work of the strains above.
        values = np.stack([tt - n * rt, n * tt - rt, -n * zt], axis=1) / r[:, None]
        slopes = np.stack([np.stack([rr, rt, rz], axis=1), np.stack([rz, zt, zz], axis=1)])
        by_slope = slopes.reshape(2, e, k, 3 * f * h).transpose(1, 0, 2, 3).reshape(e, 2 * k, -1)
        local = self.slope.transpose(0, 2, 1) @ by_slope + self.shape.T @ values.reshape(e, k, -1)
        nodal = self.gather @ local.reshape(6 * e, 3 * f * h)
        return nodal.reshape(self.count, 3, f, h).transpose(2, 3, 0, 1)

    def mean_taken_mpa(self, fourier: Fourier, taken: Floats, angles: Floats) -> Floats:
        """Return the mean s_p (e, a, 6) [MPa] over the volume of each triangle, at any angles.

        Between the angles of `taken` (6, p, ·) it is the Fourier sum that (20) takes it for.
        """
        norm = np.tile([angular_weight(n) for n in range(fourier.highest + 1)], fourier.shape[0])
        amplitude = taken @ fourier.strain_table.transpose(0, 2, 1) * fourier.angle_weight / norm
        weighted = amplitude * self.weight[:, None]
        volume = self.volume.reshape(len(self.nodes), -1).sum(axis=1)
        mean = weighted.reshape(6, len(self.nodes), -1, weighted.shape[-1]).sum(axis=2)
        return (mean @ fourier.strain_basis(angles)).transpose(1, 2, 0) / volume[:, None, None]

    def moved(self, force: Floats) -> Floats:
        """Return u (f, h, n, 3) [mm] = K⁻¹ of forces on the bone's nodes."""
        u = np.zeros_like(force)
        for n in range(force.shape[1]):
            body, inside = self.harmonics[n]
            columns = body.to_dofs.T @ force[:, n].reshape(len(force), -1).T
            u[:, n] = (body.to_dofs @ inside.factors.solve(columns)).T.reshape(u[:, n].shape)
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


def shapes(basis: Basis, elements: Ints) -> tuple[Floats, Floats]:
    """Return `shape` and `slope` of `YieldingBone` at the points of these triangles."""
    fields = [basis.basis[node][0] for node in range(6)]
    slopes = np.stack([np.asarray(field.grad)[:, elements] for field in fields], axis=-1)
    shape = np.stack([np.asarray(field)[0] for field in fields], axis=-1)
    return shape, slopes.transpose(1, 0, 2, 3).reshape(len(elements), -1, 6)


def yielding_bone(solids: Solids, pair: BodyPair, highest: int) -> YieldingBone | None:
    """Return the bone of two solids at its points; None where its bone has no strength."""
    bone = pair.bone
    if solids.strength is None:
        return None
    elements = native_elements(bone)
    basis = Basis(bone.basis.mesh, ElementTriP2(), intorder=ORDER)
    r, z = np.asarray(basis.global_coordinates())[:, elements]
    modulus, compression, tension = np.empty_like(r), np.empty_like(r), np.empty_like(r)
    for k in np.unique(bone.region[elements]):
        here, name = bone.region[elements] == k, bone.names[k]
        modulus[here] = solids.modulus_mpa(name, -z[here])
        compression[here], tension[here] = solids.strength.over(modulus[here], name)
    volume = np.asarray(basis.dx)[elements] * r
    shape, slope = shapes(basis, elements)
    place = np.full(bone.basis.nelems, -1)
    place[elements] = np.arange(len(elements))
    return YieldingBone(
        surface=YieldSurface(
            compression=compression.ravel(),
            tension=tension.ravel(),
            interaction=solids.strength.interaction,
            hardening=solids.strength.hardening,
            poisson=solids.poisson,
        ),
        nodes=np.asarray(bone.basis.element_dofs)[:, elements].T,
        shape=shape,
        slope=slope,
        radius_mm=r.ravel(),
        weight=(volume * modulus).ravel(),
        volume=volume.ravel(),
        wall=pair.wall.bone_nodes,
        beside=place[pair.wall.bone_elements],
        count=bone.nodes_mm.shape[1],
        harmonics=tuple(map(whole_bone(solids, bone), range(highest + 1))),
    )
