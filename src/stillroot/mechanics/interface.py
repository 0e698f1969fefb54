"""The interface law: a thin layer of torn bone, no tension, Coulomb friction.

At a point of the wall, with w = u_implant - u_bone, n the normal out of the implant, and δ the
interference::

    p = k_n ⟨w·n + δ⟩, p ≤ p_c              pressure, no tension; crushed at p_c  (4)
    τ = k_t (w_t - s),  |τ| ≤ µ p           stick; s is the slip so far          (5)
    τ = µ p τ*/|τ*|  where the trial τ* = k_t (w_t - s) exceeds µ p              (6)
    k_n = E_oed/t,  k_t = G/t               of the layer, thickness t            (7)

(6) is the return map of Simo & Laursen 1992, Comput Struct 42:97-116, without their penalty: here k_t is
the layer's own shear stiffness. The law is evaluated at the Lobatto points of the wall's edges (both
ends and the middle), which coincide with the nodes: stiff layers then show no spurious pressure
oscillation (Schellekens & de Borst 1993, Int J Numer Methods Eng 36:43-66).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp

if TYPE_CHECKING:
    from stillroot.arrays import Bools, Floats, Ints
    from stillroot.mechanics.bodies import Wall

LOBATTO = np.array([1.0, 4.0, 1.0]) / 6
"""Weights of both ends and the middle of an edge of length 1; exact for cubics."""
EDGE_POINTS = len(LOBATTO)
"""Points of the wall on each of its edges, where the law is evaluated."""

LEAST_SHARE = 0.01
"""Share of the layer's shear stiffness kept in the preconditioner where no point sticks or touches."""


@dataclass(frozen=True, kw_only=True)
class Layer:
    """The interface law at p points of the wall, `EDGE_POINTS` on each edge.

    `node` (p,) indexes the wall's m nodes; `normal` (2, p): n_r, n_z; `weight_mm2` (p,): area per
    radian; `normal_stiffness`, `shear_stiffness` (p,) [N/mm³]; `interference_mm` (p,); `one_sided` (p,):
    True where (4) to (6) apply, False where the two sides are glued; `held` (p,): True on native bone;
    `crush_mpa` (p,): the pressure p_c at which the bone crushes.
    """

    nodes_mm: Floats
    node: Ints
    normal: Floats
    weight_mm2: Floats
    normal_stiffness: Floats
    shear_stiffness: Floats
    interference_mm: Floats
    one_sided: Bools
    held: Bools
    crush_mpa: Floats
    friction: float

    @cached_property
    def gather(self) -> sp.csr_array:
        """Matrix (m, p) that sums values at points into nodes."""
        p = len(self.node)
        shape = (self.nodes_mm.shape[1], p)
        return sp.csr_array((np.ones(p), (self.node, np.arange(p))), shape=shape)

    @property
    def radius_mm(self) -> Floats:
        """Radius of each point (p,)."""
        return self.nodes_mm[0, self.node]

    @property
    def height_mm(self) -> Floats:
        """Height z of each point (p,)."""
        return self.nodes_mm[1, self.node]

    def with_friction(self, friction: float) -> Layer:
        """Return the layer with another coefficient of friction."""
        return replace(self, friction=friction)

    def uncrushed(self) -> Layer:
        """Return the layer without the limit at which bone crushes."""
        return replace(self, crush_mpa=np.full_like(self.crush_mpa, np.inf))

    def settled(self, overlap_mm: Floats) -> Layer:
        """Return the layer after seating: overlap (p,) beyond crushing is lost for good."""
        lost = np.clip(overlap_mm - self.crush_mpa / self.normal_stiffness, 0.0, None)
        kept = self.interference_mm - np.where(self.one_sided, lost, 0.0)
        return replace(self, interference_mm=kept).uncrushed()

    def relaxed(self, retained: float) -> Layer:
        """Return the layer with its interference, and so its pressure, multiplied by `retained`."""
        return replace(self, interference_mm=retained * self.interference_mm)

    def times(self, share: float) -> Layer:
        """Return the layer with its stiffness multiplied by `share`."""
        normal, shear = share * self.normal_stiffness, share * self.shear_stiffness
        return replace(self, normal_stiffness=normal, shear_stiffness=shear)

    def local(self, values: Floats) -> Floats:
        """Return (3, p, a), rows normal, along the wall, round the axis, of nodal vectors (m, a, 3)."""
        r, theta, z = np.moveaxis(values[self.node], -1, 0)
        n_r, n_z = self.normal[:, :, None]
        return np.stack([n_r * r + n_z * z, n_r * z - n_z * r, theta])

    def nodal_forces(self, traction: Floats) -> Floats:
        """Return nodal forces (m, a, 3), r θ z, per radian, of local tractions (3, p, a)."""
        normal, along, theta = traction * self.weight_mm2[:, None]
        n_r, n_z = self.normal[:, :, None]
        parts = (n_r * normal - n_z * along, theta, n_z * normal + n_r * along)
        return np.stack([self.gather @ part for part in parts], axis=-1)


def layer_on(
    wall: Wall,
    *,
    normal_stiffness: Floats,
    shear_stiffness: Floats,
    crush_mpa: Floats,
    interference_mm: float,
    glued: bool,
    friction: float,
) -> Layer:
    """Return the layer on a wall; stiffnesses (k,) [N/mm³] and crushing pressures (k,) are per edge.

    The interference is scaled by the radial component of the wall's normal, so the flat end has none;
    gap fill is glued and has none either.
    """
    length = np.linalg.norm(wall.nodes_mm[:, wall.edges[2]] - wall.nodes_mm[:, wall.edges[0]], axis=0)
    node = wall.edges.T.ravel()

    held = np.repeat(~wall.fill, EDGE_POINTS)
    normal = np.repeat(wall.normal, EDGE_POINTS, axis=1)
    return Layer(
        nodes_mm=wall.nodes_mm,
        node=node,
        normal=normal,
        weight_mm2=np.outer(length, LOBATTO).ravel() * wall.nodes_mm[0, node],
        normal_stiffness=np.repeat(normal_stiffness, EDGE_POINTS),
        shear_stiffness=np.repeat(shear_stiffness, EDGE_POINTS),
        interference_mm=np.where(held, interference_mm * np.clip(normal[0], 0, None), 0.0),
        one_sided=held & (not glued),
        held=held,
        crush_mpa=np.repeat(crush_mpa, EDGE_POINTS),
        friction=friction,
    )


@dataclass(frozen=True, kw_only=True)
class Tractions:
    """The state of the law at p points and a angles.

    `traction` (3, p, a) [MPa] of implant on bone: normal (pressure), along the wall, round the axis;
    `slip_mm` (2, p, a): slip at the end of this state; `closed`, `sliding` (p, a).
    """

    traction: Floats
    slip_mm: Floats
    closed: Bools
    sliding: Bools


def tractions(layer: Layer, local_w: Floats, slip_mm: Floats) -> Tractions:
    """Evaluate equations (4) to (6) for local w (3, p, a) and the slip so far (2, p, a)."""
    law = _law(layer, local_w, slip_mm)
    shear = law.trial * law.keep
    return Tractions(
        traction=np.concatenate([law.pressure[None], shear]),
        slip_mm=local_w[1:] - shear / layer.shear_stiffness[:, None],  # (5) solved for s
        closed=law.closed,
        sliding=law.sliding,
    )


@dataclass(frozen=True, kw_only=True)
class Tangent:
    """Derivative of (4) to (6): `normal` (p, a), `coupling` (2, p, a), `shear` (2, 2, p, a)."""

    normal: Floats
    coupling: Floats
    shear: Floats

    def times(self, change: Floats) -> Floats:
        """Return the change of traction (3, p, a) for a change of w (3, p, a)."""
        along, theta = (
            self.coupling[i] * change[0] + self.shear[i, 0] * change[1] + self.shear[i, 1] * change[2]
            for i in (0, 1)
        )
        return np.stack([self.normal * change[0], along, theta])


def tangent(layer: Layer, local_w: Floats, slip_mm: Floats) -> Tangent:
    """Return the consistent tangent of (4) to (6); unsymmetric where the layer slides."""
    law = _law(layer, local_w, slip_mm)
    k_n, k_t = layer.normal_stiffness[:, None], layer.shear_stiffness[:, None]
    direction = law.trial / np.where(law.size > 0, law.size, 1.0)
    normal = np.where(law.closed & ~law.crushed, k_n, 0.0)  # ∂p/∂(w·n)
    across = np.where(law.sliding, k_t * law.keep, k_t)
    along = np.where(law.sliding, -k_t * law.keep, 0.0)
    shear = along * direction[:, None] * direction[None]
    shear[0, 0] += across
    shear[1, 1] += across
    # A sliding point carries µ p, so its shear follows the pressure: the part that is not symmetric.
    coupling = np.where(law.sliding, layer.friction * normal, 0.0) * direction
    return Tangent(normal=normal, coupling=coupling, shear=shear)


@dataclass(frozen=True, kw_only=True)
class _Law:
    pressure: Floats
    trial: Floats
    size: Floats
    keep: Floats
    closed: Bools
    crushed: Bools
    sliding: Bools


def _law(layer: Layer, local_w: Floats, slip_mm: Floats) -> _Law:
    k_n, k_t = layer.normal_stiffness[:, None], layer.shear_stiffness[:, None]
    glued = ~layer.one_sided[:, None]
    overlap = local_w[0] + layer.interference_mm[:, None]  # w·n + δ
    closed = (overlap >= 0) | glued
    pressure = np.where(closed, k_n * overlap, 0.0)  # (4)
    crushed = (pressure > layer.crush_mpa[:, None]) & ~glued
    pressure = np.where(crushed, layer.crush_mpa[:, None], pressure)  # (4), p ≤ p_c
    trial = k_t * (local_w[1:] - slip_mm)  # τ* of (5)
    size = np.hypot(*trial)
    limit = layer.friction * pressure  # µ p
    sliding = (size > limit) & ~glued
    keep = np.where(sliding, limit / np.where(size > 0, size, 1.0), 1.0)  # (6)
    return _Law(
        pressure=pressure,
        trial=trial,
        size=size,
        keep=keep,
        closed=closed,
        crushed=crushed,
        sliding=sliding,
    )


def averaged_stiffness(layer: Layer, at: Tangent, least: float = LEAST_SHARE) -> Floats:
    """Return symmetric nodal blocks (m, 3, 3), r θ z, of the tangent integrated round the circle.

    The mean over the angles times 2π: the stiffness of harmonic n = 0; the others have half of it.
    Couplings that average out by symmetry are left out, and no stiffness is less than the share `least`
    of the layer's shear stiffness, so that the blocks stay regular where nothing touches. Exact for an
    axisymmetric state without coupling; otherwise good enough for preconditioning.
    """
    w = 2 * np.pi * layer.weight_mm2
    k = np.stack([part.mean(axis=1) for part in (at.normal, at.shear[0, 0], at.shear[1, 1])])
    k = np.maximum(k, least * layer.shear_stiffness) * w
    n_r, n_z = layer.normal
    blocks = np.zeros((layer.nodes_mm.shape[1], 3, 3))
    for (i, j), part in {
        (0, 0): k[0] * n_r**2 + k[1] * n_z**2,
        (0, 2): (k[0] - k[1]) * n_r * n_z,
        (2, 2): k[0] * n_z**2 + k[1] * n_r**2,
        (1, 1): k[2],
    }.items():
        blocks[:, i, j] = layer.gather @ part
    blocks[:, 2, 0] = blocks[:, 0, 2]
    return blocks
