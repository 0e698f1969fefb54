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

LOOSER, LOOSEST = 300.0, 3e-4
"""Tolerance of (22), relative to the change of u in the step: that at the wall times this; the most."""
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


def equilibrium_with_yield(
    problem: Problem, start: ContactState, guess: Guess, load: Floats
) -> ContactState:
    """Solve (21) from `guess`; `start` has the slip and the plastic strain so far."""
    bone, fourier, before = problem.bone, start.fourier, start.bone
    if bone is None or before is None or guess.u is None:
        return equilibrium(problem, start, guess.w, load)
    w, u = guess.w, guess.u
    tolerance = min(LOOSER * problem.tolerance, LOOSEST)
    history: list[float] = []
    changes: list[tuple[Floats, Floats]] = []
    last: tuple[Floats, Floats] | None = None
    exact = problem.tolerance
    for _ in range(LIMIT):
        taken = bone.surface.returned(bone.surface.stress(bone.strain(fourier, u)), before.taken)
        of_plastic = bone.moved(bone.force(fourier, taken))
        u_0 = of_plastic[:, :, bone.wall]
        there = replace(problem, tolerance=max(exact, FINEST))
        state = equilibrium(there, start, w, load - problem.series.forces(u_0))  # (21)
        traction = fourier.moments(problem.layer.nodal_forces(state.tractions.traction))
        new = of_plastic + bone.under(traction)
        r, w = new - u, state.w
        change = float(np.linalg.norm(new - before.u))
        size = float(np.linalg.norm(r))
        history.append(size / change if change > 0 else 0.0)
        if history[-1] < tolerance:
            return replace(
                state,
                bone=BoneState(u=new, u_0=u_0, taken=taken),
                residuals=tuple(history),
            )
        exact = min(problem.tolerance, EXACT * size / problem.scale_mm)
        if len(history) > PATIENCE and min(history[-PATIENCE:]) > 0.5 * min(history[:-PATIENCE]):
            break
        if last is not None:
            changes = [*changes, (u - last[0], r - last[1])][-DEPTH:]
        last = u, r
        u = u + r - _accelerated(r, changes)  # (22)
    raise Stalled(tuple(history))


def _accelerated(r: Floats, changes: list[tuple[Floats, Floats]]) -> Floats:
    """Return Σ γ_j (Δu_j + Δr_j) of (22)."""
    if not changes:
        return np.zeros_like(r)
    size = np.array([np.linalg.norm(Δr) for _, Δr in changes])
    unit = np.stack([Δr.ravel() for _, Δr in changes]) / size[:, None]
    γ = np.linalg.lstsq(unit @ unit.T, unit @ r.ravel(), rcond=1e-13)[0] / size
    return np.asarray(sum(g * (Δu + Δr) for g, (Δu, Δr) in zip(γ, changes, strict=True)))
