"""The lesson: over many sites, what does torque tell about motion, and what tells more?

A stated set of invented sites is drawn from stated ranges (Halton 1960, Numer Math 2:84-90, from memory;
scrambled, with a fixed seed), and each is solved under one common load. Then come rank correlations
with their intervals, pairs of sites that agree in one figure and not in the other, and three pairs
built to show why. Which predictor comes out ahead is computed, not presumed.

A site that finds no equilibrium under the load is an answer, "gives way", and ranks as the largest
motion. One that cannot be seated or meshed is none; it is kept with its reason and left out of the
ranks.

Nothing is drawn or written here.
"""

from __future__ import annotations

import math
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.stats import qmc, rankdata

from stillroot.answers.answer import check
from stillroot.answers.chain import Chain, loads_of
from stillroot.errors import EnvironmentProblem, MeshError, NotConverged
from stillroot.inputs.case import Case, Numerics
from stillroot.studies.running import DIED, in_processes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray

    from stillroot.answers.answer import CheckResult

LENGTH_MM = 10.0
PITCH_MM = 0.8
CORTICAL_MM = 1.0
CORTICAL_MPA = 13_700.0
FIXED = (
    ("implant", "10 mm long, titanium, V thread of 0.8 mm pitch and 0.35 mm depth: assumption"),
    (
        "cortical bone",
        (
            "1.0 mm thick (0.5 to 2.5 mm in Sugiura et al. 2016, PMC4928204) and 13 700 MPa "
            "(convention of finite-element studies, doi 10.1186/s13005-017-0139-z)"
        ),
    ),
    (
        "socket",
        "one hold; elsewhere an empty gap of 0.5 mm: assumption, that a fresh clot bears nothing yet",
    ),
    ("torn layer", "0.1 mm with a tenth of the bone's modulus: assumption"),
)
"""What all sites of the set share, with its source."""

COMMON_LOAD = {"name": "common load", "axial_n": 100.0, "lateral_n": 30.0, "height_mm": 8.5}
LOAD_IN_WORDS = "100 N pressing in with 30 N lateral, 8.5 mm above the crest"
LOAD_SOURCE = (
    "The choice is an assumption, inside 1.5 to 260 N vertical and 1.5 to 66 N horizontal, chewing on "
    "implants under an overdenture (Mericske-Stern et al. 1992, as tabulated in doi "
    "10.1186/s40729-022-00454-y). 8.5 mm: crown height of a premolar (dental anatomy handbooks, from "
    "memory)."
)

SEED = 20
SITES, SMALL_SITES = 128, 8
RESAMPLES = 2000
LEAST_RANKED = 6
"""Fewer sites than this have no correlation worth a number."""

ORDINARY_NCM = (10.0, 80.0)
"""Torques that are called ordinary: common practice, no source. Means of 33.6 (SD 14.7) and 46.3 (SD
18.5) N·cm lie inside (J Oral Implantol 2014 40:259)."""
PAIR_TOLERANCE = 0.05
"""Two figures are equal when they differ by no more than this share of the larger."""
PAIRS = 3
ERROR_SITES, SMALL_ERROR_SITES = 6, 2

COMPUTED, GAVE_WAY, NO_ANSWER = "computed", "gives way", "no answer"


@dataclass(frozen=True, kw_only=True)
class Range:
    """What a quantity of the set runs over; `even_in_log` means evenly in its logarithm."""

    key: str
    name: str
    unit: str
    low: float
    high: float
    even_in_log: bool
    digits: int
    source: str

    def at(self, share: float) -> float:
        """Return the value at a share, 0 to 1, of the range, rounded to `digits` decimals."""
        if self.even_in_log:
            return round(self.low * (self.high / self.low) ** share, self.digits)
        return round(self.low + (self.high - self.low) * share, self.digits)


RANGES = (
    Range(
        key="engaged_threads",
        name="engaged threads",
        unit="",
        low=2.0,
        high=12.0,
        even_in_log=False,
        digits=1,
        source="two threads to nearly the whole implant: common practice, no source",
    ),
    Range(
        key="trabecular_modulus_mpa",
        name="trabecular modulus",
        unit="MPa",
        low=30.0,
        high=900.0,
        even_in_log=True,
        digits=0,
        source="inside measured jaws: cores 6.9 to 199.5 MPa (doi 10.1155/2014/470539), seven cubes of "
        "one mandible 114 to 907 MPa on average by direction (O'Mahony et al. 2000, Clin Oral Implants "
        "Res 11:415-421); the lower end is an assumption",
    ),
    Range(
        key="interference_um",
        name="interference",
        unit="µm",
        low=1.0,
        high=40.0,
        even_in_log=True,
        digits=1,
        source="assumption, set before the sites were solved, so that torques reach from below 1 to "
        "above 100 N·cm",
    ),
    Range(
        key="diameter_mm",
        name="diameter",
        unit="mm",
        low=3.3,
        high=5.0,
        even_in_log=False,
        digits=2,
        source="inside the 3.0 to 5.0 mm of implants in use",
    ),
    Range(
        key="friction",
        name="friction",
        unit="",
        low=0.3,
        high=0.95,
        even_in_log=False,
        digits=2,
        source="0.37 to 0.95, cancellous bone on titanium textures (Abedi et al. 2025, PMC12644719); "
        "0.3, smooth (Huang et al. 2008, J Dent 36:409-417, from memory)",
    ),
    Range(
        key="place",
        name="place of the hold",
        unit="",
        low=0.0,
        high=1.0,
        even_in_log=False,
        digits=2,
        source="0 from the crest down, 1 at the tip: assumption",
    ),
)


@dataclass(frozen=True, kw_only=True)
class SitePoint:
    """One site of the set: a value in each of `RANGES`."""

    index: int
    engaged_threads: float
    trabecular_modulus_mpa: float
    interference_um: float
    diameter_mm: float
    friction: float
    place: float

    @property
    def hold_mm(self) -> tuple[float, float]:
        """(top, bottom) of the hold below the crest."""
        length = PITCH_MM * self.engaged_threads
        top = round(self.place * (LENGTH_MM - length), 2)
        return top, min(round(top + length, 2), LENGTH_MM)

    @property
    def engagement_length_mm(self) -> float:
        """Length of the hold."""
        top, bottom = self.hold_mm
        return bottom - top

    @property
    def cortical_hold_mm(self) -> float:
        """How much of the hold lies in cortical bone."""
        top, bottom = self.hold_mm
        return max(0.0, min(bottom, CORTICAL_MM) - top)

    @property
    def length_times_trabecular_n_mm(self) -> float:
        """Engagement length times trabecular modulus [N/mm]."""
        return self.engagement_length_mm * self.trabecular_modulus_mpa

    @property
    def length_times_modulus_n_mm(self) -> float:
        """The modulus beside the hold summed over its length [N/mm], cortical bone included."""
        rim = self.cortical_hold_mm
        return rim * CORTICAL_MPA + (self.engagement_length_mm - rim) * self.trabecular_modulus_mpa


@dataclass(frozen=True, kw_only=True)
class Grain:
    """How finely a site is solved."""

    element_mm: float
    harmonics: int
    steps: int = Numerics().load_steps


CLOUD, SMALL_CLOUD = Grain(element_mm=0.35, harmonics=6), Grain(element_mm=0.6, harmonics=3)
NAMED, SMALL_NAMED = Grain(element_mm=0.25, harmonics=6), Grain(element_mm=0.6, harmonics=3)
FINE = Grain(element_mm=0.12, harmonics=9, steps=8)
SMALL_FINE = Grain(element_mm=0.3, harmonics=4, steps=4)
"""What the set is solved with; what is drawn (in the full set, the tool's defaults); and what a few
sites are solved again with, to measure the set's error. Threads fix their own edges, so a grain not much
finer than the set's would hardly change the mesh."""


@dataclass(frozen=True, kw_only=True)
class SiteAnswer:
    """What came of one site under the common load. Figures are None where there are none."""

    point: SitePoint
    outcome: str
    reason: str = ""
    insertion_torque_ncm: float | None = None
    share_crushed: float | None = None
    peak_micromotion_um: float | None = None
    peak_depth_mm: float | None = None
    mean_micromotion_um: float | None = None
    p95_micromotion_um: float | None = None
    head_movement_um: float | None = None

    @property
    def ranked_um(self) -> float:
        """The peak, for ranks: infinite where the site gives way."""
        return math.inf if self.peak_micromotion_um is None else self.peak_micromotion_um


def site_points(count: int) -> tuple[SitePoint, ...]:
    """Return the first `count` sites of the set; a longer set begins with the shorter one."""
    sampler = qmc.Halton(len(RANGES), scramble=True, rng=np.random.default_rng(SEED))
    return tuple(
        SitePoint(
            index=index,
            **{r.key: r.at(share) for r, share in zip(RANGES, map(float, row), strict=True)},
        )
        for index, row in enumerate(sampler.random(count), start=1)
    )


def case_of(point: SitePoint, grain: Grain) -> Case:
    """Return the case of a site."""
    return _case(
        f"site {point.index} of the lesson",
        grain,
        diameter_mm=point.diameter_mm,
        trabecular_modulus_mpa=point.trabecular_modulus_mpa,
        hold_mm=point.hold_mm,
        friction=point.friction,
        interference_um=point.interference_um,
    )


def solve_site(point: SitePoint, grain: Grain) -> SiteAnswer:
    """Mesh, seat and load one site; without an error estimate."""
    return SiteAnswer(point=point, **_solved(case_of(point, grain)))


def _solved(case: Case) -> dict[str, Any]:
    """Return the outcome and the figures of `SiteAnswer` for a case under its only load."""
    try:
        placed = Chain().placed(case)
    except (MeshError, NotConverged) as error:
        return {"outcome": NO_ANSWER, "reason": str(error)}
    torque = placed.torque
    if torque is None:
        msg = "a site of the lesson is frictional"
        raise AssertionError(msg)
    turned = {"insertion_torque_ncm": torque.insertion_ncm, "share_crushed": torque.share_crushed}
    ((_, resultant),) = loads_of(case)
    try:
        found = placed.read(placed.loaded("common load", resultant), resultant)
    except NotConverged as error:
        return {"outcome": GAVE_WAY, "reason": str(error), **turned}
    motion = found.motion
    return {
        "outcome": COMPUTED,
        **turned,
        "peak_micromotion_um": motion.peak.total_um,
        "peak_depth_mm": round(motion.peak.depth_mm, 6) + 0.0,
        "mean_micromotion_um": motion.mean_um,
        "p95_micromotion_um": motion.percentile_um(95),
        "head_movement_um": found.head.total_um,
    }


# --- Running ------------------------------------------------------------------------------------------


def solved(points: Sequence[SitePoint], grain: Grain, workers: int) -> Iterator[SiteAnswer]:
    """Yield the answer of each site as it is finished, in any order.

    Raises
    ------
    EnvironmentProblem
        The process of a site ended again and again, or gmsh cannot be loaded.
    """
    with closing(in_processes(partial(_solved_alone, grain=grain), points, workers)) as finished:
        for _, answer in finished:
            if answer is None:
                msg = f"a site has no answer: {DIED}"
                raise EnvironmentProblem(msg)
            yield answer


def _solved_alone(point: SitePoint, *, grain: Grain) -> SiteAnswer:
    """Solve a site in one thread: the workers fill the machine already."""
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - beside its only use

    with threadpool_limits(1):
        return solve_site(point, grain)


# --- What predicts motion -----------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Predictor:
    """A figure known before loading, set against the peak micromotion."""

    key: str
    name: str
    unit: str
    of: Callable[[SiteAnswer], float]


def _torque(answer: SiteAnswer) -> float:
    return math.nan if answer.insertion_torque_ncm is None else answer.insertion_torque_ncm


TORQUE = Predictor(key="torque", name="insertion torque", unit="N·cm", of=_torque)
PREDICTORS = (
    TORQUE,
    Predictor(key="threads", name="engaged threads", unit="", of=lambda a: a.point.engaged_threads),
    Predictor(
        key="length_trabecular",
        name="engagement length × trabecular modulus",
        unit="N/mm",
        of=lambda a: a.point.length_times_trabecular_n_mm,
    ),
    Predictor(
        key="length_modulus",
        name="engagement length × modulus along it, cortical included",
        unit="N/mm",
        of=lambda a: a.point.length_times_modulus_n_mm,
    ),
)


@dataclass(frozen=True, kw_only=True)
class Correlation:
    """Spearman's rank correlation of a predictor with the peak, and its 95 % interval.

    `ahead` is the interval of how much larger its size |ρ| is than that of insertion torque, on the same
    resampled sites; None for torque itself.
    """

    predictor: Predictor
    rho: float
    low: float
    high: float
    ahead: tuple[float, float] | None


@dataclass(frozen=True, kw_only=True)
class Group:
    """Sites that are ranked together; `correlations` is empty where they are too few."""

    name: str
    count: int
    gave_way: int
    correlations: tuple[Correlation, ...]


GROUPS: tuple[tuple[str, Callable[[SiteAnswer], bool]], ...] = (
    ("all sites", lambda _: True),
    (
        f"torque {ORDINARY_NCM[0]:g} to {ORDINARY_NCM[1]:g} N·cm",
        lambda a: ORDINARY_NCM[0] <= _torque(a) <= ORDINARY_NCM[1],
    ),
    ("hold reaches the cortical bone", lambda a: a.point.cortical_hold_mm > 0),
    ("hold in trabecular bone only", lambda a: a.point.cortical_hold_mm == 0),
)


def ranked(answers: Sequence[SiteAnswer]) -> tuple[SiteAnswer, ...]:
    """Return the sites that have a rank: computed, or giving way."""
    return tuple(a for a in answers if a.outcome != NO_ANSWER)


def group_of(name: str, answers: Sequence[SiteAnswer]) -> Group:
    """Rank sites together."""
    usable = ranked(answers)
    return Group(
        name=name,
        count=len(usable),
        gave_way=sum(a.outcome == GAVE_WAY for a in usable),
        correlations=correlations(usable) if len(usable) >= LEAST_RANKED else (),
    )


def correlations(answers: Sequence[SiteAnswer]) -> tuple[Correlation, ...]:
    """Return the rank correlation of each predictor with the peak.

    The interval is the 95 % percentile interval of a bootstrap over the sites. It says how well so many
    sites fix the figure for these ranges; it says nothing about patients.
    """
    motion = np.array([a.ranked_um for a in answers])
    values = np.array([[p.of(a) for a in answers] for p in PREDICTORS])
    drawn = np.random.default_rng(SEED).integers(0, len(motion), (RESAMPLES, len(motion)))
    again = np.array([spearman(v[drawn], motion[drawn]) for v in values])
    rhos = spearman(values, np.broadcast_to(motion, values.shape))
    torque = PREDICTORS.index(TORQUE)
    found = []
    for i, (predictor, rho, sample) in enumerate(zip(PREDICTORS, rhos, again, strict=True)):
        low, high = _middle_95(sample)
        ahead = None if i == torque else _middle_95(np.abs(sample) - np.abs(again[torque]))
        found.append(Correlation(predictor=predictor, rho=float(rho), low=low, high=high, ahead=ahead))
    return tuple(found)


def spearman(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return Spearman's rank correlation along the last axis; 0 where a row does not vary."""
    a, b = (rankdata(v, axis=-1) for v in (x, y))
    a, b = (v - v.mean(axis=-1, keepdims=True) for v in (a, b))
    size = np.sqrt(np.sum(a**2, axis=-1) * np.sum(b**2, axis=-1))
    return np.sum(a * b, axis=-1) / np.where(size == 0, 1.0, size)


def _middle_95(sample: NDArray[np.float64]) -> tuple[float, float]:
    low, high = np.percentile(sample, [2.5, 97.5])
    return float(low), float(high)


# --- Pairs --------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Pair:
    """Two sites, the one that moves less (or reads less torque) first; `factor` between them."""

    first: SiteAnswer
    second: SiteAnswer
    factor: float


def equal_torque_pairs(answers: Sequence[SiteAnswer]) -> tuple[Pair, ...]:
    """Return pairs of equal, ordinary torque that move most differently, no site twice."""
    return _pairs(answers, same=_torque, differs=lambda a: a.ranked_um)


def equal_motion_pairs(answers: Sequence[SiteAnswer]) -> tuple[Pair, ...]:
    """Return pairs of equal motion whose torques, both ordinary, differ most, no site twice."""
    return _pairs(answers, same=lambda a: a.ranked_um, differs=_torque)


def equal(a: float, b: float) -> bool:
    """Return whether two figures are equal within `PAIR_TOLERANCE`."""
    return abs(a - b) <= PAIR_TOLERANCE * max(abs(a), abs(b))


def _pairs(
    answers: Sequence[SiteAnswer],
    same: Callable[[SiteAnswer], float],
    differs: Callable[[SiteAnswer], float],
) -> tuple[Pair, ...]:
    low, high = ORDINARY_NCM
    usable = [a for a in answers if a.outcome == COMPUTED and low <= _torque(a) <= high]
    found = []
    for one, other in combinations(usable, 2):
        if equal(same(one), same(other)):
            first, second = sorted((one, other), key=differs)
            found.append(Pair(first=first, second=second, factor=differs(second) / differs(first)))
    found.sort(key=lambda pair: -pair.factor)
    kept: list[Pair] = []
    for pair in found:
        taken = {a.point.index for k in kept for a in (k.first, k.second)}
        if len(kept) < PAIRS and not {pair.first.point.index, pair.second.point.index} & taken:
            kept.append(pair)
    return tuple(kept)


# --- Pairs built to show why --------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Built:
    """Two sites that differ in what is named, and why torque and motion come out as they do."""

    key: str
    title: str
    why: str
    names: tuple[str, str]
    cases: tuple[Case, Case]


def built_pairs(grain: Grain, gap_fill: str = "empty") -> tuple[Built, ...]:
    """Return three pairs, one for each of what torque is made of: friction, squeezed cortex, fit."""
    place = partial(_case, grain=grain, gap_fill=gap_fill)
    along: dict[str, Any] = {
        "diameter_mm": 3.8,
        "trabecular_modulus_mpa": 250.0,
        "hold_mm": (0.0, 8.8),
        "interference_um": 9.0,
    }
    collar: dict[str, Any] = {
        "diameter_mm": 4.4,
        "trabecular_modulus_mpa": 90.0,
        "friction": 0.4,
        "interference_um": 12.0,
        "cortical_mm": 0.6,
    }
    deep: dict[str, Any] = {"diameter_mm": 4.6, "hold_mm": (1.6, 9.6), "friction": 0.5}
    return (
        Built(
            key="surface",
            title="Another surface at the same site",
            why="Both implants sit in the same hole, held by eleven threads. Torque is friction, so "
            "the rougher surface reads four times the torque. Under the load, thread flanks and the "
            "wall carry most by pressure, whatever the friction: the motion changes far less.",
            names=("Slippery", "Rough"),
            cases=(
                place("a slippery surface", **along, friction=0.15),
                place("a rough surface", **along, friction=0.6),
            ),
        ),
        Built(
            key="depth",
            title="The same collar, another depth",
            why="The same bone, the same fit. Nearly all of the torque comes from the squeezed cortex "
            "at the crest, so it hardly tells how far down the hold reaches. The load does: it tilts "
            "the implant, and a short hold has little lever against tilt.",
            names=("To 2.8 mm", "To 9.6 mm"),
            cases=(
                place("a hold near the crest", **collar, hold_mm=(0.0, 2.8)),
                place("a hold along the implant", **collar, hold_mm=(0.0, 9.6)),
            ),
        ),
        Built(
            key="fit",
            title="Tight in soft bone, easy in dense bone",
            why="Both holds lie below the cortex and have the same length. Torque is pressure, and "
            "pressure is interference times stiffness: soft bone squeezed hard reads the same as dense "
            "bone squeezed a little. Motion under the load follows the stiffness alone.",
            names=("Soft, tight fit", "Dense, easy fit"),
            cases=(
                place("tight in soft bone", **deep, trabecular_modulus_mpa=110.0, interference_um=36.0),
                place("easy in dense bone", **deep, trabecular_modulus_mpa=700.0, interference_um=4.5),
            ),
        ),
    )


def _case(
    what: str,
    grain: Grain,
    *,
    diameter_mm: float,
    trabecular_modulus_mpa: float,
    hold_mm: tuple[float, float],
    friction: float,
    interference_um: float,
    cortical_mm: float = CORTICAL_MM,
    gap_fill: str = "empty",
) -> Case:
    """Return a case of the lesson: what is not an argument is `FIXED`, or a default of the tool."""
    thread = {"form": "v", "pitch_mm": PITCH_MM}
    return Case.from_dict(
        {
            "title": f"Invented scenario: {what}",
            "implant": {"diameter_mm": diameter_mm, "length_mm": LENGTH_MM, "thread": thread},
            "bone": {
                "cortical_thickness_mm": cortical_mm,
                "cortical_modulus_mpa": CORTICAL_MPA,
                "trabecular_modulus_mpa": trabecular_modulus_mpa,
            },
            "socket": {"holds_mm": [list(hold_mm)], "gap_fill": gap_fill},
            "interface": {"friction": friction, "interference_um": interference_um},
            "loads": [COMMON_LOAD],
            "numerics": {
                "element_mm": grain.element_mm,
                "harmonics": grain.harmonics,
                "load_steps": grain.steps,
            },
        }
    )


# --- The whole ----------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What is to be solved: `small` is coarse and short, for trying out."""

    count: int
    small: bool

    @property
    def grain(self) -> Grain:
        """How finely the set is solved."""
        return SMALL_CLOUD if self.small else CLOUD

    @property
    def named(self) -> Grain:
        """How finely the cases are solved that are drawn."""
        return SMALL_NAMED if self.small else NAMED

    @property
    def fine(self) -> Grain:
        """How finely the sites are solved that measure the set's error."""
        return SMALL_FINE if self.small else FINE

    @property
    def points(self) -> tuple[SitePoint, ...]:
        """The sites of the set."""
        return site_points(self.count)


@dataclass(frozen=True, kw_only=True)
class CloudError:
    """How far the set's peaks and torques are from a finer solve, over a few sites, as shares."""

    sites: tuple[int, ...]
    largest_peak: float
    median_peak: float
    largest_torque: float


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A pair solved again for its picture, with error estimates."""

    pair: Pair
    results: tuple[CheckResult, CheckResult]


@dataclass(frozen=True, kw_only=True)
class BuiltAnswer:
    """A built pair and its answers; `clot_um` are the peaks with a clot in the gap, coarse, no error.

    An entry is None where the site gives way.
    """

    pair: Built
    results: tuple[CheckResult | None, ...]
    clot_um: tuple[float | None, ...]


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """All that is shown."""

    plan: Plan
    answers: tuple[SiteAnswer, ...]
    error: CloudError | None
    groups: tuple[Group, ...]
    equal_torque: tuple[Pair, ...]
    equal_motion: tuple[Pair, ...]
    torque_drawn: Drawn | None
    motion_drawn: Drawn | None
    built: tuple[BuiltAnswer, ...]


def points_to_measure(answers: Sequence[SiteAnswer], small: bool) -> tuple[SitePoint, ...]:
    """Return the sites that measure the error: spread evenly over the ranks of the peak."""
    computed = sorted((a for a in answers if a.outcome == COMPUTED), key=lambda a: a.ranked_um)
    if not computed:
        return ()
    count = SMALL_ERROR_SITES if small else ERROR_SITES
    places = np.unique(np.linspace(0, len(computed) - 1, count).round().astype(int))
    return tuple(computed[i].point for i in places)


def cloud_error(coarse: Sequence[SiteAnswer], fine: Sequence[SiteAnswer]) -> CloudError | None:
    """Compare the set with the same sites solved more finely; None where none was."""
    by_index = {a.point.index: a for a in coarse}
    peaks, torques, sites = [], [], []
    for answer in sorted(fine, key=lambda a: a.point.index):
        if answer.outcome != COMPUTED:
            continue
        other = by_index[answer.point.index]
        peaks.append(abs(other.ranked_um / answer.ranked_um - 1))
        torques.append(abs(_torque(other) / _torque(answer) - 1))
        sites.append(answer.point.index)
    if not sites:
        return None
    return CloudError(
        sites=tuple(sites),
        largest_peak=max(peaks),
        median_peak=float(np.median(peaks)),
        largest_torque=max(torques),
    )


def lesson_of(
    plan: Plan,
    answers: Sequence[SiteAnswer],
    fine: Sequence[SiteAnswer],
    progress: Callable[[str], None] = lambda _: None,
) -> Lesson:
    """Rank, pair and set side by side the sites that were solved; `fine` are those solved again."""
    answers = tuple(sorted(answers, key=lambda a: a.point.index))
    by_torque, by_motion = equal_torque_pairs(answers), equal_motion_pairs(answers)
    return Lesson(
        plan=plan,
        answers=answers,
        error=cloud_error(answers, fine),
        groups=tuple(group_of(name, [a for a in answers if belongs(a)]) for name, belongs in GROUPS),
        equal_torque=by_torque,
        equal_motion=by_motion,
        torque_drawn=_drawn(by_torque, plan.named, progress),
        motion_drawn=_drawn(by_motion, plan.named, progress),
        built=tuple(_built_answers(plan, progress)),
    )


def _built_answers(plan: Plan, progress: Callable[[str], None]) -> Iterator[BuiltAnswer]:
    with_clot = built_pairs(plan.grain, gap_fill="clot")
    for pair, clot in zip(built_pairs(plan.named), with_clot, strict=True):
        progress(pair.title)
        yield BuiltAnswer(
            pair=pair,
            results=tuple(_checked(case) for case in pair.cases),
            clot_um=tuple(_solved(c).get("peak_micromotion_um") for c in clot.cases),
        )


def _drawn(pairs: Sequence[Pair], grain: Grain, progress: Callable[[str], None]) -> Drawn | None:
    """Solve the first pair that can be, again with error estimates."""
    for pair in pairs:
        results = []
        for answer in (pair.first, pair.second):
            progress(f"site {answer.point.index} again, with its error")
            results.append(_checked(case_of(answer.point, grain)))
        first, second = results
        if first is not None and second is not None:
            return Drawn(pair=pair, results=(first, second))
    return None


def _checked(case: Case) -> CheckResult | None:
    try:
        return check(case)
    except NotConverged:
        return None
