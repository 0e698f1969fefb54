"""Following a load beyond where it can be prescribed: the motion along it is prescribed in its place.

Along a leg of the path, λ(F) = λ_a + F Λ, the motion that does work on the load is, by reciprocity,
U = c F + Λᵀ (w + u_0 - w_a), with c the compliance of the bonded implant along it. With U prescribed::

    D' (w + u_0) + t(w) = λ_a + Λ (U + Λᵀ w_a)/c,   D' = D + Λ Λᵀ/c                          (23)
    F = (U - Λᵀ (w + u_0 - w_a))/c

has a solution also where none exists for a larger F: the implant then gives way.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from stillroot.errors import NotConverged
from stillroot.mechanics.contact import Stalled
from stillroot.mechanics.yielding import Guess, equilibrium_with_yield

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.arrays import Floats
    from stillroot.mechanics.contact import ContactState, Problem

FLAT, LEAST_STIFF = 0.02, 1e-3
"""The implant gives way where its stiffness along the load has fallen to this share of the largest on
the way; that counts as no less than the other share of the bonded."""
STEEP = 0.2
"""A step over which the mean stiffness is a smaller share of the bonded is followed more closely."""
LONG = 1.1
"""Growth of the motion over which its stiffness is read: less is noise of the solver."""
STEPS_LIMIT = 40
FROM_REST, FIRST_STEP, GROWTH, SHORTEST = 0.05, 0.25, 1.6, 1 / 32
"""Steps of U: the first from rest relative to the motion of the bonded implant under the whole load, or
else to the motion so far; each to the one before, the smallest to the first."""
LOOSE = 1e-6
"""Tolerance of the states on the curve."""
MET, MEETING = 5e-5, 20
"""Largest error of F where a load is to be met, and the number of solves to meet it."""


@dataclass(frozen=True, kw_only=True)
class Reached:
    """A state on the curve: F, the share of the leg's load, and the motion U along it over c."""

    share: float
    motion: float
    state: ContactState


@dataclass(frozen=True, kw_only=True)
class Line:
    """The straight line of loads of a leg: `start` (f, h, m, 3), λ_a; `load`, Λ; `compliance`, c.

    `first` is the state in equilibrium with λ_a.
    """

    first: ContactState
    start: Floats
    load: Floats
    compliance: float


def beyond(
    problem: Problem, line: Line, at: ContactState, share: float
) -> tuple[tuple[Reached, ...], bool]:
    """Follow (23) from a state `at` until F is 1 or stands still; there F is `share`.

    Returns the states that follow on the curve, and whether the implant gives way at its end.

    Raises
    ------
    NotConverged
        The shortest step does not converge: numbers fail, not the implant.
    """
    held = _Held.along(problem, line)
    loosely = held.loosely()
    curve = [Reached(share=share, motion=_motion(line, at, share), state=at)]
    step = first = max(FIRST_STEP * curve[0].motion, FROM_REST)
    while len(curve) < STEPS_LIMIT:
        last = curve[-1]
        try:
            new = loosely.moved(last, last.motion + step, _ahead(curve, last.motion + step))
        except Stalled as stalled:
            step /= 2
            if step < SHORTEST * first:
                raise _failed(problem, last.share, stalled.history) from None
            continue
        if new.share >= 1:
            return (*curve[1:], _met(problem, held, last, new)), False
        curve.append(new)
        if _is_flat(curve):
            return tuple(curve[1:]), True
        step *= GROWTH
    raise _failed(problem, curve[-1].share, ())


def bears(line: Line, states: Sequence[tuple[float, ContactState]]) -> int:
    """Return how many states on a line, each at a share of its load, come before it may stand still."""
    motions = [0.0, *(_motion(line, state, share) for share, state in states)]
    shares = [0.0, *(share for share, _ in states)]
    slopes = np.diff(shares) / np.maximum(np.diff(motions), 1e-300)
    flat = np.flatnonzero(slopes < STEEP)
    return len(states) if len(flat) == 0 else int(flat[0])


def _motion(line: Line, state: ContactState, share: float) -> float:
    """Return U/c of a state in equilibrium with a share of a load."""
    change = state.elastic_w - line.first.elastic_w
    return share + float(np.sum(line.load * change)) / line.compliance


@dataclass(frozen=True, kw_only=True)
class _Held:
    """A problem with the motion along its load prescribed."""

    problem: Problem
    line: Line

    @classmethod
    def along(cls, problem: Problem, line: Line) -> _Held:
        series = problem.series.constrained(line.load[None], np.array([[1 / line.compliance]]))
        held = replace(problem, series=series, precondition=series.held(problem.precondition))
        return cls(problem=held, line=line)

    def loosely(self) -> _Held:
        """Return the same, to be solved less closely: enough for where a curve leads."""
        looser = replace(self.problem, tolerance=max(LOOSE, self.problem.tolerance))
        return replace(self, problem=looser)

    def moved(self, begin: Reached, motion: float, guess: Guess) -> Reached:
        """Return the state at a motion, with the history of `begin`."""
        line = self.line
        force = motion + float(np.sum(line.load * line.first.elastic_w)) / line.compliance
        state = equilibrium_with_yield(
            self.problem, begin.state, guess, line.start + force * line.load
        )  # (23)
        return Reached(share=motion - _motion(line, state, 0.0), motion=motion, state=state)


def _met(problem: Problem, held: _Held, begin: Reached, past: Reached) -> Reached:
    """Return the state at F = 1, between one before and one past it.

    The load is prescribed again, now that its end is known well; where that stalls, U is sought by
    regula falsi (Illinois).
    """
    part = (1 - begin.share) / (past.share - begin.share)
    with suppress(Stalled):
        guess, load = Guess.between(begin.state, past.state, part), held.line.start + held.line.load
        state = equilibrium_with_yield(problem, begin.state, guess, load)
        return Reached(share=1.0, motion=_motion(held.line, state, 1.0), state=state)
    low, high, f_low, f_high = begin, past, begin.share - 1, past.share - 1
    for _ in range(MEETING):
        part = f_low / (f_low - f_high)
        motion = low.motion + part * (high.motion - low.motion)
        try:
            new = held.moved(begin, motion, Guess.between(low.state, high.state, part))
        except Stalled as stalled:
            raise _failed(problem, begin.share, stalled.history) from None
        f = new.share - 1
        if abs(f) < MET:
            return new
        if f < 0:
            low, f_low, f_high = new, f, f_high / 2
        else:
            high, f_high, f_low = new, f, f_low / 2
    raise _failed(problem, low.share, ())


def _is_flat(curve: list[Reached]) -> bool:
    """Return whether the load stands still at the end of a curve, over motion enough to tell."""
    last = curve[-1]
    before = [way for way in curve if way.motion <= last.motion / LONG]
    if not before:
        return False
    shares, motions = [0.0, *(w.share for w in curve)], [0.0, *(w.motion for w in curve)]
    slopes = np.diff(shares) / np.maximum(np.diff(motions), 1e-12)
    slope = (last.share - before[-1].share) / (last.motion - before[-1].motion)
    return bool(slope < FLAT * max(slopes.max(), LEAST_STIFF))


def _ahead(curve: list[Reached], motion: float) -> Guess:
    """Return the last state, extrapolated along the last step of the curve."""
    if len(curve) == 1:
        return Guess.at(curve[0].state)
    before, last = curve[-2:]
    share = (motion - before.motion) / (last.motion - before.motion)
    return Guess.between(before.state, last.state, share)


def _failed(problem: Problem, reached: float, history: tuple[float, ...]) -> NotConverged:
    text = (
        f"{problem.stage}: the solver failed at {reached:.0%} of it, which says nothing about the "
        "implant; another numerics.element_mm or more numerics.load_steps may help"
    )
    return NotConverged(text, stage=problem.stage, residual_history=history)
