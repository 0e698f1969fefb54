"""Load: from the seated state along a path of loads, in steps: friction and yield have a history."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from stillroot.errors import GivesWay, NotConverged
from stillroot.mechanics.balance import imbalance
from stillroot.mechanics.contact import TOLERANCE, ContactState, Problem
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.implant_motion import section_motion
from stillroot.mechanics.limit import Line, bears, beyond
from stillroot.mechanics.path import Leg, Stuck, followed
from stillroot.mechanics.resultant import UNIT_LOADS, Resultant

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stillroot.arrays import Floats
    from stillroot.mechanics.seat import Seated

STEPS = 2
"""Equal steps in which a load is applied."""
BALANCE = 1e-4
"""Largest accepted imbalance of the six components of force on the implant, relative to the load."""
LOOSE_BALANCE = 100.0
"""The same as a multiple of the tolerance, where that is set looser than its default."""


@dataclass(frozen=True, kw_only=True)
class OnTheWay:
    """A state on the path of loads: `leg` counts the loads, `share` is that of the leg's load."""

    leg: int
    share: float
    state: ContactState


@dataclass(frozen=True, kw_only=True)
class Loading:
    """The states along a path of loads, the seated one first.

    `gives_way_at`: the share of the last leg's load up to which there is equilibrium, where it does not
    reach its end; the last state is then that.
    """

    name: str
    states: tuple[OnTheWay, ...]
    gives_way_at: float | None = None

    @property
    def last(self) -> ContactState:
        """The state at the end."""
        return self.states[-1].state

    def failure(self) -> GivesWay:
        """Return the error that the implant does not reach the last load."""
        return gives_way(self.name, self.gives_way_at or 0.0, self.last.residuals)

    def reached(self, resultant: Resultant) -> Resultant:
        """Return how much of the first load is reached."""
        return resultant if self.first_share is None else resultant.scaled(self.first_share)

    @property
    def first_share(self) -> float | None:
        """The share of the first load at which the implant gives way; None where it bears it."""
        return self.gives_way_at if self.states[-1].leg == 0 else None

    def along(self, factors: Sequence[float]) -> list[tuple[float, ContactState]]:
        """Return the factor on a load at each state, on a path of that load times each of `factors`."""
        ends = (0.0, *factors)
        return [
            (float(np.interp(way.share, (0.0, 1.0), ends[way.leg : way.leg + 2])), way.state)
            for way in self.states
        ]

    def end_of(self, leg: int) -> ContactState:
        """Return the last state of a leg."""
        return next(way.state for way in reversed(self.states) if way.leg == leg)


def load(
    seated: Seated,
    resultants: Sequence[Resultant],
    *,
    steps: int = STEPS,
    name: str = "load",
    tolerance: float = TOLERANCE,
) -> ContactState:
    """Load a seated implant along a path of resultants and return the state at its end, see `loaded`.

    Raises
    ------
    GivesWay
        The implant finds no equilibrium under the load: it slips out, turns or tips.
    NotConverged
        The solver fails.
    """
    loading = loaded(seated, resultants, steps=steps, name=name, tolerance=tolerance)
    if loading.gives_way_at is not None:
        raise loading.failure()
    return loading.last


def gives_way(name: str, share: float, residual_history: tuple[float, ...] = ()) -> GivesWay:
    """Return the error of a load under which the implant gives way."""
    text = (
        f"{name}: the implant gives way at {share:.0%} of it: it slips out, turns, tips or crushes its "
        "bone, and finds no equilibrium beyond. Lower the load, or raise friction, interference or "
        "engagement"
    )
    return GivesWay(text, stage=name, share=share, residual_history=residual_history)


def loaded(
    seated: Seated,
    resultants: Sequence[Resultant],
    *,
    steps: int = STEPS,
    name: str = "load",
    tolerance: float = TOLERANCE,
    until: Callable[[ContactState, Resultant], bool] = lambda *_: False,
) -> Loading:
    """Load a seated implant along a path of resultants, each reached in equal steps.

    What takes a load off is mostly elastic and has half as many steps. Where a load cannot be reached,
    the motion along it is prescribed in its place, until the load is reached or stands still. The path
    ends early after a load at whose end `until` is true. Where no resultant acts, the seated state is
    returned.

    Raises
    ------
    NotConverged
        The solver fails, which says nothing about the implant.
    """
    site = seated.site
    on_sections = np.stack([r.on_sections(site.solids.top_mm) for r in resultants])
    acting = [unit for unit, sizes in zip(UNIT_LOADS, on_sections.T, strict=True) if np.any(sizes)]
    around = any(unit.harmonic == 1 for unit in acting)
    fourier = Fourier(seated.highest if around else 0, twin=any(unit.family == 1 for unit in acting))
    start = seated.state.in_expansion(fourier)
    if not acting:
        return Loading(name=name, states=(OnTheWay(leg=0, share=0.0, state=start),))
    ends = [site.wall_load(fourier, sizes) for sizes in (np.zeros_like(on_sections[0]), *on_sections)]
    problem = _problem(seated, ends, name, tolerance)
    states = [OnTheWay(leg=0, share=0.0, state=start)]
    before = np.zeros_like(on_sections[0])
    for k, after in enumerate(on_sections):
        line = Line(
            first=states[-1].state,
            start=ends[k],
            load=ends[k + 1] - ends[k],
            compliance=_compliance(seated, fourier, after - before),
        )
        is_less = np.linalg.norm(after) < np.linalg.norm(before)
        on_leg, given_way = _one_leg(problem, line, max(steps // 2, 1) if is_less else steps)
        states += [OnTheWay(leg=k, share=share, state=state) for share, state in on_leg]
        if given_way:
            return Loading(name=name, states=tuple(states), gives_way_at=max(states[-1].share, 0.0))
        if until(states[-1].state, resultants[k]):
            break
        before = after
    _assert_balance(seated, states[-1].state, resultants[: k + 1], problem)
    return Loading(name=name, states=tuple(states))


def _problem(seated: Seated, ends: Sequence[Floats], name: str, tolerance: float) -> Problem:
    """Return the problem of a path whose legs end at each of λ_0, the first being where it begins."""
    return Problem(
        series=seated.site.series,
        layer=seated.layer,
        precondition=seated.precondition,
        scale_mm=max(
            float(np.linalg.norm(seated.precondition.solve(after - before)))
            for before, after in pairwise(ends)
        ),
        stage=name,
        tolerance=tolerance,
        bone=seated.site.bone,
    )


def _one_leg(problem: Problem, line: Line, steps: int) -> tuple[list[tuple[float, ContactState]], bool]:
    """Return the shares and states along a line of loads, and whether the implant gives way on it."""
    shares = [i / steps for i in range(1, steps + 1)]
    path = [Leg(reached=share, load=line.start + share * line.load) for share in shares]
    try:
        # In bone that yields iterations cost more: `beyond` goes on at once.
        at_once = problem.bone is not None
        states = followed(problem, line.first, path, begin=line.start, at_once=at_once)
        on_leg = list(zip(shares, states, strict=True))
        if (borne := bears(line, on_leg)) == steps:
            return on_leg, False
        on_leg = on_leg[:borne]
        reached, last = on_leg[-1] if on_leg else (0.0, line.first)
    except Stuck as stuck:
        on_leg = list(zip(shares, stuck.states, strict=False))
        reached, last = (len(stuck.states) + stuck.done) / steps, stuck.state
    curve, gives_way = beyond(problem, line, last, reached)
    return [*on_leg, *((way.share, way.state) for way in curve)], gives_way


def _compliance(seated: Seated, fourier: Fourier, on_sections: Floats) -> float:
    """Return c of (23): the motion along a load on the sections, which does work on it, if bonded."""
    still = np.zeros((*fourier.shape, seated.layer.nodes_mm.shape[1], 3))
    return float(on_sections @ section_motion(seated.site, still, on_sections))


def _assert_balance(
    seated: Seated, state: ContactState, resultants: Sequence[Resultant], problem: Problem
) -> None:
    allowed = max(BALANCE, LOOSE_BALANCE * problem.tolerance)
    largest = max(resultants, key=lambda r: float(np.linalg.norm(r.six)))
    left = imbalance(seated.layer, state, resultants[-1], against=largest)
    if left > allowed:
        text = (
            f"{problem.stage}: the forces on the implant are out of balance by {left:.0e} of the load "
            f"(allowed: {allowed:.0e}); a smaller element_mm may help"
        )
        raise NotConverged(text, stage=problem.stage, residual_history=state.residuals)
