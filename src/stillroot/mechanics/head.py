"""A seated implant as an element: prescribed motion of its head in, reaction out.

The head is the abutment's top; its motion d is its mean shift, tilt, rise and turn. By reciprocity
d = A q + Λᵀ (w - w_s), with q the load on the head, Λ its λ_0 of equation (8), A the head's compliance
with a bonded wall and w_s the seated w. A screw joint of compliance C adds C q. Eliminating q from (8)
leaves

    D' w + t(w) = Λ G (d + Λᵀ w_s),   G = (A + C)⁻¹,   D' = D + Λ G Λᵀ                           (S4)
    q = G (d - Λᵀ (w - w_s))                                                                     (S5)

which is (8) again with another D: harmonics 0 and 1 gain the stiffness that constrains the head. With
the motion prescribed there is always a solution, even where the implant is pulled out; with the load
prescribed there may be none.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg as la

from stillroot.mechanics.contact import (
    TOLERANCE,
    ContactState,
    Preconditioner,
    Problem,
    SeriesStiffness,
    newton_direction,
)
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.implant_motion import section_motion
from stillroot.mechanics.interface import tangent
from stillroot.mechanics.path import Leg, follow
from stillroot.mechanics.resultant import COMPONENTS, UNIT_LOADS

if TYPE_CHECKING:
    from stillroot.arrays import Floats
    from stillroot.mechanics.seat import Seated


@dataclass(frozen=True, kw_only=True)
class Joint:
    """The compliance of a screw joint, the same in all directions: mm per N, radians per N·mm."""

    shift_mm_per_n: float = 0.0
    tilt_per_nmm: float = 0.0

    @property
    def compliance(self) -> Floats:
        """C (6, 6)."""
        return np.diag([self.shift_mm_per_n] * 3 + [self.tilt_per_nmm] * 3)


RIGID_JOINT = Joint()


@dataclass(frozen=True, kw_only=True)
class Head:
    """The element: six motions of a head in, six forces out: F_x, F_y, F_z, M_x, M_y, M_z at its centre.

    All are in the implant's own frame, x along θ = 0. Λ (6, f, h, m, 3) and G (6, 6) are those of (S4).
    """

    seated: Seated
    joint: Joint
    fourier: Fourier
    Λ: Floats
    G: Floats
    series: SeriesStiffness
    precondition: Preconditioner

    @property
    def yields(self) -> bool:
        """Whether the bone below it may yield."""
        return self.seated.site.bone is not None

    @cached_property
    def at_rest(self) -> Moved:
        """The seated implant before its head is moved."""
        state = self.seated.state.in_expansion(self.fourier)
        return Moved(motion=np.zeros(6), state=state, slip_mm=state.tractions.slip_mm)

    @cached_property
    def first_tangent(self) -> Floats:
        """∂q/∂d (6, 6) of the seated implant at the onset of loading, every closed point sticking."""
        moves = np.stack([self.precondition.solve(unit) for unit in self.Λ])
        return self._tangent(moves)

    def wall_forces(self, motion: Floats) -> Floats:
        """Return the right-hand side of (S4) (f, h, m, 3)."""
        d = motion + self._lowered(self.at_rest.state.elastic_w)
        return np.asarray(np.tensordot(self.G @ d, self.Λ, axes=1))  # (S4)

    def response_mm(self, motion: Floats) -> float:
        """Return the size of w that a motion causes: residuals are relative to it."""
        forces = np.tensordot(self.G @ motion, self.Λ, axes=1)
        return float(np.linalg.norm(self.precondition.solve(forces)))

    def force(self, moved: Moved) -> Floats:
        """Return q (6,) of (S5)."""
        change = moved.state.elastic_w - self.at_rest.state.elastic_w
        return np.asarray(self.G @ (moved.motion - self._lowered(change)))  # (S5)

    def tangent(self, moved: Moved) -> Floats:
        """Return ∂q/∂d (6, 6) at a state, with the slip at the start of its step."""
        layer, w = self.seated.layer, moved.state.w
        at = tangent(layer, layer.local(self.fourier.values(w)), moved.slip_mm)
        moves = [
            newton_direction(
                layer, self.fourier, self.precondition, at, self.precondition.solve(unit), tight=True
            )[0]
            for unit in self.Λ
        ]
        return self._tangent(np.stack(moves))

    def moved(
        self,
        start: Moved,
        motion: Floats,
        *,
        guess: Moved,
        stage: str,
        scale_mm: float,
        tolerance: float = TOLERANCE,
        yield_tolerance: float | None = None,
    ) -> Moved:
        """Move the head from `start` to `motion` in one step; `guess` is a state near its end.

        Raises
        ------
        NotConverged
            No equilibrium is found at the wall.
        """
        problem = Problem(
            series=self.series,
            layer=self.seated.layer,
            precondition=self.precondition,
            scale_mm=scale_mm,
            stage=stage,
            tolerance=tolerance,
            bone=self.seated.site.bone,
            yield_tolerance=yield_tolerance,
        )
        path = [Leg(reached=1.0, load=self.wall_forces(motion))]
        begin = self.wall_forces(start.motion)
        state = follow(problem, start.state, path, begin=begin, near=guess.state)
        return Moved(motion=motion, state=state, slip_mm=start.state.tractions.slip_mm)

    def _lowered(self, w: Floats) -> Floats:
        """Return Λᵀ w (6,)."""
        return np.tensordot(self.Λ, w, axes=w.ndim)

    def _tangent(self, moves: Floats) -> Floats:
        """Return G - G Λᵀ (D' + t')⁻¹ Λ G, (S5) linearised, given (D' + t')⁻¹ Λ (6, f, h, m, 3)."""
        lowered = self.Λ.reshape(6, -1) @ moves.reshape(6, -1).T
        return np.asarray(self.G - self.G @ lowered @ self.G)


@dataclass(frozen=True, kw_only=True)
class Moved:
    """A head moved by `motion` (6,) [mm, rad], and the state of the wall below it.

    `slip_mm` is the slip at the start of the step that led here.
    """

    motion: Floats
    state: ContactState
    slip_mm: Floats


def head_of(seated: Seated, joint: Joint = RIGID_JOINT) -> Head:
    """Return a seated implant as an element, to be screwed to a bridge."""
    site = seated.site
    fourier = Fourier(seated.highest, twin=True)
    still = np.zeros((*fourier.shape, seated.layer.nodes_mm.shape[1], 3))
    on_top = range(len(COMPONENTS))
    units = np.eye(len(UNIT_LOADS))[on_top]
    Λ = np.stack([site.wall_load(fourier, unit) for unit in units])
    A = np.stack([section_motion(site, still, unit)[on_top] for unit in units], axis=1)
    G = la.inv(A + joint.compliance)  # (S4)
    G = 0.5 * (G + G.T)

    series = site.series.constrained(Λ, G)
    return Head(
        seated=seated,
        joint=joint,
        fourier=fourier,
        Λ=Λ,
        G=G,
        series=series,
        precondition=series.held(seated.precondition),
    )
