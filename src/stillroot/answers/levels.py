"""The levels on which a case is solved: the answer's own, and those that its error is computed from.

A level is the case with other numerics, seated on a mesh of its own or on one that it shares. Levels
know nothing of each other's answers, so they may be solved side by side.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from stillroot.answers.chain import Chain, Placed, loads_of, solids_of
from stillroot.errors import GivesWay, MeshError, NotConverged
from stillroot.mechanics.accuracy import (
    COARSE,
    COARSER,
    FAR,
    FARTHER,
    FEWER,
    FEWER_HARMONICS,
    FINE,
    MORE_STEPS,
    STEPPED,
    least_mesh_error,
)
from stillroot.mechanics.contact import TOLERANCE
from stillroot.mechanics.groundwork import with_far_support

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from stillroot.inputs.case import Case, Numerics
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.groundwork import Groundwork
    from stillroot.mechanics.loading import Loading
    from stillroot.mechanics.motion import Reading
    from stillroot.mechanics.seat import Seated

LOOSE = 1e-5
"""Tolerance of the coarse solves: far below the errors that they measure."""
SHARES = {"mesh": 0.7, "harmonics": 0.1, "steps": 0.1, "far": 0.1}
"""How an allowed error is divided among its parts."""
FINEST_MM, MOST_HARMONICS, MOST_STEPS, FARTHEST_MM = 0.03, 32, 256, 1000.0
"""Limits of refinement: beyond them memory and rounding leave no room."""
FIRST, FIRST_FEWER = "first", "first fewer"
"""The levels of a first answer: one coarse solve, and the change of its peak in fewer harmonics."""
ROUGH, STORED = "rough", "stored"
"""The levels of the ratios that a range is made of; the second on the mesh of the error estimate, which
is stored for shipped cases."""
QUICK = "quick"
"""The level of a quick full arch: tight enough for the force balance that every answer must meet."""


@dataclass(frozen=True, kw_only=True)
class Level:
    """How a solve differs from the answer's.

    Elements are `coarser` times as large and at least `least_mm`, harmonics `fewer` and at most
    `most_harmonics`, load steps `more_steps` times as many (`steps`: as many as that), the far support
    `farther` times as far. `words` tell it in messages.
    """

    words: str = ""
    coarser: float = 1.0
    least_mm: float = 0.0
    fewer: int = 0
    most_harmonics: int | None = None
    more_steps: int = 1
    steps: int | None = None
    farther: float = 1.0
    tolerance: float = LOOSE

    def numerics(self, of: Numerics) -> dict[str, float]:
        """Return the numerics that the level solves with."""
        harmonics = of.harmonics - self.fewer
        return {
            "element_mm": max(self.least_mm, self.coarser * of.element_mm),
            "harmonics": min(harmonics, self.most_harmonics or harmonics),
            "load_steps": self.steps or self.more_steps * of.load_steps,
            "far_mm": self.farther * of.far_mm,
        }


_TRUNCATED = Level(words="fewer harmonics", coarser=COARSER, fewer=FEWER_HARMONICS)
LEVELS = {
    FINE: Level(tolerance=TOLERANCE),
    COARSE: Level(words="coarser mesh", coarser=COARSER),
    FEWER: _TRUNCATED,
    STEPPED: replace(_TRUNCATED, words="more load steps", more_steps=MORE_STEPS),
    FAR: replace(_TRUNCATED, words="farther support", farther=FARTHER),
    FIRST: Level(least_mm=1.0, most_harmonics=3),
    FIRST_FEWER: Level(least_mm=1.0, most_harmonics=2),
    ROUGH: Level(least_mm=1.0, most_harmonics=3, steps=1),
    STORED: Level(coarser=COARSER, most_harmonics=3, steps=1),
    QUICK: replace(_TRUNCATED, words="", steps=1, tolerance=1e-6),
}
OF_THE_ERROR = (COARSE, FEWER, STEPPED, FAR)
"""The levels besides `FINE` that an error is computed from, in an order in which each finds its mesh."""
ON_THE_SEAT_OF = {FEWER: COARSE, STEPPED: COARSE, FIRST_FEWER: FIRST, QUICK: COARSE}
"""Levels that differ from another in harmonics and steps alone, and use its seat."""


def at_level(case: Case, level: str) -> Case:
    """Return a case with the numerics of a level."""
    return case.with_numerics(**LEVELS[level].numerics(case.numerics))


@dataclass(frozen=True, kw_only=True)
class Solved:
    """The states under each load of a case on one level, and the motions at the end of it.

    On the level of the answer each load is taken off again, as often as the case says.
    """

    placed: Placed
    loadings: tuple[Loading, ...]
    readings: tuple[Reading, ...]

    @property
    def states(self) -> tuple[ContactState, ...]:
        """The state under each load, the first time it is applied; where it gives way, the last one."""
        return tuple(loading.end_of(0) for loading in self.loadings)

    @property
    def found(self) -> tuple[Reading | GivesWay, ...]:
        """The motions under each load, or that the implant gives way under it."""
        return tuple(
            reading if loading.first_share is None else loading.failure()
            for loading, reading in zip(self.loadings, self.readings, strict=True)
        )


class Bench:
    """The seats of a case on its levels; those of the last case are kept for the next."""

    def __init__(self, fine: Chain | None = None, coarse: Chain | None = None) -> None:
        self._fine, self._coarse = fine or Chain(), coarse or Chain()
        self._fewer: tuple[Seated, Seated] | None = None
        self._far = Chain(partial(_far_ground, self._coarse))  # no cycle: sites are large

    def placed(self, case: Case, level: str, interference_um: float | None = None) -> Placed:
        """Return a case seated on a level.

        Raises
        ------
        CaseError, MeshError, EnvironmentProblem, NotConverged
            As `chain.meshed` and `chain.placed_on` do.
        """
        if level == FAR and case.is_whole_block:
            level = FEWER  # a stated block ends where it is stated to
        here = at_level(case, level)
        if level in ON_THE_SEAT_OF:
            placed = self.placed(case, ON_THE_SEAT_OF[level], interference_um)
            return replace(placed, case=here, seated=self._truncated(placed, here.numerics.harmonics))
        chain = {FINE: self._fine, FAR: self._far}.get(level, self._coarse)
        return chain.placed(here, interference_um=interference_um)

    def _truncated(self, placed: Placed, highest: int) -> Seated:
        """Return a seat in fewer harmonics, one for all levels that have it."""
        kept = self._fewer
        if kept is None or kept[0] is not placed.seated or kept[1].highest != highest:
            kept = self._fewer = placed.seated, placed.seated.with_highest(highest)
        return kept[1]

    def solved(
        self,
        case: Case,
        level: str,
        interference_um: float | None = None,
        *,
        progress: Callable[[str], None] = lambda _: None,
    ) -> Solved:
        """Apply each load of a case on a level."""
        return solved_on(self.placed(case, level, interference_um), level, progress=progress)


def solved_on(
    placed: Placed, level: str = FINE, *, progress: Callable[[str], None] = lambda _: None
) -> Solved:
    """Apply each load of a case that is placed on a level."""
    words, tolerance = LEVELS[level].words, LEVELS[level].tolerance
    loadings, readings = [], []
    for item, (name, resultant) in zip(placed.case.loads, loads_of(placed.case), strict=True):
        progress(name)
        told = f"{name} (its error: {words})" if words else name
        path = [resultant, resultant.scaled(0.0)] * item.cycles if level == FINE else [resultant]
        loadings.append(placed.path(told, path, tolerance=tolerance))
        readings.append(placed.read(loadings[-1].end_of(0), loadings[-1].reached(resultant)))
    return Solved(placed=placed, loadings=tuple(loadings), readings=tuple(readings))


def _far_ground(coarse: Chain, far: Case) -> Groundwork:
    numerics = far.numerics
    near = far.with_numerics(
        harmonics=numerics.harmonics + FEWER_HARMONICS, far_mm=numerics.far_mm / FARTHER
    )
    return with_far_support(coarse.ground(near), solids_of(far), numerics.harmonics)


def least_error(case: Case) -> float:
    """Return the smallest mesh error of a peak that the mesh of a case supports, relative to it."""
    return least_mesh_error(case.numerics.element_mm, case.implant.diameter_mm)


@contextmanager
def found_but_for_its_error(case: Case) -> Iterator[None]:
    """Add to a failure that the answer itself was found; without its error no number is reported."""
    coarse_mm = COARSER * case.numerics.element_mm
    told = (
        "the answer was found, but not its numerical error, and no answer is given without it. The load "
        "may be near the largest that finds an equilibrium; or another element_mm may help, a smaller "
        f"one first: the error is measured on elements of {coarse_mm:g} mm. What failed there: "
    )
    try:
        yield
    except NotConverged as error:
        text, history = f"{told}{error}", error.residual_history
        raise NotConverged(text, stage=error.stage, residual_history=history) from None
    except MeshError as error:
        text = f"{told}{error}"
        raise MeshError(text) from None


def refined(numerics: Numerics, relative: dict[str, float], tolerance: float) -> dict[str, float]:
    """Return the numerics to change, where a part of a relative error exceeds its share of a tolerance.

    `relative` maps the names of `SHARES` to the parts. Empty where nothing can be refined further.
    """
    finer = {
        "mesh": ("element_mm", max(numerics.element_mm / 2, FINEST_MM)),
        "harmonics": ("harmonics", min(numerics.harmonics + 4, MOST_HARMONICS)),
        "steps": ("load_steps", min(numerics.load_steps * 4, MOST_STEPS)),
        "far": ("far_mm", min(numerics.far_mm * 4, FARTHEST_MM)),
    }
    return {
        key: value
        for part, (key, value) in finer.items()
        if relative[part] > SHARES[part] * tolerance and value != getattr(numerics, key)
    }
