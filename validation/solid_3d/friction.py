"""Seat and load of the solid: the law at the wall in Cartesian vectors, Newton and GMRES.

With w the jump at a point, n the normal out of the implant, w_t = w - (w·n) n, δ the overlap that the
interference asks for::

    p = k_n ⟨w·n + δ⟩, at most p_c while seated      t = p n + τ
    τ = k_t (w_t - s), cut back to |τ| = µ p         s the slip so far

The solid is loaded by f and held by its springs: f - K u - Jᵀ (A t(J u)) = 0, J the jump, A the areas.
Bone that yields (`plastic`) adds the load of its plastic strains.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse.linalg as spla

from validation.solid_3d import block

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from validation.solid_3d.elastic import Solid
    from validation.solid_3d.plastic import Lost, PlasticBone

    Floats = NDArray[np.float64]

TOLERANCE = 1e-6
"""Of the last correction that the springs, all glued, would make, against the response to the load."""
NEWTON_LIMIT, GMRES_LIMIT = 40, 200
FIT_STEPS = 4
"""Equal steps in which the interference is reached in bone that yields."""
OVERSHOOT = 0.5


@dataclass(frozen=True, kw_only=True)
class Law:
    """The law at q points; all arrays (q,) but `normal` and `slip_mm` (q, 3)."""

    normal: Floats
    normal_stiffness: Floats
    shear_stiffness: Floats
    overlap_mm: Floats
    crush_mpa: Floats
    slip_mm: Floats
    friction: float

    def split(self, w: Floats) -> tuple[Floats, Floats]:
        """Return the part of w (q, 3) along the normal (q,), and the rest (q, 3)."""
        along = np.sum(w * self.normal, axis=1)
        return along, w - along[:, None] * self.normal

    def pressure(self, w: Floats) -> Floats:
        """Return p (q,)."""
        along, _ = self.split(w)
        return np.clip(self.normal_stiffness * (along + self.overlap_mm), 0.0, self.crush_mpa)

    def shear(self, w: Floats) -> tuple[Floats, Floats, Floats]:
        """Return τ (q, 3), the direction of its trial (q, 3) and what is left of the trial (q,)."""
        _, across = self.split(w)
        trial = self.shear_stiffness[:, None] * (across - self.slip_mm)
        size = np.maximum(np.linalg.norm(trial, axis=1), 1e-300)
        kept = np.minimum(1.0, self.friction * self.pressure(w) / size)
        return kept[:, None] * trial, trial / size[:, None], kept

    def traction(self, w: Floats) -> Floats:
        """Return t (q, 3), of the implant on the bone."""
        return self.pressure(w)[:, None] * self.normal + self.shear(w)[0]

    def slipped(self, w: Floats) -> Law:
        """Return the law with the slip that a state leaves."""
        across, shear = self.split(w)[1], self.shear(w)[0]
        return replace(self, slip_mm=across - shear / self.shear_stiffness[:, None])

    def tangent(self, w: Floats) -> Floats:
        """Return dt/dw (q, 3, 3)."""
        p, n = self.pressure(w), self.normal
        _, d, kept = self.shear(w)
        slides = (kept < 1.0)[:, None, None]
        k_n = np.where((p > 0) & (p < self.crush_mpa), self.normal_stiffness, 0.0)[:, None, None]
        k_t = (kept * self.shear_stiffness)[:, None, None]
        nn, plane = _outer(n, n), np.eye(3) - _outer(n, n)
        sliding = k_t * (plane - _outer(d, d)) + self.friction * k_n * _outer(d, n)
        return k_n * nn + np.where(slides, sliding, k_t * plane)

    def glued(self) -> Floats:
        """Return dt/dw (q, 3, 3) where nothing opens or slides."""
        return _springs(self)


@dataclass(frozen=True, kw_only=True)
class Glue:
    """The layer where nothing opens or slides; arrays as in `Law`."""

    normal: Floats
    normal_stiffness: Floats
    shear_stiffness: Floats

    def traction(self, w: Floats) -> Floats:
        """Return t (q, 3), of the implant on the bone."""
        return np.einsum("qij,qj->qi", self.glued(), w)

    def tangent(self, _: Floats) -> Floats:
        """Return dt/dw (q, 3, 3)."""
        return self.glued()

    def glued(self) -> Floats:
        """Return the same."""
        return _springs(self)

    def slipped(self, _: Floats) -> Glue:
        """Return the same law: nothing slips."""
        return self


def _springs(law: Law | Glue) -> Floats:
    nn = _outer(law.normal, law.normal)
    k_n, k_t = law.normal_stiffness[:, None, None], law.shear_stiffness[:, None, None]
    return (k_n - k_t) * nn + k_t * np.eye(3)


def _outer(a: Floats, b: Floats) -> Floats:
    return a[:, :, None] * b[:, None, :]


@dataclass(frozen=True, kw_only=True)
class Held:
    """The solid, and a force along which it is held (dofs,), or nothing; `bone`, where it yields."""

    solid: Solid
    bone: PlasticBone | None = None
    grip: Floats | None = None
    grip_response: Floats | None = None

    def gripped(self, grip: Floats) -> Held:
        """Return the solid held so that `grip` does no work."""
        return replace(self, grip=grip, grip_response=self.solid.bonded_solve(grip))

    def having_flowed(self, u: Floats) -> Held:
        """Return the solid with the plastic strains that a displacement (dofs,) leaves."""
        return self if self.bone is None else replace(self, bone=self.bone.left(u))

    def jump(self, u: Floats) -> Floats:
        """Return w (q, 3)."""
        return (self.solid.wall.jump @ u).reshape(-1, 3)

    def nodal(self, traction: Floats) -> Floats:
        """Return Jᵀ A t (dofs,)."""
        wall = self.solid.wall
        return wall.jump.T @ (traction * wall.area_mm2[:, None]).ravel()

    def out_of_balance(self, law: Law | Glue, u: Floats, force: Floats) -> Floats:
        """Return f - K u - Jᵀ A t (dofs,), and the load of plastic strains."""
        elastic = force - self.solid.stiffness @ u - self.nodal(law.traction(self.jump(u)))
        if self.bone is None:
            return elastic
        return elastic + self.bone.force(self.bone.step(u, tangent=False)[0])

    def respond(self, force: Floats) -> Floats:
        """Return the glued solid's displacement, the grip at rest."""
        u = self.solid.bonded_solve(force)
        if self.grip is None:
            return u
        return u - self.grip_response * (self.grip @ u) / (self.grip @ self.grip_response)

    def equilibrium(self, law: Law | Glue, start: Floats, force: Floats, scale: float) -> Floats:
        """Return u (dofs,) by semi-smooth Newton; `scale` [mm] is the size of the response.

        Raises
        ------
        ArithmeticError
            It is not found.
        """
        u, glued = start, law.glued()
        free = np.array(self.solid.space.FreeDofs())
        history = []
        for _ in range(NEWTON_LIMIT):
            r = np.where(free, self.out_of_balance(law, u, force), 0.0)
            first = self.respond(r)
            history.append(float(np.linalg.norm(first)) / scale)
            if history[-1] < TOLERANCE:
                return u
            lost = glued - law.tangent(self.jump(u))
            yielding = None if self.bone is None else self.bone.step(u)[1]
            du = self._newton_step(lost, yielding, first)
            u = u + self._length(law, u, du, r, force) * du
        msg = f"no equilibrium: {', '.join(f'{h:.0e}' for h in history)}"
        raise ArithmeticError(msg)

    def _newton_step(self, lost: Floats, yielding: Lost | None, first: Floats) -> Floats:
        """Solve (P - Jᵀ A (glued - tangent) J - what flow takes) du = r for P⁻¹ r = `first`."""

        def product(du: Floats) -> Floats:
            less = self.nodal(np.einsum("qij,qj->qi", lost, self.jump(du)))
            return du - self.respond(less if yielding is None else less + yielding.force(du))

        operator = spla.LinearOperator((len(first),) * 2, matvec=product, dtype=float)
        du, _ = spla.gmres(operator, first, rtol=1e-2, restart=GMRES_LIMIT, maxiter=1)
        return du

    def _length(self, law: Law | Glue, u: Floats, du: Floats, r: Floats, force: Floats) -> float:
        """Return the part of du to go: all, unless the work of what is out of balance turns round."""
        before = float(du @ r)
        length = 1.0
        for _ in range(6):
            after = float(du @ self.out_of_balance(law, u + length * du, force))
            if after > -OVERSHOOT * abs(before):
                break
            length *= before / (before - after)
        return length


@dataclass(frozen=True, kw_only=True)
class State:
    """A displacement (dofs,) under a law whose slip is that of the state, as are the bone's strains."""

    law: Law | Glue
    u: Floats
    torque_ncm: float = 0.0
    bone: PlasticBone | None = None


def law_of(solid: Solid) -> Law:
    """Return the law of the case, nothing slipped yet."""
    case, wall = solid.case, solid.wall
    radial = wall.place_mm[:, :2] / np.linalg.norm(wall.place_mm[:, :2], axis=1)[:, None]
    outwards = np.clip(np.sum(radial * wall.normal[:, :2], axis=1), 0.0, None)
    return Law(
        normal=wall.normal,
        normal_stiffness=solid.normal_share * wall.modulus_mpa,
        shear_stiffness=solid.shear_share * wall.modulus_mpa,
        overlap_mm=case.interface.interference_um / 1000 * outwards,
        crush_mpa=case.bone.crush_strain * wall.modulus_mpa,
        slip_mm=np.zeros_like(wall.normal),
        friction=case.interface.friction,
    )


def glued(solid: Solid, bone: PlasticBone | None = None) -> State:
    """Return the implant glued in, before any load."""
    law = law_of(solid)
    glue = Glue(
        normal=law.normal, normal_stiffness=law.normal_stiffness, shear_stiffness=law.shear_stiffness
    )
    return State(law=glue, u=np.zeros(solid.space.ndof), bone=bone)


def seated(solid: Solid, bone: PlasticBone | None = None) -> State:
    """Turn in without friction at a held depth; keep what is crushed; let go, with friction.

    Bone that yields bounds its stress itself: then nothing else is crushed.
    """
    if solid.case.interface.retained_pressure != 1:
        msg = "all of the pressure is retained here"
        raise ValueError(msg)
    free, law = Held(solid=solid, bone=bone), law_of(solid)
    if bone is not None:
        law = replace(law, crush_mpa=np.full_like(law.crush_mpa, np.inf))
    none = np.zeros(solid.space.ndof)
    turning = replace(law, friction=0.0)
    scale = float(np.linalg.norm(free.respond(free.nodal(law.traction(0 * law.normal)))))
    u, free = _turned_in(free, turning, scale)
    w = free.jump(u)

    wall = solid.wall
    radius = np.linalg.norm(wall.place_mm[:, :2], axis=1)
    torque = 2 * law.friction * np.sum(turning.pressure(w) * radius * wall.area_mm2) / 10
    over = turning.split(w)[0] + law.overlap_mm - law.crush_mpa / law.normal_stiffness
    kept = law.overlap_mm - np.clip(over, 0.0, None)
    law = replace(law, overlap_mm=kept, crush_mpa=np.full_like(kept, np.inf))
    law = replace(law, friction=0.0).slipped(w)  # no shear yet: all of w_t is slip
    law = replace(law, friction=solid.case.interface.friction)
    u = free.equilibrium(law, u, none, scale)
    return State(
        law=law.slipped(free.jump(u)), u=u, torque_ncm=float(torque), bone=free.having_flowed(u).bone
    )


def _turned_in(free: Held, turning: Law, scale: float) -> tuple[Floats, Held]:
    """Return the displacement (dofs,) at the whole interference, at a held depth, and the bone then."""
    none = np.zeros(free.solid.space.ndof)
    held = free.gripped(free.solid.face_load(block.CREST_SECTION, 2, 1.0))
    steps, u = 1 if free.bone is None else FIT_STEPS, none
    for i in range(1, steps + 1):
        law = replace(turning, overlap_mm=turning.overlap_mm * i / steps)
        u = held.equilibrium(law, u, none, scale)
        held = held.having_flowed(u)
    return u, replace(free, bone=held.bone)


def loaded(solid: Solid, start: State, force: Floats, steps: int) -> State:
    """Load from a state, in equal steps."""
    free = Held(solid=solid, bone=start.bone)
    scale = float(np.linalg.norm(free.respond(force)))
    law, u, change = start.law, start.u, 0 * start.u
    for i in range(1, steps + 1):
        new = free.equilibrium(law, u + change, force * i / steps, scale)
        u, change = new, new - u
        law, free = law.slipped(free.jump(u)), free.having_flowed(u)
    return State(law=law, u=u, bone=free.bone)
