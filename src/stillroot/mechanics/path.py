"""Following a path of loads and fits from a state, in steps, since friction and yield have a history."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from stillroot.errors import NotConverged
from stillroot.mechanics.contact import Stalled, equilibrium
from stillroot.mechanics.yielding import Guess, equilibrium_with_yield

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.arrays import Floats
    from stillroot.mechanics.contact import ContactState, Problem

SHORTEST_STEP = 1 / 16
"""Smallest fraction of a load step."""
SOFTER = (0.03, 0.18)
"""Shares of the layer's stiffness by which a stalled step is continued up to the full stiffness."""
LED = 1e-3
"""Tolerance of these continuation solves, which only supply initial guesses."""


@dataclass(frozen=True, kw_only=True)
class Leg:
    """The end of a part of the path: its λ_0 (f, h, m, 3) [N], and the fit if that changes too.

    `reached` is the share of the path that ends here, for messages; `interference_mm` (p,).
    """

    reached: float
    load: Floats
    interference_mm: Floats | None = None


class Stuck(Exception):  # noqa: N818
    """A path that could not be followed to its end: what was solved of it, and where it stopped.

    `states` are those at the end of each leg, `state` the last in equilibrium, at a share `done` of the
    leg that follows them.
    """

    def __init__(
        self,
        states: tuple[ContactState, ...],
        state: ContactState,
        done: float,
        history: tuple[float, ...],
    ) -> None:
        super().__init__(history)
        self.states, self.state, self.done, self.history = states, state, done, history


def follow(
    problem: Problem,
    start: ContactState,
    path: Sequence[Leg],
    *,
    begin: Floats | None = None,
    near: ContactState | None = None,
) -> ContactState:
    """Follow a path from a state and return the state at its end, see `followed`.

    Raises
    ------
    NotConverged
        A step finds no equilibrium.
    """
    try:
        return followed(problem, start, path, begin=begin, near=near)[-1]
    except Stuck as stuck:
        ends = [0.0, *(leg.reached for leg in path)]
        last, end = ends[len(stuck.states)], ends[len(stuck.states) + 1]
        raise not_converged(problem, last + stuck.done * (end - last), stuck.history) from None


def followed(
    problem: Problem,
    start: ContactState,
    path: Sequence[Leg],
    *,
    begin: Floats | None = None,
    near: ContactState | None = None,
    at_once: bool = False,
) -> tuple[ContactState, ...]:
    """Follow a path from a state and return the state at the end of each leg.

    Each step begins with the history of the one before. A step that does not converge is halved; where
    that fails too, the rest of it is taken in one step, by continuation through softer layers. From rest
    and with linear bone the halving is skipped, since half the load is the same problem: (8) is
    homogeneous without interference. With `at_once` neither is tried: the caller goes on another way.
    `begin` is the λ_0 that `start` is in equilibrium with (default: none); its interference is that of
    the problem's layer. `near` is a guess of the first step's end.

    Raises
    ------
    Stuck
        The shortest step does not converge, nor does continuation through softer layers.
    """
    states: list[ContactState] = []
    state, before = start, Leg(reached=0.0, load=np.zeros_like(start.w) if begin is None else begin)
    carried = _Carried(load=before.load, state=start)
    first = None if near is None else Guess.at(near)
    for leg in path:
        done, step = 0.0, 1.0
        while done < 1.0:
            step = min(step, 1.0 - done)
            there, target = _on_the_way(problem, before, leg, done + step)
            try:
                state = equilibrium_with_yield(there, state, first or carried.on(state, target), target)
            except Stalled as stalled:
                first = None
                if at_once:
                    raise Stuck(tuple(states), state, done, stalled.history) from None
                same_problem = problem.bone is None and not np.any(state.w)
                if step > SHORTEST_STEP and not same_problem:
                    step /= 2
                    continue
                there, target = _on_the_way(problem, before, leg, 1.0)
                step = 1.0 - done
                try:
                    state = _led(there, state, target)
                except Stalled as again:
                    raise Stuck(tuple(states), state, done, again.history) from None
            carried, first = carried.by(target, state), None
            done += step
        before = leg
        states.append(state)
    return tuple(states)


def _on_the_way(problem: Problem, before: Leg, leg: Leg, share: float) -> tuple[Problem, Floats]:
    """Return the problem and λ_0 at a share of the way from the end of one leg to that of the next."""
    load = before.load + share * (leg.load - before.load)
    if leg.interference_mm is None:
        return problem, load
    first = before.interference_mm
    if first is None:
        first = problem.layer.interference_mm
    fit = first + share * (leg.interference_mm - first)
    return replace(problem, layer=replace(problem.layer, interference_mm=fit)), load


@dataclass(frozen=True, kw_only=True)
class _Carried:
    """The end of the last step and its increments, extrapolated to the initial guess for the next."""

    load: Floats
    state: ContactState
    load_change: Floats | None = None
    before: ContactState | None = None

    def by(self, load: Floats, state: ContactState) -> _Carried:
        return _Carried(load=load, state=state, load_change=load - self.load, before=self.state)

    def on(self, state: ContactState, target: Floats) -> Guess:
        """Return the state, extrapolated as far as the load continues in the same direction."""
        before, same = self.before, 0.0
        if self.load_change is not None:
            size = float(np.sum(self.load_change**2))
            same = float(np.sum(self.load_change * (target - self.load))) / size if size > 0 else 0.0
        if before is None or same <= 0:
            return Guess.at(state)
        return Guess.between(before, state, 1 + same)


def _led(problem: Problem, start: ContactState, load: Floats) -> ContactState:
    """Solve (21) or (8) by continuation from softer layers, the softest first.

    On hard contact with much friction Newton may cycle: a point that opens, or sticks, at one iteration
    overshoots by far at the next. On a soft layer pressure and shear change little between iterations.
    The state returned solves (9) on the layer itself, with the slip of `start`.
    """
    guess = Guess.at(start)
    for share in SOFTER:
        with suppress(Stalled):  # keeps the guess so far
            softer = replace(problem, layer=problem.layer.times(share), tolerance=LED)
            guess = replace(guess, w=equilibrium(softer, start, guess.w, load).w)
    return equilibrium_with_yield(problem, start, guess, load)


def not_converged(problem: Problem, reached: float, history: tuple[float, ...]) -> NotConverged:
    """Return the error of a path that was followed no further than `reached`."""
    stage = problem.stage
    last = ", ".join(f"{r:.0e}" for r in history[-5:])
    text = (
        f"{stage}: no equilibrium was found beyond {reached:.0%} of it. The implant may slip out, "
        "turn or tip under it; lower the load, or raise friction, interference or engagement. "
        f"Residuals of the last solve: {last} (wanted: {problem.tolerance:.0e})"
    )
    return NotConverged(text, stage=stage, residual_history=history)
