"""The answer to a case: what each load does to the seated implant, with its error."""

from __future__ import annotations

import math
import platform
import threading
from concurrent.futures import Future, wait
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from threadpoolctl import threadpool_limits

from stillroot.answers.chain import (
    Chain,
    Placed,
    loads_of,
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
from stillroot.answers.result import CheckResult, Curve, Cycle, DirectionsResult, LoadAnswer
from stillroot.answers.summary import summary_of
from stillroot.answers.wording import band_of
from stillroot.errors import CaseError, GivesWay, NotConverged
from stillroot.inputs.vary import with_keys
from stillroot.mechanics.accuracy import COARSE, FINE, STEPPED, ErrorEstimate, errors_of
from stillroot.mechanics.balance import imbalance
from stillroot.mechanics.six_directions import GIVES_WAY, SixDirections, six_directions
from stillroot.mechanics.strain import BoneStrain, bone_strains
from stillroot.mechanics.torque import share_crushed

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from stillroot.answers.levels import Solved
    from stillroot.inputs.case import Case
    from stillroot.mechanics.loading import Loading
    from stillroot.mechanics.motion import Reading
    from stillroot.mechanics.resultant import Resultant

T = TypeVar("T")

HIGHEST_MM = 50.0
"""Highest reference point of the six directions: well above any abutment with its crown."""
MOST_EXACT = 1e-3
"""Smallest tolerance that may be requested; the solver's own leaves no room for a finer one."""
REPORTED_VERSIONS = ("stillroot", "numpy", "scipy", "scikit-fem", "gmsh")
NO_ERROR = ErrorEstimate(mesh_um=0.0, harmonics_um=0.0, steps_um=0.0, far_um=0.0)
"""Of a load under which the implant gives way: there is no number that could have one."""


@dataclass(frozen=True, kw_only=True)
class Beside:
    """What is found beside an answer, for each of its loads.

    `found`: the motions on each level of the error, or that the implant gives way there; `strains` of
    the bone; `curves`: the motions as the load grows, and those of linear bone where the case has none.
    """

    found: Mapping[str, Sequence[Reading | GivesWay]]
    strains: Sequence[BoneStrain]
    curves: Sequence[tuple[Curve, ...]] = ()


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
        others = found.result()
    answers = answers_of(fine, others)
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


def _for_the_error(case: Case, interference_um: float) -> Beside:
    """Return what is found on the levels of the error, and on the way to each load."""
    bench, found, curves = Bench(), {}, []
    strains: tuple[BoneStrain, ...] = ()
    for level in OF_THE_ERROR:  # only what is read off each is kept: sites are large
        with found_but_for_its_error(case):
            solved = bench.solved(case, level, interference_um)
        found[level] = solved.found
        if level == COARSE:
            strains = bone_strains(solved.placed.seated, solved.states, case.bone.crush_strain)
        if level == STEPPED:
            curves.append(curves_of(solved))
            if case.bone.law != "linear":
                linear = with_keys(case, {"bone.law": "linear"})
                curves.append(curves_of(bench.solved(linear, STEPPED, interference_um)))
    return Beside(found=found, strains=strains, curves=tuple(zip(*curves, strict=True)))


def curves_of(solved: Solved) -> tuple[Curve, ...]:
    """Return the motions on the way to each load."""
    placed, curves = solved.placed, []
    for loading, (_, resultant) in zip(solved.loadings, loads_of(placed.case), strict=True):
        ways = [way for way in loading.states if way.leg == 0]
        readings = [placed.read(way.state, resultant.scaled(way.share)) for way in ways]
        curves.append(
            Curve(
                shares=np.array([way.share for way in ways]),
                peak_um=np.array([reading.motion.peak.total_um for reading in readings]),
                head_um=np.array([reading.head.total_um for reading in readings]),
            )
        )
    return tuple(curves)


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


def answers_of(fine: Solved, others: Beside) -> tuple[LoadAnswer, ...]:
    """Combine the solution of each load with its errors to an answer.

    Raises
    ------
    NotConverged
        The implant bears a load, but not on one of the levels that its error is computed from.
    """
    return tuple(_answer_of(fine, others, place) for place in range(len(fine.loadings)))


def _answer_of(fine: Solved, others: Beside, k: int) -> LoadAnswer:
    case, seated = fine.placed.case, fine.placed.seated
    item, loading, state, reading = case.loads[k], fine.loadings[k], fine.states[k], fine.readings[k]
    resultant, given_way = resultant_of(item), loading.first_share
    error = head_error = NO_ERROR
    curves = others.curves[k] if others.curves else ()
    band = GIVES_WAY
    if given_way is None:
        band = band_of(reading.motion.peak.total_um, case.threshold.bands_um)
        error, head_error = _errors(case, reading, {name: at[k] for name, at in others.found.items()})
    elif curves:
        curves = (curves_of(fine)[k], *curves[1:])
    return LoadAnswer(
        name=item.name,
        resultant=resultant,
        state=state,
        micromotion=reading.motion,
        head=reading.head,
        error=error,
        head_error=head_error,
        band=band,
        balance=imbalance(seated.layer, state, loading.reached(resultant)),
        steps=state.steps - seated.state.steps,
        share_over_crush=share_crushed(seated, state),
        bone_strain=others.strains[k],
        gives_way_at=given_way,
        cycles=_cycles(fine.placed, loading, resultant),
        curves=curves,
    )


def _errors(
    case: Case, reading: Reading, found: Mapping[str, Reading | GivesWay]
) -> tuple[ErrorEstimate, ErrorEstimate]:
    readings = {FINE: reading}
    with found_but_for_its_error(case):
        for level, other in found.items():
            if isinstance(other, GivesWay):
                raise other
            readings[level] = other
    return errors_of(readings, least_error(case))


def _cycles(placed: Placed, loading: Loading, resultant: Resultant) -> tuple[Cycle, ...]:
    """Return the motions each time the load is on, and once it is off again."""
    legs = max(way.leg for way in loading.states) + 1
    if loading.gives_way_at is not None:
        legs -= 1
    cycles = []
    for on in range(0, legs - 1, 2):
        loaded = placed.read(loading.end_of(on), resultant)
        left = placed.read(loading.end_of(on + 1), resultant.scaled(0.0))
        cycles.append(
            Cycle(
                peak_um=loaded.motion.peak.total_um,
                head_um=loaded.head.total_um,
                remaining_peak_um=left.motion.peak.total_um,
                remaining_head_um=left.head.total_um,
            )
        )
    return tuple(cycles)


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
