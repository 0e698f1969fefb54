"""A rigid body in ground of one strength, moved or swollen: bone that yields, with nothing else.

With a rigid implant, S_i → ∞, (8) has D = S_b, and a motion u_i of the implant is the load λ_0 = S_b
u_i: displacement control. The wall, its layer, the plastic load in harmonics, the iteration and the path
are the program's. The layer is hard and glued, and every figure is a force, or a motion of the ground
itself. Modulus of the ground and radius of the body are 1; the ground has no weight.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from skfem import Basis, ElementTriP2

from stillroot.mechanics.bodies import BodyPair, take_apart
from stillroot.mechanics.condense import BodyHarmonic, Interior, body_harmonic, elimination_order
from stillroot.mechanics.contact import ContactState, Problem, SeriesStiffness, state_tangent
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.harmonics import angular_weight, unit_stiffness
from stillroot.mechanics.interface import Layer, averaged_stiffness, layer_on, tractions
from stillroot.mechanics.outline import ABUTMENT, IMPLANT, TRABECULAR
from stillroot.mechanics.path import Leg, followed
from stillroot.mechanics.yield_surface import YieldSurface
from stillroot.mechanics.yielding_bone import ORDER, YieldingBone, shapes
from validation.benches import RIGID, Place, everywhere, half_section_of

if TYPE_CHECKING:
    from stillroot.mechanics.mesh import HalfSection

Floats = NDArray[np.float64]
Held = Callable[[Floats, Floats], tuple[NDArray[np.bool_], ...]]
"""Which of u, v, w are held at nodes (r, z)."""

HARD, LOOSE = 1e3, 1e-9
"""Stiffness of the layer over E per radius, and share of it that a smooth wall has along itself."""


@dataclass(frozen=True, kw_only=True)
class Soil:
    """Ground of one strength in shear, von Mises: `k` is that strength over the modulus."""

    k: float
    poisson: float
    hardening: float = 0.0

    @property
    def shear_modulus(self) -> float:
        return 1 / (2 * (1 + self.poisson))

    def at(self, points: int) -> YieldSurface:
        strength = np.full(points, np.sqrt(3) * self.k)
        return YieldSurface(
            compression=strength,
            tension=strength,
            interaction=0.5,
            hardening=self.hardening,
            poisson=self.poisson,
        )


@dataclass(frozen=True, kw_only=True)
class Ground:
    """A rigid body in ground that yields: `problem` as the program has it, in its harmonics."""

    pair: BodyPair
    problem: Problem
    fourier: Fourier

    @property
    def bone(self) -> YieldingBone:
        assert self.problem.bone is not None
        return self.problem.bone

    def rest(self) -> ContactState:
        """Return the state before anything moves."""
        w = np.zeros((*self.fourier.shape, self.problem.layer.nodes_mm.shape[1], 3))
        return at_rest(self.problem.layer, w, self.fourier, self.bone)

    def pushed(self, mode: str, motions: Sequence[float]) -> tuple[tuple[float, ...], ContactState]:
        """Return the force against a rigid motion at each of `motions`, and the last state."""
        unit = self.rigid(mode)
        lift = self.problem.series.forces(unit)  # λ_0 = S_b u_i
        scale = max(abs(motion) for motion in motions) * float(np.linalg.norm(unit))
        path = [Leg(reached=i / len(motions), load=u * lift) for i, u in enumerate(motions, 1)]
        states = followed(replace(self.problem, scale_mm=scale), self.rest(), path)
        return tuple(float(np.sum(self.forces(state) * unit)) for state in states), states[-1]

    def swollen(self, fits: Sequence[float]) -> tuple[ContactState, ...]:
        """Return the state after each of `fits`: the body's excess of radius, the same all over."""
        layer, still = self.problem.layer, np.zeros_like(self.rest().w)
        ones = np.ones_like(layer.interference_mm)
        path = [
            Leg(reached=i / len(fits), load=still, interference_mm=fit * ones)
            for i, fit in enumerate(fits, 1)
        ]
        return followed(replace(self.problem, scale_mm=max(fits)), self.rest(), path)

    def rigid(self, mode: str) -> Floats:
        """Return u, v, w (f, h, m, 3) of a rigid motion at the wall."""
        n, field = RIGID[mode]
        motion = np.zeros_like(self.rest().w)
        motion[0, n] = np.stack(field(*self.problem.layer.nodes_mm), axis=-1)
        return motion

    def forces(self, state: ContactState) -> Floats:
        """Return the forces (f, h, m, 3) of the body on the ground."""
        layer = self.problem.layer
        return self.fourier.moments(layer.nodal_forces(state.tractions.traction))

    def pressure(self, state: ContactState) -> float:
        """Return the mean pressure on the wall."""
        layer, pressure = self.problem.layer, state.tractions.traction[0].mean(axis=1)
        return float(np.average(pressure, weights=layer.weight_mm2))

    def grown(self, state: ContactState) -> float:
        """Return by how much the hole has grown in radius."""
        assert state.bone is not None
        layer = self.problem.layer
        wall = layer.local(self.fourier.values(state.bone.u[:, :, self.bone.wall]))[0]
        return float(np.average(wall.mean(axis=1), weights=layer.weight_mm2))


def at_rest(layer: Layer, w: Floats, fourier: Fourier, bone: YieldingBone) -> ContactState:
    local_w = layer.local(fourier.values(w))
    state = tractions(layer, local_w, np.zeros_like(local_w[1:]))
    return ContactState(
        w=w, fourier=fourier, tractions=state, residuals=(), steps=0, bone=bone.at_rest(fourier)
    )


def section_round(r: Floats, z: Floats, body: Place, keep: Place = everywhere) -> HalfSection:
    """Return a grid as a half-section, where `keep` says; the rigid body is where `body` does."""
    regions = {IMPLANT: body, ABUTMENT: lambda r, _: r < 0, TRABECULAR: everywhere}
    return half_section_of(r, z, regions, keep)


def ground(
    section: HalfSection, soil: Soil, held: Held, highest: int, *, smooth: bool = False
) -> Ground:
    """Return the ground of a half-section whose implant is the rigid body; only its wall is used."""
    pair = take_apart(section, keep_gap=True)
    body, wall = pair.bone, pair.wall
    nodes = body.nodes_mm
    stiffness = unit_stiffness(body.basis, np.arange(body.basis.nelems), soil.poisson)
    dofs_held = np.stack(held(*nodes), axis=-1).ravel()
    unfixed = np.zeros(nodes.shape[1], dtype=bool)

    def harmonic(n: int, kept: NDArray[np.int64]) -> BodyHarmonic:
        order = elimination_order(stiffness, kept)
        whole = body_harmonic(stiffness, n, nodes, order, len(kept), unfixed, angular_weight(n))
        return without(whole, dofs_held)

    condensed = [harmonic(n, wall.bone_nodes) for n in range(highest + 1)]
    series = SeriesStiffness(
        free=tuple(part.schur() for part in condensed),
        expand=tuple(
            part.to_dofs.tocsr()[(3 * wall.bone_nodes[:, None] + np.arange(3)).ravel()][
                :, part.interior :
            ].tocsc()
            for part in condensed
        ),
    )
    edges = wall.edges.shape[1]
    layer = layer_on(
        wall,
        normal_stiffness=np.full(edges, HARD),
        shear_stiffness=np.full(edges, LOOSE * HARD if smooth else HARD),
        crush_mpa=np.full(edges, np.inf),
        interference_mm=0.0,
        glued=True,
        friction=0.0,
    )
    whole = [harmonic(n, np.array([], dtype=np.int64)) for n in range(highest + 1)]
    bone = _points(pair, soil, tuple((part, part.interior_solver()) for part in whole))
    fourier = Fourier(highest, twin=False)
    start = at_rest(layer, np.zeros((*fourier.shape, len(wall.bone_nodes), 3)), fourier, bone)
    problem = Problem(
        series=series,
        layer=layer,
        precondition=series.preconditioner(averaged_stiffness(layer, state_tangent(layer, start))),
        scale_mm=1.0,
        stage="rigid body in ground",
        bone=bone,
    )
    return Ground(pair=pair, problem=problem, fourier=fourier)


def without(body: BodyHarmonic, held: NDArray[np.bool_]) -> BodyHarmonic:
    """Return a body with some of its degrees of freedom (3n,) held at zero."""
    free = body.to_dofs.T @ held.astype(float) == 0
    return replace(
        body,
        to_dofs=body.to_dofs[:, free],
        interior=int(np.sum(free[: body.interior])),
        stiffness=body.stiffness[free][:, free].tocsc(),
    )


def plane(r: Floats, _: Floats) -> tuple[NDArray[np.bool_], ...]:
    """Return what plane strain holds: nothing moves along the axis."""
    free = np.zeros(r.shape, dtype=bool)
    return free, free, ~free


def _points(
    pair: BodyPair, soil: Soil, harmonics: tuple[tuple[BodyHarmonic, Interior], ...]
) -> YieldingBone:
    body = pair.bone
    basis = Basis(body.basis.mesh, ElementTriP2(), intorder=ORDER)
    elements = np.arange(basis.nelems)
    r = np.asarray(basis.global_coordinates())[0]
    volume = np.asarray(basis.dx) * r
    shape, slope = shapes(basis, elements)
    return YieldingBone(
        surface=soil.at(volume.size),
        nodes=np.asarray(body.basis.element_dofs).T,
        shape=shape,
        slope=slope,
        radius_mm=r.ravel(),
        weight=volume.ravel(),
        volume=volume.ravel(),
        wall=pair.wall.bone_nodes,
        beside=pair.wall.bone_elements,
        count=body.nodes_mm.shape[1],
        harmonics=harmonics,
    )
