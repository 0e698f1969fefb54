"""Implants splinted by a bridge: each a frictional element, coupled and solved for equilibrium.

With z the motions of the bridge's nodes, K its stiffness, B_k the matrix from z to the motion of head k
in that implant's frame, and q_k(d) the implant's reaction (S5) from the start of the step::

    K z + Σ B_kᵀ q_k(B_k z) = f                                                             (S6)

is solved by Newton's method in z. The tangent of each implant starts as that of its seated state and is
updated from the iterates (Broyden 1965, Math Comput 19:577-593, for each implant by itself); where
convergence is slow it is computed anew. Friction depends on history, so the load is applied in steps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from stillroot.errors import NotConverged
from stillroot.mechanics.balance import resultant_of_tractions
from stillroot.mechanics.contact import TOLERANCE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.arrays import Floats
    from stillroot.mechanics.head import Head, Moved

UNBALANCED = 1e-6
"""Accepted imbalance of the bridge, relative to the load."""
LOOSE_UNBALANCED = 10.0
"""The same as a multiple of the wall's tolerance, where that is set looser than its default."""
UNBALANCED_IN_YIELDING_BONE = 3e-5
"""The same where a bone yields."""
CLOSER, LEAST_CLOSE = 0.03, 3e-4
"""Tolerance of bone that yields relative to the last imbalance, and the largest: a head whose forces are
less certain than the imbalance misleads the next iteration."""
LEVER_MM = 10.0
"""Moments are converted to forces, and rotations to displacements, with this lever."""
ITERATIONS, PATIENCE = 30, 6
"""Iterations of a step, and those allowed without the imbalance falling to half of its best value."""
SLOW = 0.25
"""An imbalance that stays above this share of the one before leads to new tangents."""
OVERSHOT = 2.0
"""An imbalance that grows by more than this factor halves the increment."""
SHORTEST_STEP = 1 / 16
"""Smallest fraction of a load step."""


@dataclass(frozen=True, kw_only=True)
class Attached:
    """An implant on the bridge.

    `arm` (6, 6n) maps the nodes' motions to the motion of its head in its own frame; `frame` (3, 3) has
    the implant's axes as columns; `crest_mm` (3,) is where its axis meets the crest.
    """

    head: Head
    arm: Floats
    frame: Floats
    crest_mm: Floats


@dataclass(frozen=True, kw_only=True)
class Splinted:
    """A loaded bridge in equilibrium.

    `motion` (6n,) of its nodes; `heads`: the state of each implant's head; `forces` (k, 6) on each head,
    in its own frame [N, N·mm]; `tangents` (k, 6, 6) of each; `path`: the motion at the end of each load
    step.
    """

    motion: Floats
    heads: tuple[Moved, ...]
    forces: Floats
    tangents: Floats
    path: tuple[Floats, ...]


class _Stalled(Exception):  # noqa: N818
    """A step did not converge; `solve` halves it."""

    def __init__(self, history: list[float]) -> None:
        super().__init__(history)
        self.history = history


def first_motion(attached: Sequence[Attached], stiffness: Floats, load: Floats) -> Floats:
    """Return the motion (6n,) of the bridge's nodes with each implant at its initial stiffness.

    A first estimate at the cost of one small linear solve.
    """
    tangents = np.stack([a.head.first_tangent for a in attached])
    return _solved(_whole(attached, stiffness, tangents), load)


def solve(
    attached: Sequence[Attached],
    stiffness: Floats,
    load: Floats,
    *,
    steps: int,
    name: str,
    tolerance: float = TOLERANCE,
    near: Splinted | None = None,
) -> Splinted:
    """Apply `load` (6n,) to the bridge in equal steps.

    `near` is a solution of a similar problem, to start from.

    Raises
    ------
    NotConverged
        There is no equilibrium: the implants slip out or tip, or turn about a line through their heads.
    """
    try:
        first = first_motion(attached, stiffness, load)
    except _Stalled as stalled:
        raise _not_converged(name, 0.0, stalled) from None
    scale = max(a.head.response_mm(a.arm @ first) for a in attached)
    tangents = np.stack([a.head.first_tangent for a in attached]) if near is None else near.tangents
    problem = _Problem(
        attached=attached,
        stiffness=stiffness,
        size=_size(load),
        scale_mm=scale,
        tolerance=tolerance,
        name=name,
    )
    at = Splinted(
        motion=np.zeros_like(load),
        heads=tuple(a.head.at_rest for a in attached),
        forces=np.zeros((len(attached), 6)),
        tangents=tangents,
        path=(),
    )
    guesses = near.path if near is not None and len(near.path) == steps else (None,) * steps
    reached = 0.0
    for k, guess in enumerate(guesses, start=1):
        step, end = 1 / steps, k / steps
        while reached < end - 1e-12:
            step = min(step, end - reached)
            whole = guess if np.isclose(reached + step, end) else None
            try:
                after = _step(problem, at, load * (reached + step), load * step, whole)
            except (_Stalled, NotConverged) as stalled:
                step, guess = step / 2, None  # noqa: PLW2901 - it misled
                if step < SHORTEST_STEP / steps:
                    raise _not_converged(name, reached, stalled) from None
            else:
                at = after
                reached += step
        at = replace(at, path=(*at.path, at.motion))
    return at


@dataclass(frozen=True, kw_only=True)
class _Problem:
    attached: Sequence[Attached]
    stiffness: Floats
    size: float
    scale_mm: float
    tolerance: float
    name: str

    @property
    def allowed(self) -> float:
        yields = any(a.head.yields for a in self.attached)
        least = UNBALANCED_IN_YIELDING_BONE if yields else UNBALANCED
        return max(least, LOOSE_UNBALANCED * self.tolerance)

    def close(self, imbalance: float) -> float:
        """Return the tolerance of bone that yields at the next iteration."""
        return min(max(CLOSER * imbalance, 0.5 * self.allowed), LEAST_CLOSE)


def _step(
    problem: _Problem,
    start: Splinted,
    load: Floats,
    added: Floats,
    guess: Floats | None,
) -> Splinted:
    """Solve (S6) for a load, from the state at the start of the step."""
    attached, k = problem.attached, problem.stiffness
    tangents = start.tangents
    z = guess if guess is not None else start.motion + _solved(_whole(attached, k, tangents), added)
    guesses, before, history = start.heads, None, []
    close = problem.close(1.0)
    for _ in range(ITERATIONS):
        heads = tuple(
            a.head.moved(
                s,
                a.arm @ z,
                guess=g,
                stage=problem.name,
                scale_mm=problem.scale_mm,
                tolerance=problem.tolerance,
                yield_tolerance=close,
            )
            for a, s, g in zip(attached, start.heads, guesses, strict=True)
        )
        forces = np.stack([a.head.force(h) for a, h in zip(attached, heads, strict=True)])
        left = load - k @ z - sum(a.arm.T @ q for a, q in zip(attached, forces, strict=True))
        history.append(_size(left) / problem.size)
        close = problem.close(history[-1])
        if history[-1] < problem.allowed:
            return Splinted(motion=z, heads=heads, forces=forces, tangents=tangents, path=start.path)
        if not np.isfinite(history[-1]) or (
            len(history) > PATIENCE and min(history[-PATIENCE:]) > 0.5 * min(history[:-PATIENCE])
        ):
            break
        if before is not None:
            z_before, heads_before, forces_before = before
            if history[-1] > OVERSHOT * history[-2]:
                z, history[-1] = 0.5 * (z + z_before), history[-2]
                continue
            tangents = _followed(tangents, heads_before, heads, forces - forces_before)
            if history[-1] > SLOW * history[-2]:
                tangents = np.stack([a.head.tangent(h) for a, h in zip(attached, heads, strict=True)])
        before, guesses = (z, heads, forces), heads
        z = z + _solved(_whole(attached, k, tangents), left)
    raise _Stalled(history)


def _followed(
    tangents: Floats,
    before: Sequence[Moved],
    after: Sequence[Moved],
    forces: Floats,
) -> Floats:
    """Return tangents (k, 6, 6) updated to give the change of forces (k, 6) of the last iteration."""
    weight = np.array([1.0] * 3 + [LEVER_MM**2] * 3)
    followed = tangents.copy()
    for k, (one, other) in enumerate(zip(before, after, strict=True)):
        d = other.motion - one.motion
        square = float(d @ (weight * d))
        if square > 0:
            followed[k] += np.outer(forces[k] - tangents[k] @ d, weight * d) / square
    return followed


def _whole(attached: Sequence[Attached], stiffness: Floats, tangents: Floats) -> Floats:
    """Return the stiffness (6n, 6n) of the bridge on its implants."""
    return stiffness + sum(a.arm.T @ t @ a.arm for a, t in zip(attached, tangents, strict=True))


def _solved(whole: Floats, load: Floats) -> Floats:
    try:
        return np.asarray(np.linalg.solve(whole, load))
    except np.linalg.LinAlgError:
        raise _Stalled([np.inf]) from None


def _size(load: Floats) -> float:
    """Return the largest force of nodal loads (6n,), moments converted to forces by the lever."""
    return float(np.max(np.abs(load.reshape(-1, 6)) / ([1.0] * 3 + [LEVER_MM] * 3)))


def _not_converged(name: str, reached: float, stalled: _Stalled | NotConverged) -> NotConverged:
    history = tuple(stalled.history if isinstance(stalled, _Stalled) else stalled.residual_history)
    last = ", ".join(f"{r:.0e}" for r in history[-5:])
    text = (
        f"{name}: the bridge finds no equilibrium beyond {reached:.0%} of it. Its implants may slip "
        "out, turn or tip; lower the load, shorten the cantilever, or raise friction, interference or "
        f"engagement. Residuals of the last solve: {last}"
    )
    return NotConverged(text, stage=name, residual_history=history)


def taken(attached: Attached, moved: Moved) -> Floats:
    """Return the resultant on the bone around an implant (6,), in the plan's axes about its origin.

    Summed from the tractions of the law, independently of any stiffness.
    """
    own = resultant_of_tractions(attached.head.seated.layer, moved.state)
    force, moment = attached.frame @ own[:3], attached.frame @ own[3:]
    return np.concatenate([force, moment + np.cross(attached.crest_mm, force)])


def imbalance(attached: Sequence[Attached], splinted: Splinted, applied: Floats, size_n: float) -> float:
    """Return the largest of the six components of (forces on the bone - load), relative to the load.

    `applied` (6,) is the whole load about the plan's origin, `size_n` the sum of the magnitudes of its
    forces. Forces are divided by that, moments by that times the distance of the farthest implant.
    """
    held = sum(taken(a, h) for a, h in zip(attached, splinted.heads, strict=True))
    far = max(LEVER_MM, *(float(np.linalg.norm(a.crest_mm)) for a in attached))
    return float(np.max(np.abs(held - applied) / ([size_n] * 3 + [size_n * far] * 3)))
