"""Contact and yield together: (21) with the law (17) in the bone.

For given plastic strains (21) is (8) with another right-hand side, which `contact.equilibrium` solves;
it gives a displacement u of the bone, and that its plastic strains. The fixed point u = M(u) of this map
is found by Anderson acceleration (Walker & Ni 2011, SIAM J Numer Anal 49:1715-1735, from memory)::

    u ← u + r - Σ γ_j (Δu_j + Δr_j),   r = M(u) - u,   γ = argmin |r - Σ γ_j Δr_j|         (22)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.contact import Stalled, equilibrium
from stillroot.mechanics.yielding_bone import BoneState

if TYPE_CHECKING:
    from stillroot.arrays import Floats
    from stillroot.mechanics.contact import ContactState, Problem
    from stillroot.mechanics.yielding_bone import YieldingBone

LOOSER, LOOSEST = 300.0, 3e-4
"""Tolerance of (22), relative to the change of u in the step: that at the wall times this; the most.
Near a load that nothing bears, points of the wall flip between stick and slip, which keeps the residual
above the first of them; below the other a state counts as found."""
LEAST_CHANGE = 0.1
"""Least change of u that a residual is relative to, as a share of u: a short step cannot be closer than
the state that it begins from."""
LIMIT = 150
PATIENCE = 25
"""Iterations allowed without the residual falling below half of its best value so far."""
EXACT, FINEST = 1e-5, 1e-12
"""Tolerance at the wall relative to the last residual of (22), and the smallest. A hard layer turns an
error of w into one of u up to a thousand times as large: k_n over the bone's stiffness E/r."""
DEPTH = 20
"""Differences kept for (22)."""


@dataclass(frozen=True, kw_only=True)
class Guess:
    """Where a solve begins: w at the wall, and u of bone that yields."""

    w: Floats
    u: Floats | None = None

    @classmethod
    def at(cls, state: ContactState) -> Guess:
        """Return a state as a guess."""
        return cls(w=state.w, u=None if state.bone is None else state.bone.u)

    @classmethod
    def between(cls, a: ContactState, b: ContactState, share: float) -> Guess:
        """Return a guess at a share of the way from one state to another, or beyond."""
        w = a.w + share * (b.w - a.w)
        if a.bone is None or b.bone is None:
            return cls(w=w)
        return cls(w=w, u=a.bone.u + share * (b.bone.u - a.bone.u))


@dataclass(frozen=True, kw_only=True)
class _Tried:
    """A displacement u, what M makes of it, and the residual relative to the change of u in the step."""

    u: Floats
    r: Floats
    state: ContactState
    residual: float


def equilibrium_with_yield(
    problem: Problem, start: ContactState, guess: Guess, load: Floats
) -> ContactState:
    """Solve (21) from `guess`, or (8) where bone is linear; `start` has slip and plastic strain so far.

    Raises
    ------
    Stalled
        It does not converge.
    """
    if problem.bone is None or start.bone is None or guess.u is None:
        return equilibrium(problem, start, guess.w, load)
    step = _Step(problem, problem.bone, start, start.bone, load)
    tolerance = problem.yield_tolerance or min(LOOSER * problem.tolerance, LOOSEST)
    tried, history = step.accelerated(guess, tolerance)
    if tried.residual >= max(tolerance, LOOSEST):
        raise Stalled(tuple(history))
    return replace(tried.state, residuals=tuple(history))


@dataclass(frozen=True)
class _Step:
    problem: Problem
    bone: YieldingBone
    start: ContactState
    before: BoneState
    load: Floats

    def tried(self, u: Floats, w: Floats, exact: float) -> _Tried:
        """Return M(u) - u and the state there, the wall solved from w to a tolerance."""
        problem, bone, fourier = self.problem, self.bone, self.start.fourier
        strain = bone.strain(fourier, u)
        taken = bone.surface.returned(bone.surface.stress(strain), self.before.taken)
        of_plastic = bone.moved(bone.force(fourier, taken))
        u_0 = of_plastic[:, :, bone.wall]
        there = replace(problem, tolerance=max(exact, FINEST))
        state = equilibrium(there, self.start, w, self.load - problem.series.forces(u_0))  # (21)
        traction = fourier.moments(problem.layer.nodal_forces(state.tractions.traction))
        new = of_plastic + bone.under(traction)
        step, whole = float(np.linalg.norm(new - self.before.u)), float(np.linalg.norm(new))
        change, size = max(step, LEAST_CHANGE * whole), float(np.linalg.norm(new - u))
        return _Tried(
            u=u,
            r=new - u,
            state=replace(state, bone=BoneState(u=new, u_0=u_0, taken=taken)),
            residual=size / change if change > 0 else 0.0,
        )

    def exact(self, r: Floats) -> float:
        """Return how closely the wall is solved beside a residual."""
        return min(self.problem.tolerance, EXACT * float(np.linalg.norm(r)) / self.problem.scale_mm)

    def accelerated(self, guess: Guess, tolerance: float) -> tuple[_Tried, list[float]]:
        """Iterate (22) until it converges or stalls; return the best u tried, and all residuals."""
        assert guess.u is not None  # noqa: S101 - for the type checker
        tried = best = self.tried(guess.u, guess.w, self.problem.tolerance)
        history = [tried.residual]
        changes: list[tuple[Floats, Floats]] = []
        while tried.residual >= tolerance and len(history) < LIMIT:
            if len(history) > PATIENCE and min(history[-PATIENCE:]) > 0.5 * min(history[:-PATIENCE]):
                break
            last, u = tried, tried.u + tried.r - _accelerated(tried.r, changes)  # (22)
            tried = self.tried(u, last.state.w, self.exact(last.r))
            changes = [*changes, (tried.u - last.u, tried.r - last.r)][-DEPTH:]
            history.append(tried.residual)
            best = min(best, tried, key=lambda one: one.residual)
        return best, history


def _accelerated(r: Floats, changes: list[tuple[Floats, Floats]]) -> Floats:
    """Return Σ γ_j (Δu_j + Δr_j) of (22)."""
    if not changes:
        return np.zeros_like(r)
    size = np.array([np.linalg.norm(Δr) for _, Δr in changes])
    unit = np.stack([Δr.ravel() for _, Δr in changes]) / size[:, None]
    γ = np.linalg.lstsq(unit @ unit.T, unit @ r.ravel(), rcond=1e-13)[0] / size
    return np.asarray(sum(g * (Δu + Δr) for g, (Δu, Δr) in zip(γ, changes, strict=True)))
