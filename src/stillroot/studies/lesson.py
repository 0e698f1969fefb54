"""The lesson: over many sites, what does torque tell about motion, and what tells more?

Each of a set of invented sites is solved under one common load. Then come rank correlations with their
intervals, pairs of sites that agree in one figure and not in the other, and three pairs built to show
why. Which predictor comes out ahead is computed, not presumed.

A site that finds no equilibrium under the load is an answer, "gives way", and ranks as the largest
motion. One that cannot be seated or meshed is none; it is kept with its reason and left out of the
ranks.

Nothing is drawn or written here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from operator import attrgetter
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.stats import bootstrap, rankdata

from stillroot.answers.answer import check
from stillroot.errors import NotConverged
from stillroot.studies.lesson_sites import (
    CLOUD,
    COMPUTED,
    FINE,
    GAVE_WAY,
    NAMED,
    NO_ANSWER,
    SEED,
    SMALL_CLOUD,
    SMALL_FINE,
    SMALL_NAMED,
    STATED,
    SiteAnswer,
    answer_of,
    built_pairs,
    case_of,
)
from stillroot.studies.running import run

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from stillroot.answers.result import CheckResult
    from stillroot.arrays import Floats, Ints
    from stillroot.inputs.case import Case
    from stillroot.studies.lesson_sites import Built, Grain, SitePoint
    from stillroot.studies.running import Progress, Where

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


# --- Solving ------------------------------------------------------------------------------------------


def solved(
    points: Sequence[SitePoint], grain: Grain, where: Where, progress: Progress = lambda *_: None
) -> list[SiteAnswer]:
    """Return the answer of each site, without an error estimate.

    Raises
    ------
    EnvironmentProblem
        As `run` does.
    """
    outcomes = run([case_of(point, grain) for point in points], where, what="sites", progress=progress)
    return [answer_of(point, outcome) for point, outcome in zip(points, outcomes, strict=True)]


# --- What predicts motion -----------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Predictor:
    """A figure known before loading, set against the peak micromotion; `attribute` of a `SiteAnswer`."""

    key: str
    name: str
    short: str
    unit: str
    attribute: str

    def of(self, answer: SiteAnswer) -> float:
        """Return the figure of a site, NaN where it has none."""
        return float(attrgetter(self.attribute)(answer))


PREDICTORS = tuple(Predictor(**row) for row in STATED["predictor"])
TORQUE = PREDICTORS[0]


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

    @property
    def in_words(self) -> str:
        """The figure and its interval."""
        return f"{rho_in_words(self.rho)} ({rho_in_words(self.low)} to {rho_in_words(self.high)})"


def rho_in_words(value: float) -> str:
    """Return a correlation with the sign of print."""
    return f"{value:.2f}".replace("-", "−")


@dataclass(frozen=True, kw_only=True)
class Group:
    """Sites that are ranked together; `correlations` is empty where they are too few."""

    name: str
    count: int
    gave_way: int
    correlations: tuple[Correlation, ...]

    @property
    def torque(self) -> Correlation | None:
        """The correlation of insertion torque."""
        return next((c for c in self.correlations if c.predictor is TORQUE), None)


GROUPS: tuple[tuple[str, Callable[[SiteAnswer], bool]], ...] = (
    ("all sites", lambda _: True),
    (
        f"torque {ORDINARY_NCM[0]:g} to {ORDINARY_NCM[1]:g} N·cm",
        lambda a: ORDINARY_NCM[0] <= a.torque_ncm <= ORDINARY_NCM[1],
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

    def figures(sites: Ints, axis: int = -1) -> Floats:
        rhos = spearman(np.take(values, sites, axis), motion[sites])
        return np.concatenate([rhos, np.abs(rhos) - np.abs(rhos[PREDICTORS.index(TORQUE)])])

    sites = np.arange(len(answers))
    interval: Any = bootstrap(
        [sites],
        figures,
        n_resamples=RESAMPLES,
        confidence_level=0.95,
        method="percentile",
        rng=np.random.default_rng(SEED),
    ).confidence_interval
    rhos, bounds = figures(sites), list(zip(interval.low.tolist(), interval.high.tolist(), strict=True))
    ahead = [
        None if p is TORQUE else b for p, b in zip(PREDICTORS, bounds[len(PREDICTORS) :], strict=True)
    ]
    return tuple(
        Correlation(predictor=p, rho=float(rhos[i]), low=bounds[i][0], high=bounds[i][1], ahead=ahead[i])
        for i, p in enumerate(PREDICTORS)
    )


def spearman(x: Floats, y: Floats) -> Floats:
    """Return Spearman's rank correlation along the last axis; 0 where a row does not vary."""
    a, b = (rankdata(v, axis=-1) for v in (x, y))
    a, b = (v - v.mean(axis=-1, keepdims=True) for v in (a, b))
    size = np.sqrt(np.sum(a**2, axis=-1) * np.sum(b**2, axis=-1))
    return np.sum(a * b, axis=-1) / np.where(size == 0, 1.0, size)


# --- Pairs --------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Pair:
    """Two sites, the one that moves less (or reads less torque) first; `factor` between them."""

    first: SiteAnswer
    second: SiteAnswer
    factor: float


def equal_torque_pairs(answers: Sequence[SiteAnswer]) -> tuple[Pair, ...]:
    """Return pairs of equal, ordinary torque that move most differently, no site twice."""
    return _pairs(answers, same="torque_ncm", differs="ranked_um")


def equal_motion_pairs(answers: Sequence[SiteAnswer]) -> tuple[Pair, ...]:
    """Return pairs of equal motion whose torques, both ordinary, differ most, no site twice."""
    return _pairs(answers, same="ranked_um", differs="torque_ncm")


def equal(a: float, b: float) -> bool:
    """Return whether two figures are equal within `PAIR_TOLERANCE`."""
    return abs(a - b) <= PAIR_TOLERANCE * max(abs(a), abs(b))


def _pairs(answers: Sequence[SiteAnswer], same: str, differs: str) -> tuple[Pair, ...]:
    low, high = ORDINARY_NCM
    alike, apart = attrgetter(same), attrgetter(differs)
    usable = [a for a in answers if a.outcome == COMPUTED and low <= a.torque_ncm <= high]
    found = []
    for sites in combinations(usable, 2):
        if equal(*map(alike, sites)):
            first, second = sorted(sites, key=apart)
            found.append(Pair(first=first, second=second, factor=apart(second) / apart(first)))
    kept: list[Pair] = []
    taken: set[int] = set()
    for pair in sorted(found, key=lambda pair: -pair.factor):
        sites_of_pair = {pair.first.point.index, pair.second.point.index}
        if len(kept) < PAIRS and not sites_of_pair & taken:
            kept.append(pair)
            taken |= sites_of_pair
    return tuple(kept)


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
    def error_sites(self) -> int:
        """How many sites measure it."""
        return SMALL_ERROR_SITES if self.small else ERROR_SITES


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


def points_to_measure(answers: Sequence[SiteAnswer], count: int) -> tuple[SitePoint, ...]:
    """Return the sites that measure the error: spread evenly over the ranks of the peak."""
    computed = sorted((a for a in answers if a.outcome == COMPUTED), key=lambda a: a.ranked_um)
    if not computed:
        return ()
    places = np.unique(np.linspace(0, len(computed) - 1, count).round().astype(int))
    return tuple(computed[i].point for i in places)


def cloud_error(coarse: Sequence[SiteAnswer], fine: Sequence[SiteAnswer]) -> CloudError | None:
    """Compare the set with the same sites solved more finely; None where none was."""
    again = {a.point.index: a for a in fine if a.outcome == COMPUTED}
    both = [(a, again[a.point.index]) for a in coarse if a.point.index in again]
    if not both:
        return None
    peaks = [abs(one.ranked_um / finer.ranked_um - 1) for one, finer in both]
    return CloudError(
        sites=tuple(sorted(again)),
        largest_peak=max(peaks),
        median_peak=float(np.median(peaks)),
        largest_torque=max(abs(one.torque_ncm / finer.torque_ncm - 1) for one, finer in both),
    )


def lesson_of(
    plan: Plan,
    answers: Sequence[SiteAnswer],
    fine: Sequence[SiteAnswer],
    where: Where,
    progress: Callable[[str], None] = lambda _: None,
) -> Lesson:
    """Rank, pair and set side by side the sites that were solved; `fine` are those solved again."""
    by_torque, by_motion = equal_torque_pairs(answers), equal_motion_pairs(answers)
    return Lesson(
        plan=plan,
        answers=tuple(answers),
        error=cloud_error(answers, fine),
        groups=tuple(group_of(name, [a for a in answers if belongs(a)]) for name, belongs in GROUPS),
        equal_torque=by_torque,
        equal_motion=by_motion,
        torque_drawn=_drawn(by_torque, plan.named, progress),
        motion_drawn=_drawn(by_motion, plan.named, progress),
        built=tuple(_built_answers(plan, where, progress)),
    )


def _built_answers(plan: Plan, where: Where, progress: Callable[[str], None]) -> Iterator[BuiltAnswer]:
    with_clot = built_pairs(plan.grain, gap_fill="clot")
    for pair, clot in zip(built_pairs(plan.named), with_clot, strict=True):
        progress(pair.title)
        yield BuiltAnswer(
            pair=pair,
            results=tuple(_checked(case) for case in pair.cases),
            clot_um=tuple(outcome.peak_um for outcome in run(clot.cases, where)),
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
