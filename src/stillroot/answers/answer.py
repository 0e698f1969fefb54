"""The answer to a case: what each load does to the seated implant, with its error."""

from __future__ import annotations

import math
import platform
import threading
from concurrent.futures import Future, wait
from functools import partial
from importlib.metadata import version
from typing import TYPE_CHECKING, TypeVar

from threadpoolctl import threadpool_limits

from stillroot.answers.chain import (
    Chain,
    Placed,
    meshed,
    placed_on,
    resultant_of,
    site_of,
)
from stillroot.answers.levels import (
    OF_THE_ERROR,
    Bench,
    found_but_for_its_error,
    least_error,
    refined,
    solved_on,
)
from stillroot.answers.result import CheckResult, DirectionsResult, LoadAnswer
from stillroot.answers.summary import summary_of
from stillroot.answers.wording import band_of
from stillroot.errors import CaseError, NotConverged
from stillroot.mechanics.accuracy import COARSE, FINE, errors_of
from stillroot.mechanics.balance import imbalance
from stillroot.mechanics.six_directions import SixDirections, six_directions
from stillroot.mechanics.strain import BoneStrain, bone_strains
from stillroot.mechanics.torque import share_over_crush

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from stillroot.answers.levels import Solved
    from stillroot.inputs.case import Case
    from stillroot.mechanics.motion import Reading

T = TypeVar("T")

HIGHEST_MM = 50.0
"""Highest reference point of the six directions: well above any abutment with its crown."""
MOST_EXACT = 1e-3
"""Smallest tolerance that may be requested; the solver's own leaves no room for a finer one."""
REPORTED_VERSIONS = ("stillroot", "numpy", "scipy", "scikit-fem", "gmsh")


def check(
    case: Case,
    *,
    tolerance: float | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> CheckResult:
    """Answer a case: peak micromotion under each load, with its error, against the bands.

    With a `tolerance`, the case's numerics are refined until the error of every peak is at most that
    share of it. `progress` is called with the name of each stage.

    Raises
    ------
    MeshError
        The outline cannot be meshed.
    EnvironmentProblem
        gmsh cannot be loaded and no stored mesh fits the case.
    NotConverged
        A stage finds no equilibrium, or the tolerance is out of reach.
    """
    if tolerance is not None and not MOST_EXACT <= tolerance < 1:
        msg = f"tolerance {tolerance:g}: must be from {MOST_EXACT:g} to less than 1"
        raise CaseError(msg, key="tolerance")
    result = _checked(case, progress)
    while tolerance is not None and result.relative_error > tolerance:
        finer = refined(result.case.numerics, result.relative_parts, tolerance)
        if not finer:
            text = (
                f"the error is still {result.relative_error:.2g} of the peak at the finest numerics; a "
                f"tolerance of {tolerance:.2g} is out of reach for this case"
            )
            raise NotConverged(text, stage="refinement")
        told = ", ".join(f"{key} {value:g}" for key, value in finer.items())
        reached = f"error {result.relative_error:.1%}, refining to {told}"
        result = _checked(result.case.with_numerics(**finer), _prefixed(progress, reached))
    return result


def _checked(case: Case, progress: Callable[[str], None]) -> CheckResult:
    progress("meshing")
    section = meshed(case)
    found = None
    with threadpool_limits(1):  # two threads share the cores; and sums then have one order
        try:
            if case.interface.measured_torque_ncm is None:
                found = beside(partial(_for_the_error, case, case.interface.interference_um))
            progress("assembling, condensing and seating")
            placed = placed_on(site_of(case, section), case)
            found = found or beside(partial(_for_the_error, case, placed.interference_um))
            fine = solved_on(placed, progress=progress)
        except Exception:
            if found is not None:
                wait([found])  # only one mesh is made at a time
            raise
        progress("estimating the error")
        others, strains = found.result()
    answers = answers_of(fine, others, strains)
    return CheckResult(
        case=case,
        section=section,
        seated=placed.seated,
        interference_um=placed.interference_um,
        torque=placed.torque,
        loads=answers,
        summary=summary_of(case, answers),
        versions=versions(),
    )


def _for_the_error(
    case: Case, interference_um: float
) -> tuple[dict[str, tuple[Reading, ...]], tuple[BoneStrain, ...]]:
    """Return the readings on each level of the error, and the strains of the bone on the coarse one."""
    bench = Bench()
    with found_but_for_its_error(case):
        solved = {level: bench.solved(case, level, interference_um) for level in OF_THE_ERROR}
    coarse = solved[COARSE]
    strains = bone_strains(coarse.placed.seated, coarse.states, case.bone.crush_strain)
    return {level: at.readings for level, at in solved.items()}, strains


def beside(work: Callable[[], T]) -> Future[T]:
    """Do some work in a thread of its own, which does not keep the process alive."""
    future: Future[T] = Future()

    def run() -> None:
        try:
            future.set_result(work())
        except BaseException as error:  # raised where the result is asked for
            future.set_exception(error)

    threading.Thread(target=run, daemon=True).start()
    return future


def answers_of(
    fine: Solved, others: Mapping[str, Sequence[Reading]], strains: Sequence[BoneStrain]
) -> tuple[LoadAnswer, ...]:
    """Combine the solution of each load with its errors to an answer.

    `others` has the readings of each load on the levels `OF_THE_ERROR`.
    """
    case, seated = fine.placed.case, fine.placed.seated
    answers = []
    for k, (item, state) in enumerate(zip(case.loads, fine.states, strict=True)):
        resultant, reading = resultant_of(item), fine.readings[k]
        readings = {FINE: reading, **{level: others[level][k] for level in OF_THE_ERROR}}
        error, head_error = errors_of(readings, least_error(case))
        answers.append(
            LoadAnswer(
                name=item.name,
                resultant=resultant,
                state=state,
                micromotion=reading.motion,
                head=reading.head,
                error=error,
                head_error=head_error,
                band=band_of(reading.motion.peak.total_um, case.threshold.bands_um),
                balance=imbalance(seated.layer, state, resultant),
                steps=state.steps - seated.state.steps,
                share_over_crush=share_over_crush(seated, state),
                bone_strain=strains[k],
            )
        )
    return tuple(answers)


def _prefixed(progress: Callable[[str], None], before: str) -> Callable[[str], None]:
    return lambda what: progress(f"{before}: {what}")


def directions(
    case: Case, *, height_mm: float = 0.0, progress: Callable[[str], None] = lambda _: None
) -> DirectionsResult:
    """Answer a case: how its implant moves in all six directions, at a height above the crest.

    Raises
    ------
    CaseError
        The height does not lie on the implant, its abutment or their continuation upwards.
    MeshError, EnvironmentProblem, NotConverged
        As `check` does.
    """
    deepest = -case.implant.length_mm
    if not (math.isfinite(height_mm) and deepest <= height_mm <= HIGHEST_MM):
        msg = (
            f"--at-height {height_mm:g}: must be a height above the crest from {deepest:g} mm (the end "
            f"of the implant) to {HIGHEST_MM:g} mm"
        )
        raise CaseError(msg, key="--at-height")
    progress("meshing, assembling, condensing and seating")
    placed = Chain().placed(case)
    return DirectionsResult(
        case=case,
        six=six_directions_of(placed, height_mm=height_mm, progress=progress),
        torque=placed.torque,
        interference_um=placed.interference_um,
        versions=versions(),
    )


def six_directions_of(
    placed: Placed, *, height_mm: float = 0.0, progress: Callable[[str], None] = lambda _: None
) -> SixDirections:
    """Return how a placed implant moves in all six directions, at a height above the crest."""
    return six_directions(
        placed.seated,
        little_um=placed.case.threshold.bands_um[0],
        steps=placed.case.numerics.load_steps,
        height_mm=height_mm,
        progress=progress,
    )


def versions() -> dict[str, str]:
    """Return the versions of the libraries that a number depends on."""
    return {"python": platform.python_version(), **{n: version(n) for n in REPORTED_VERSIONS}}
