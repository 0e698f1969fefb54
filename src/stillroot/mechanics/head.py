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

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg as la

from stillroot.mechanics.contact import (
    TOLERANCE,
    ContactState,
    Preconditioner,
    SeriesStiffness,
    follow,
    newton_direction,
)
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.interface import tangent
from stillroot.mechanics.loading import Resultant, wall_load
from stillroot.mechanics.motion import section_motion

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stillroot.mechanics.loading import Seated

RISE, TURN = 2, 3
"""Indices of rise and turn among the resultants on the abutment's top, after lateral shift and tilt."""
IN_PLANE, ACROSS = (0, 4), (1, 3)
"""Indices of F_x with M_y, and of F_y with M_x, among the six."""


@dataclass(frozen=True, kw_only=True)
class Joint:
    """The compliance of a screw joint, the same in all directions: mm per N, radians per N·mm."""

    shift_mm_per_n: float = 0.0
    tilt_per_nmm: float = 0.0

    @property
    def compliance(self) -> NDArray[np.float64]:
        """C (6, 6)."""
        return np.diag([self.shift_mm_per_n] * 3 + [self.tilt_per_nmm] * 3)


RIGID_JOINT = Joint()


@dataclass(frozen=True, kw_only=True)
class Head:
    """The element: six motions of a head in, six forces out: F_x, F_y, F_z, M_x, M_y, M_z at its centre.

    All are in the implant's own frame, x along θ = 0. `lift` (6, f, h, m, 3) is Λ, `hold` (6, 6) is G.
    """

    seated: Seated
    joint: Joint
    fourier: Fourier
    lift: NDArray[np.float64]
    hold: NDArray[np.float64]
    series: SeriesStiffness
    precondition: Preconditioner

    @cached_property
    def at_rest(self) -> Moved:
        """The seated implant before its head is moved."""
        state = self.seated.state.in_expansion(self.fourier)
        return Moved(motion=np.zeros(6), state=state, slip_mm=state.tractions.slip_mm)

    @cached_property
    def first_tangent(self) -> NDArray[np.float64]:
        """∂q/∂d (6, 6) of the seated implant at the onset of loading, every closed point sticking."""
        yields = np.stack([self.precondition.solve(unit) for unit in self.lift])
        return self._tangent(yields)

    def wall_forces(self, motion: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the right-hand side of (S4) (f, h, m, 3)."""
        whole = motion + self._lowered(self.at_rest.state.w)
        return np.asarray(np.tensordot(self.hold @ whole, self.lift, axes=1))

    def response_mm(self, motion: NDArray[np.float64]) -> float:
        """Return the size of w that a motion causes: residuals are relative to it."""
        forces = np.tensordot(self.hold @ motion, self.lift, axes=1)
        return float(np.linalg.norm(self.precondition.solve(forces)))

    def force(self, moved: Moved) -> NDArray[np.float64]:
        """Return q (6,) of (S5)."""
        change = moved.state.w - self.at_rest.state.w
        return np.asarray(self.hold @ (moved.motion - self._lowered(change)))

    def tangent(self, moved: Moved) -> NDArray[np.float64]:
        """Return ∂q/∂d (6, 6) at a state, with the slip at the start of its step."""
        layer, w = self.seated.layer, moved.state.w
        at = tangent(layer, layer.local(self.fourier.values(w)), moved.slip_mm)
        yields = [
            newton_direction(
                layer, self.fourier, self.precondition, at, self.precondition.solve(unit), tight=True
            )[0]
            for unit in self.lift
        ]
        return self._tangent(np.stack(yields))

    def moved(
        self,
        start: Moved,
        motion: NDArray[np.float64],
        *,
        guess: Moved,
        stage: str,
        scale_mm: float,
        tolerance: float = TOLERANCE,
    ) -> Moved:
        """Move the head from `start` to `motion` in one step; `guess` is a state near its end.

        Raises
        ------
        NotConverged
            No equilibrium is found at the wall.
        """
        begin = replace(start.state, w=guess.state.w)
        state = follow(
            self.series,
            self.seated.layer,
            begin,
            [(1.0, self.wall_forces(motion))],
            self.precondition,
            stage=stage,
            scale=scale_mm,
            begin=self.wall_forces(start.motion),
            tolerance=tolerance,
        )
        return Moved(motion=motion, state=state, slip_mm=start.state.tractions.slip_mm)

    def _lowered(self, w: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return Λᵀ w (6,)."""
        return np.tensordot(self.lift, w, axes=w.ndim)

    def _tangent(self, yields: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return G - G Λᵀ (D' + t')⁻¹ Λ G, given (D' + t')⁻¹ Λ (6, f, h, m, 3)."""
        lowered = self.lift.reshape(6, -1) @ yields.reshape(6, -1).T
        return np.asarray(self.hold - self.hold @ lowered @ self.hold)


@dataclass(frozen=True, kw_only=True)
class Moved:
    """A head moved by `motion` (6,) [mm, rad], and the state of the wall below it.

    `slip_mm` is the slip at the start of the step that led here.
    """

    motion: NDArray[np.float64]
    state: ContactState
    slip_mm: NDArray[np.float64]


def head_of(seated: Seated, joint: Joint = RIGID_JOINT) -> Head:
    """Return a seated implant as an element, to be screwed to a bridge."""
    site, series = seated.site, seated.site.series
    fourier = Fourier(seated.highest, twin=True)
    top = site.case.implant.abutment_height_mm
    still = np.zeros((*fourier.shape, seated.layer.nodes_mm.shape[1], 3))
    lift = np.stack(
        [
            wall_load(site, fourier, unit.on_sections(top), unit.across_sections(top))
            for unit in unit_loads(top)
        ]
    )
    a = np.stack([section_motion(site, still, unit)[:4] for unit in np.eye(8)[:4]], axis=1)
    give = np.zeros((6, 6))
    bend = a[:2, :2]
    give[np.ix_(IN_PLANE, IN_PLANE)] = bend
    give[np.ix_(ACROSS, ACROSS)] = bend * [[1, -1], [-1, 1]]  # M_x tilts towards θ = -90°
    give[2, 2], give[5, 5] = a[RISE, RISE], a[TURN, TURN]
    hold = la.inv(give + joint.compliance)
    hold = 0.5 * (hold + hold.T)

    def held(n: int, components: list[int], families: list[int]) -> NDArray[np.float64]:
        """Return D' of harmonic n; one family stands for both."""
        columns = [lift[k, f, n].ravel() for k, f in zip(components, families, strict=True)]
        wall = series.expand[n].T @ np.stack(columns, axis=1)
        return np.asarray(series.free[n] + wall @ hold[np.ix_(components, components)] @ wall.T)

    # F_z and M_z act in n = 0, on different degrees of freedom, so one matrix serves both families; F_x
    # and M_y act in n = 1, and F_y and M_x do the same in its twin, turned by 90°.
    free = (held(0, [2, 5], [0, 1]), held(1, [0, 4], [0, 0]))
    low = SeriesStiffness(free=free, expand=series.expand[:2])
    stick = seated.precondition
    inverse = np.concatenate([low.preconditioner(stick.blocks).inverse, stick.inverse[2:]])
    return Head(
        seated=seated,
        joint=joint,
        fourier=fourier,
        lift=lift,
        hold=hold,
        series=SeriesStiffness(free=(*free, *series.free[2:]), expand=series.expand),
        precondition=Preconditioner(inverse=inverse, blocks=stick.blocks),
    )


def unit_loads(top_mm: float) -> tuple[Resultant, ...]:
    """Return unit F_x, F_y, F_z, M_x, M_y, M_z at the centre of the head."""
    return tuple(resultant_on_head(unit, top_mm) for unit in np.eye(6))


def resultant_on_head(force: NDArray[np.float64], top_mm: float) -> Resultant:
    """Return six forces and moments (6,) at the centre of the head as a load."""
    f_x, f_y, f_z, m_x, m_y, m_z = (float(part) for part in force)
    return Resultant(
        lateral_n=f_x,
        across_n=f_y,
        axial_n=-f_z,
        across_nmm=-m_x,
        moment_nmm=m_y,
        torque_nmm=m_z,
        height_mm=top_mm,
    )
