"""The chain: case → outline → mesh → site → seat → loads → motion → summary."""

from __future__ import annotations

import math
import platform
import re
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.metadata import version
from typing import TYPE_CHECKING

from stillroot.answers.summary import Summary, band_of, summary_of, with_error
from stillroot.errors import CaseError, MeshError, NotConverged
from stillroot.mechanics.accuracy import (
    COARSER,
    LOOSE,
    SHARES,
    CoarserReadings,
    CoarseSeats,
    ErrorEstimate,
    Reading,
    coarse_cases,
    coarser_readings,
    errors_of,
    read,
    refined,
)
from stillroot.mechanics.groundwork import groundwork, with_far_support
from stillroot.mechanics.loading import Resultant, Seated, load, seat
from stillroot.mechanics.motion import HeadMovement, Micromotion, Peak, imbalance
from stillroot.mechanics.outline import outline_of
from stillroot.mechanics.site import prepare, site_on
from stillroot.mechanics.six_directions import SixDirections, six_directions
from stillroot.mechanics.stored import half_section
from stillroot.mechanics.strain import BoneStrain, bone_strains
from stillroot.mechanics.torque import Torque, interference_for_torque_um, share_over_crush, torque_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from stillroot.inputs.case import Case, Load
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.groundwork import Each, Groundwork
    from stillroot.mechanics.mesh import HalfSection
    from stillroot.mechanics.site import Site

HIGHEST_MM = 50.0
"""Highest reference point of the six directions: well above any abutment with its crown."""
MOST_EXACT = 1e-3
"""Smallest tolerance that may be requested; the solver's own leaves no room for a finer one."""
REPORTED_VERSIONS = ("stillroot", "numpy", "scipy", "scikit-fem", "gmsh")


@dataclass(frozen=True, kw_only=True)
class LoadAnswer:
    """What one load does to the seated implant.

    `share_over_crush` is the share of the held surface whose pressure under the load exceeds what bone
    is assumed to bear (`bone.crush_strain`); the model does not limit it there. `balance` is the
    imbalance of interface forces and load in their six components, see `imbalance`.
    """

    name: str
    resultant: Resultant
    state: ContactState
    micromotion: Micromotion
    head: HeadMovement
    error: ErrorEstimate
    head_error: ErrorEstimate
    band: str
    balance: float
    steps: int
    share_over_crush: float
    bone_strain: BoneStrain

    @property
    def peak(self) -> Peak:
        """The largest micromotion and its place."""
        return self.micromotion.peak


@dataclass(frozen=True, kw_only=True)
class CheckResult:
    """The answer to one case. Arrays are described in `Micromotion` and `ContactState`."""

    case: Case
    section: HalfSection
    seated: Seated
    interference_um: float
    torque: Torque | None
    loads: tuple[LoadAnswer, ...]
    summary: Summary
    versions: dict[str, str]

    @property
    def engagement_length_mm(self) -> float:
        """Total length of the holds."""
        return self.case.engagement_length_mm

    @property
    def engaged_threads(self) -> float | None:
        """Threaded length of the holds over the pitch; None without a thread of known pitch."""
        return self.case.engaged_threads

    @property
    def relative_error(self) -> float:
        """The largest numerical error of a peak, relative to it."""
        return max(a.error.total_um / a.peak.total_um for a in self.loads)

    @property
    def relative_parts(self) -> dict[str, float]:
        """The largest value of each part of the error over the loads, relative to the peak, by name."""
        return {
            part: max(a.error.parts_um[part] / a.peak.total_um for a in self.loads) for part in SHARES
        }

    @property
    def load_slugs(self) -> tuple[str, ...]:
        """A name for the files of each load: its number, and its name reduced to plain letters."""
        words = (re.sub(r"[^a-z0-9]+", "-", a.name.lower()).strip("-") for a in self.loads)
        return tuple(f"{i}-{word[:40]}".rstrip("-") for i, word in enumerate(words, start=1))

    @property
    def governing(self) -> LoadAnswer:
        """The load with the largest peak."""
        return max(self.loads, key=lambda answer: answer.peak.total_um)

    def __repr__(self) -> str:
        """Return what a reader of a notebook wants first."""
        lines = [f"{self.case.title}: {self.summary.sentence}"]
        lines += [
            f"  {a.name}: {with_error(a.peak.total_um, a.error.total_um)} µm, "
            f"head movement {a.head.total_um:.0f} µm"
            for a in self.loads
        ]
        return "\n".join(lines)


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
    section = half_section(outline_of(case), case.numerics.element_mm)
    progress("assembling and condensing")
    site = prepare(case, section, case.numerics.harmonics)
    progress("seating")
    interference = stated_or_found_interference_um(site)
    seated = seat(site, site.layer(interference_um=interference))
    loaded = load_all(case, seated, progress)
    progress("estimating the error")
    coarser = load_all_coarser(case, lambda: coarse_seats(case, interference))
    answers = answers_of(case, seated, loaded, coarser)
    return CheckResult(
        case=case,
        section=section,
        seated=seated,
        interference_um=interference,
        torque=torque_of(seated),
        loads=answers,
        summary=summary_of(case, answers),
        versions=versions(),
    )


@dataclass(frozen=True, kw_only=True)
class Loaded:
    """The state under each load of a case, and the motions computed from it."""

    states: tuple[ContactState, ...]
    readings: tuple[Reading, ...]


@dataclass(frozen=True, kw_only=True)
class LoadedCoarser:
    """Readings of each load on the coarser seats, and the strains there; `case` is the coarse one."""

    case: Case
    readings: tuple[CoarserReadings, ...]
    strains: tuple[BoneStrain, ...]


def load_all(case: Case, seated: Seated, progress: Callable[[str], None] = lambda _: None) -> Loaded:
    """Apply each load of a case to its seated implant."""
    states, readings = [], []
    for name, resultant in _named_loads(case):
        progress(name)
        states.append(load(seated, [resultant], name=name))
        readings.append(read(seated, states[-1], resultant))
    return Loaded(states=tuple(states), readings=tuple(readings))


@dataclass(frozen=True, kw_only=True)
class LoadedCoarse:
    """The state under each load on the coarse seat, and all seats of the error estimate."""

    seats: CoarseSeats
    states: tuple[ContactState, ...]


def load_coarse(case: Case, seats_of: Callable[[], CoarseSeats]) -> LoadedCoarse:
    """Apply each load of a case to the coarse seat; `seats_of` makes it and the others."""
    with _found_but_for_its_error(case):
        seats = seats_of()
        states = [
            load(seats.coarse, [resultant], name=f"{name} (its error: coarser mesh)", tolerance=LOOSE)
            for name, resultant in _named_loads(case)
        ]
    return LoadedCoarse(seats=seats, states=tuple(states))


def read_coarser(case: Case, coarse: LoadedCoarse) -> tuple[CoarserReadings, ...]:
    """Apply each load to the other seats, and return the readings that errors are computed from."""
    with _found_but_for_its_error(case):
        return tuple(
            coarser_readings(coarse.seats, name, resultant, state)
            for (name, resultant), state in zip(_named_loads(case), coarse.states, strict=True)
        )


def load_all_coarser(case: Case, seats_of: Callable[[], CoarseSeats]) -> LoadedCoarser:
    """Apply each load of a case to the seats of its error estimate, made by `seats_of`."""
    coarse = load_coarse(case, seats_of)
    return LoadedCoarser(
        case=coarse.seats.coarse.site.case,
        readings=read_coarser(case, coarse),
        strains=bone_strains(coarse.seats.coarse, coarse.states),
    )


def answers_of(
    case: Case, seated: Seated, loaded: Loaded, coarser: LoadedCoarser
) -> tuple[LoadAnswer, ...]:
    """Combine the solution of each load with its errors to an answer."""
    answers = []
    for item, state, reading, four, strain in zip(
        case.loads, loaded.states, loaded.readings, coarser.readings, coarser.strains, strict=True
    ):
        resultant = resultant_of(item)
        error, head_error = errors_of(
            coarser.case, reading, four.coarse, four.truncated, four.stepped, four.farther
        )
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
                bone_strain=strain,
            )
        )
    return tuple(answers)


def _named_loads(case: Case) -> list[tuple[str, Resultant]]:
    return [(f'load "{item.name}"', resultant_of(item)) for item in case.loads]


@contextmanager
def _found_but_for_its_error(case: Case) -> Iterator[None]:
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


def _prefixed(progress: Callable[[str], None], before: str) -> Callable[[str], None]:
    return lambda what: progress(f"{before}: {what}")


def coarse_seats(case: Case, interference_um: float) -> CoarseSeats:
    """Seat the implant on the coarser models of the error estimate."""

    def seated(ground: Groundwork, case: Case) -> Seated:
        site = site_on(ground, case)
        return seat(site, site.layer(interference_um=interference_um))

    coarse_case, far_case = coarse_cases(case)
    ground = prepared_groundwork(coarse_case)
    coarse, fewer, far = seated(ground, coarse_case), far_case.numerics.harmonics, None
    if not case.is_whole_block:
        far = seated(with_far_support(ground, coarse_case, far_case, fewer), far_case)
    return CoarseSeats(coarse=coarse, fewer=coarse.with_highest(fewer), far=far)


@dataclass(frozen=True, kw_only=True)
class DirectionsResult:
    """A case, its six directions, and its insertion torque; `torque` is None where it is glued."""

    case: Case
    six: SixDirections
    torque: Torque | None
    interference_um: float
    versions: dict[str, str]


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
    progress("meshing, assembling and condensing")
    site = prepared_site(case)
    progress("seating")
    interference = stated_or_found_interference_um(site)
    seated = seat(site, site.layer(interference_um=interference))
    return DirectionsResult(
        case=case,
        six=six_directions(seated, height_mm=height_mm, progress=progress),
        torque=torque_of(seated),
        interference_um=interference,
        versions=versions(),
    )


def stated_or_found_interference_um(site: Site) -> float:
    """Return the interference [µm] of a case, computed from the measured torque where that is given."""
    face = site.case.interface
    if face.measured_torque_ncm is None:
        return face.interference_um
    return interference_for_torque_um(site)


def resultant_of(item: Load) -> Resultant:
    """Return the load of a case as forces at a height."""
    axial, lateral, torque = item.components
    return Resultant(axial_n=axial, lateral_n=lateral, torque_nmm=torque, height_mm=item.height_mm)


def versions() -> dict[str, str]:
    """Return the versions of the libraries that a number depends on."""
    return {"python": platform.python_version(), **{n: version(n) for n in REPORTED_VERSIONS}}


def prepared_groundwork(case: Case, *, for_any_moduli: bool = False, each: Each = map) -> Groundwork:
    """Mesh a case and condense it, see `groundwork`."""
    section = half_section(outline_of(case), case.numerics.element_mm)
    highest = case.numerics.harmonics
    return groundwork(case, section, highest, for_any_moduli=for_any_moduli, each=each)


def prepared_site(case: Case) -> Site:
    """Mesh and condense a case, to be seated and loaded by hand or by a study."""
    return site_on(prepared_groundwork(case), case)
