"""Limits of a number of the case: least engagement, largest load and lever, softest bone.

For a number x of the case, P(x) is the peak that a stated share of the samples (the confidence) does not
exceed, with the same samples for every x; without uncertain inputs it is the peak itself. The x at which
P reaches the limit is first bracketed on a few points over the range, which also shows whether P is
monotone, and then found within the bracket (Brent 1973, Algorithms for Minimization without Derivatives,
chapter 4, from memory; scipy's). Every evaluation of P is a solve, but for the largest load: P is read
off the curves of the loads as they grow, between the states solved by monotone cubics (Fritsch &
Carlson 1980, SIAM J Numer Anal 17:238-246, from memory; scipy's).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise, takewhile
from typing import TYPE_CHECKING

import numpy as np

from stillroot.errors import CaseError
from stillroot.inputs.case import LARGEST_LOAD, LEAST_CORE_RADIUS_MM, LEAST_HOLD_MM
from stillroot.inputs.vary import changed
from stillroot.studies.outcome import GROWN, peaks_of
from stillroot.studies.running import Where, run
from stillroot.studies.spreads import sound_inputs, unit_sample, values_of
from stillroot.studies.trust import Failures, failures_of, largest_relative_error

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import polars as pl

    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.running import Progress
    from stillroot.studies.shipped_spread import Sourced

SAMPLES, CONFIDENCE = 32, 0.9
GRID = 5
"""Points over the range before the search narrows."""
WITHIN = 0.004
"""Accuracy of x, as a share of the range (of its logarithm, for factors)."""
MOST_NARROWING = 12
OUT_OF_BALANCE_UM = 1e6
"""Peak assigned to a sample without equilibrium: larger than any solved one."""
CURVE_BEYOND, HALVINGS = 1.5, 12
"""How far beyond the limit a curve is followed, and how often its crossing is halved."""
LARGEST_FACTOR, LEAST_FACTOR = 10.0, 0.02
SHORTEST_IMPLANT_MM, LONGEST_IMPLANT_MM = 4.0, 18.0
HIGHEST_LEVER_MM, LOWEST_LEVER_MM = 30.0, 1.0


LOAD = "load"
QUESTIONS = {
    "length": ("shortest implant, held over its whole length [mm]", "implant.length_mm"),
    "engagement": ("least engagement length (its end stays) [mm]", "engagement_mm"),
    LOAD: ("largest load, times the stated one", "load_factor"),
    "lever": ("largest height of all loads above the crest [mm]", "loads.height_mm"),
    "bone": ("softest trabecular bone, times the stated modulus", "trabecular_factor"),
}
"""The text of each question, and the key of the number sought."""
FROM_CREST = ("least engagement length (its top stays) [mm]", "engagement_from_crest_mm")
GROWS = (LOAD, "lever")
"""Questions whose number moves the implant more where it is larger."""


@dataclass(frozen=True, kw_only=True)
class Question:
    """The number sought, and the range that is searched."""

    name: str
    text: str
    key: str
    low: float
    high: float

    @property
    def grows(self) -> bool:
        """Whether a larger number moves more."""
        return self.name in GROWS

    @property
    def log(self) -> bool:
        """Whether the number is a factor, so that its logarithm is searched."""
        return self.key.endswith("_factor")


@dataclass(frozen=True, kw_only=True)
class Answer:
    """The result of a search.

    `value` has P at or below the limit, None where no such value was found: `below_everywhere` says
    whether P is at or below it over the whole range, `below_in_part` whether it is for some of it, but
    not at the end that moves least. `tried` lists (x, P) in order of x; `monotone`: whether P rises or
    falls all the way; where it does not, all values tried from the end that moves least up to `value`
    are at or below the limit. `peak_um` is P at `value`, `relative_error` the relative numerical error
    of the peak of the stated case with that value. `engaged_threads` is given for engagement.
    """

    question: Question
    value: float | None
    below_everywhere: bool
    below_in_part: bool
    peak_um: float | None
    tried: tuple[tuple[float, float], ...]
    monotone: bool
    engaged_threads: float | None
    relative_error: float | None
    failures: Failures


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """The limit of each number with the peak at or below `below_um` in `confidence` of the samples."""

    case: Case
    below_um: float
    confidence: float | None
    inputs: tuple[Sourced, ...]
    samples: int
    answers: tuple[Answer, ...]

    def table(self) -> pl.DataFrame:
        """Return a row for each value tried; the value has the unit of its key."""
        import polars as pl  # noqa: PLC0415 - slow to import

        rows = [
            (answer.question.name, answer.question.key, value, motion(peak), peak <= self.below_um)
            for answer in self.answers
            for value, peak in answer.tried
        ]
        text = dict.fromkeys(("question", "key"), pl.String)
        numbers = dict.fromkeys(("value", "peak_micromotion_um"), pl.Float64)
        return pl.DataFrame(rows, schema={**text, **numbers, "at_or_below": pl.Boolean}, orient="row")


def motion(peak_um: float) -> float | None:
    """Return a peak, or None for the value that means "no equilibrium"."""
    return peak_um if peak_um < OUT_OF_BALANCE_UM else None


def questions_of(case: Case, *, from_crest: bool = False) -> tuple[Question, ...]:
    """Return the questions that apply to a case."""
    holds = case.socket.holds_mm
    longest = case.implant.length_mm - holds[0][0] if from_crest else holds[-1][1]
    largest = max(abs(part) for load in case.loads for part in load.components[:2])
    softest, hardest = (f(m for _, m in case.bone.trabecular_profile_mpa) for f in (min, max))
    ranges = {
        "length": _lengths_mm(case),
        "engagement": (LEAST_HOLD_MM, longest),
        LOAD: (LEAST_FACTOR, min(LARGEST_FACTOR, 0.5 * LARGEST_LOAD / max(largest, 1e-9))),
        "lever": (LOWEST_LEVER_MM, HIGHEST_LEVER_MM),
        "bone": (max(LEAST_FACTOR, 0.05 / softest), min(LARGEST_FACTOR, 1e5 / hardest)),
    }
    questions = {**QUESTIONS, "engagement": FROM_CREST} if from_crest else QUESTIONS
    return tuple(
        Question(name=name, text=text, key=key, low=ends[0], high=ends[1])
        for name, (text, key) in questions.items()
        if (ends := ranges[name]) is not None
    )


def _lengths_mm(case: Case) -> tuple[float, float] | None:
    """Return the range of lengths of an implant held all along, if its taper leaves it a tip."""
    implant = case.implant
    whole = "holds_mm" not in case.stated()["socket"]
    if not whole or implant.outline_mm is not None or case.bone.depth_mm is not None:
        return None
    longest = LONGEST_IMPLANT_MM
    if implant.taper_deg:
        depth = 0.0 if implant.thread.form == "none" else implant.thread.depth_mm
        spare = implant.diameter_mm / 2 - depth - LEAST_CORE_RADIUS_MM
        longest = min(longest, 0.99 * spare / math.tan(math.radians(implant.taper_deg)))
    low = max(SHORTEST_IMPLANT_MM, implant.thread.first_mm + implant.thread.pitch_mm)
    return (low, longest) if low < longest else None


def bounds(
    case: Case,
    below_um: float,
    where: Where | None = None,
    *,
    asked: Sequence[str] | None = None,
    from_crest: bool = False,
    with_spread: bool = True,
    confidence: float = CONFIDENCE,
    samples: int = SAMPLES,
    bone_type: int | None = None,
    progress: Progress = lambda *_: None,
) -> Bounds:
    """Find the limits of numbers with the peak of every load at or below a limit [µm].

    With a spread, the peak is the one that a share `confidence` of its samples does not exceed.

    `asked` names the questions; by default all that `questions_of` returns for the case.

    Raises
    ------
    CaseError
        The limit, the confidence, the sample count or an input is out of range.
    EnvironmentProblem
        As `run` does.
    """
    if not 0 < below_um < OUT_OF_BALANCE_UM:
        msg = f"--below {below_um:g}: must be a motion above 0 µm, such as 100"
        raise CaseError(msg)
    if not 0.5 <= confidence < 1:
        msg = f"--confidence {confidence:g}: must be from 50% to less than 100%"
        raise CaseError(msg)
    inputs: tuple[Sourced, ...] = ()
    values = np.zeros((1, 0))
    if with_spread:
        inputs = sound_inputs(case, samples, bone_type)
        values = values_of(inputs, unit_sample(samples, len(inputs), 1))
    where = where or Where()
    known = {question.name: question for question in questions_of(case, from_crest=from_crest)}
    names = list(dict.fromkeys(known if asked is None else asked))
    for name in names:
        if name not in known:
            msg = f"{name}: is no question that this case has; ask for {', '.join(known)}"
            raise CaseError(msg)
    answers = tuple(
        _Search(case, inputs, values, known[name], confidence, where, progress).answer(below_um)
        for name in names
    )
    return Bounds(
        case=case,
        below_um=below_um,
        confidence=confidence if with_spread else None,
        inputs=inputs,
        samples=len(values),
        answers=answers,
    )


@dataclass
class _Search:
    """P(x) of one question, with every value tried kept.

    A factor that is both uncertain and sought multiplies the sampled one; any other number that is
    sought replaces the sampled one.
    """

    case: Case
    inputs: Sequence[Sourced]
    values: Floats
    question: Question
    confidence: float
    where: Where
    progress: Progress
    tried: dict[float, float] = field(default_factory=dict)
    outcomes: list[Outcome] = field(default_factory=list)

    def peaks(self, xs: Sequence[float]) -> list[float]:
        """Return P at several x, solved together so that they share stages."""
        new = [x for x in xs if x not in self.tried]
        outcomes = self._run([case for x in new for case in self._cases(x)])
        self.outcomes += outcomes
        share = self.confidence if len(self.values) > 1 else 1.0
        samples = peaks_of(outcomes, OUT_OF_BALANCE_UM).reshape(len(new), len(self.values))
        for x, peaks in zip(new, samples, strict=True):
            # The smallest peak that at least this share of the samples does not exceed.
            self.tried[x] = float(np.quantile(peaks, share, method="inverted_cdf"))
        return [self.tried[x] for x in xs]

    def _run(
        self, cases: Sequence[Case], *, with_error: bool = False, until_um: float | None = None
    ) -> list[Outcome]:
        if not cases:
            return []

        def told(done: int, total: int, _: str) -> None:
            self.progress(done, total, self.question.name)

        return run(cases, self.where, with_error=with_error, until_um=until_um, progress=told)

    def _cases(self, x: float) -> list[Case]:
        keys, key = [item.input.key for item in self.inputs], self.question.key
        cases = []
        for row in self.values.tolist():
            values = dict(zip(keys, row, strict=True))
            uncertain = values.pop(key, 1.0)
            # Set last, or a sampled modulus or height of one load would replace the number sought.
            values[key] = x * uncertain if self.question.log else x
            cases.append(changed(self.case, values))
        return cases

    def answer(self, below_um: float) -> Answer:
        """Return the result of the search for x at which P reaches the limit."""
        question = self.question
        if question.name == LOAD:
            self._along_curves(below_um)
            return self._answer(below_um)
        to_x, to_t = (np.exp, np.log) if question.log else (float, float)
        ends = float(to_t(question.low)), float(to_t(question.high))
        grid = [float(f"{float(to_x(t)):.3g}") for t in np.linspace(*ends, GRID)]
        grid[0], grid[-1] = question.low, question.high
        self.peaks(grid)
        bracket = self._bracket(below_um)
        if bracket is not None:
            from scipy.optimize import brentq  # noqa: PLC0415 - slow to import

            known = {float(to_t(x)): x for x in bracket}  # exp(ln x) is not quite x

            def beyond(t: float) -> float:
                x = known.get(t, float(f"{float(to_x(t)):.3g}"))  # so that the value reported was solved
                (peak,) = self.peaks([x])
                return math.log(peak / below_um)

            fine = WITHIN * (ends[1] - ends[0]) / 2
            first, last = known
            brentq(beyond, first, last, xtol=fine, rtol=1e-3, maxiter=MOST_NARROWING, disp=False)
        return self._answer(below_um)

    def _along_curves(self, below_um: float) -> None:
        """Read P off the curve of each sample's loads, up to where it passes the limit, and find it."""
        until_um = CURVE_BEYOND * below_um
        outcomes = self._run(self._cases(1.0), until_um=until_um)
        self.outcomes += outcomes
        share = self.confidence if len(outcomes) > 1 else 1.0
        curves = [_largest(outcome, until_um) for outcome in outcomes]

        def beyond(x: float) -> float:
            peaks = [curve(x) for curve in curves]
            return float(np.quantile(peaks, share, method="inverted_cdf"))

        for x in GROWN:
            if x > self.question.high:
                break
            self.tried[x] = beyond(x)
            if self.tried[x] > until_um:
                break
        bracket = self._bracket(below_um)
        if bracket is None:
            return
        high, low = bracket
        for _ in range(HALVINGS):
            x = float(f"{(low + high) / 2:.3g}")
            low, high = (x, high) if beyond(x) <= below_um else (low, x)
        self.tried[low] = beyond(low)

    def _towards_motion(self) -> list[tuple[float, float]]:
        """Return every x tried with its P, from the end that moves least."""
        return sorted(self.tried.items(), reverse=not self.question.grows)

    def _bracket(self, below_um: float) -> tuple[float, float] | None:
        """Return the first pair of tried x, towards more motion, whose peaks bracket the limit."""
        for (less, low), (more, high) in pairwise(self._towards_motion()):
            if high > below_um >= low:
                return more, less
        return None

    def _answer(self, below_um: float) -> Answer:
        question, tried = self.question, self._towards_motion()
        peaks = [peak for _, peak in tried]
        # The last x before one above the limit.
        within = list(takewhile(lambda pair: pair[1] <= below_um, tried))
        everywhere = len(within) == len(tried)
        value, peak_um = within[-1] if within and not everywhere else (None, None)
        threads, error = None, None
        if value is not None:
            there = changed(self.case, {question.key: value})
            threads = there.engaged_threads if question.name == "engagement" else None
            error = largest_relative_error(self._run([there], with_error=True))
        return Answer(
            question=question,
            value=value,
            below_everywhere=everywhere,
            below_in_part=not within and min(peaks) <= below_um,
            peak_um=peak_um,
            tried=tuple(sorted(tried)),
            monotone=bool(np.all(np.diff(peaks) >= 0)),
            engaged_threads=threads,
            relative_error=error,
            failures=failures_of(self.outcomes),
        )


def _largest(outcome: Outcome, until_um: float) -> Callable[[float], float]:
    """Return the largest peak of a case's loads as a function of the factor on them.

    The implant gives way where a curve ends that has not passed `until_um`; one that has passed it
    counts on with its last peak.
    """
    from scipy.interpolate import PchipInterpolator  # noqa: PLC0415 - slow to import

    if any(not load.curve for load in outcome.loads):
        return lambda _: OUT_OF_BALANCE_UM
    curves = [np.array(load.curve).T for load in outcome.loads]
    lost = OUT_OF_BALANCE_UM
    smooth = [
        (PchipInterpolator(x, peaks), x[-1], peaks[-1] if peaks[-1] > until_um else lost)
        for x, peaks in curves
    ]

    def largest(x: float) -> float:
        return max(float(curve(x)) if x <= end else after for curve, end, after in smooth)

    return largest
