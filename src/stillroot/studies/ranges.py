"""The range of an answer: what its numbers may be over what the case leaves open.

Let y be a peak, a movement or a torque and x_i the inputs that are known only roughly. Its logarithm is
taken as a sum of functions of one input each, the first order of a high-dimensional model representation
cut at the case (Rabitz & Aliş 1999, J Math Chem 25:197-233, from memory)::

    ln y(x) = ln y(x⁰) + Σ_i v_i(x_i),    v_i(x_i⁰) = 0                                    (25)

x⁰ are the values of the case and y(x⁰) its answer. Each v_i is a parabola in ln x_i through zero and two
solves with that input alone changed, on coarse elements, whose errors cancel in the ratio (three solves
where the case states no number); outside these points it goes on straight. Quantiles are those over a
sample of all inputs, each from its own distribution and independent of the others.

Where the implant gives way at any of these points (25) does not hold: a sample is solved and counted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.chain import stage_keys
from stillroot.answers.changes import Change
from stillroot.answers.explained import LoadRange, OpenInput, Range, Ranges, as_explained
from stillroot.answers.levels import LOOSE, ROUGH, STORED, at_level
from stillroot.answers.wording import bands_in_words
from stillroot.errors import CaseError, EnvironmentProblem
from stillroot.inputs.vary import changed, stated_value
from stillroot.studies.explaining import AS_IT_IS, outcomes_of
from stillroot.studies.shipped_spread import in_plain_words, measurement_of, open_of
from stillroot.studies.spreads import assert_within_limits, unit_sample, values_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stillroot.answers.explained import Explained
    from stillroot.answers.result import CheckResult
    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case
    from stillroot.inputs.uncertain import Uncertain
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.shipped_spread import Sourced

    Progress = Callable[[str], None]

LOW, HIGH = 0.05, 0.95
"""The quantiles that are told."""
SOLVED_AT = (LOW, 0.5, HIGH)
"""The quantiles of an input at which it is solved, but for the one nearest to its value."""
SAMPLE, COUNTED = 4096, 32
"""Points at which (25) is evaluated, and cases that are solved where it does not hold."""
SEED = 1
LEAST = 1e-9
"""What a number without motion or torque counts as, so that it has a logarithm."""


def with_ranges(result: CheckResult | Explained, *, progress: Progress = lambda _: None) -> Explained:
    """Return an answer with the ranges of its numbers over what its case leaves open.

    Raises
    ------
    CaseError
        The case's own [spread] reaches beyond what a case allows.
    EnvironmentProblem
        gmsh cannot be loaded, and no stored mesh fits a change of shape.
    """
    explained = as_explained(result)
    answer = explained.answer
    curves = curves_of(answer.case, progress=progress)
    if curves.gives_way:
        found = _counted(answer, curves, progress)
    else:
        u = unit_sample(SAMPLE, len(curves.inputs), SEED)
        found = _of_curves(answer, curves.inputs, curves.logs(u))
    return replace(explained, ranges=found)


@dataclass(frozen=True, kw_only=True)
class Curves:
    """The v of (25): `points` of each of the d inputs, and what came of a solve at each.

    A point is the value in the case, None where it states no number, and those that were solved.
    `itself` is the outcome of the case on the same `level`.
    """

    case: Case
    level: str
    inputs: tuple[Sourced, ...]
    points: tuple[tuple[float | None, tuple[float, ...]], ...]
    itself: Outcome
    changed: tuple[tuple[Outcome, ...], ...]

    @property
    def gives_way(self) -> bool:
        """Whether any load has no peak at any point: (25) does not hold."""
        found = (self.itself, *(outcome for pair in self.changed for outcome in pair))
        return any(load.peak_um is None for outcome in found for load in outcome.loads)

    def logs(self, u: Floats) -> Floats:
        """Return v (d, 2l + 1, s) of each input at probabilities (s, d); see `numbers_of`."""
        each = zip(self.inputs, u.T, self.points, self.changed, strict=True)
        return np.stack([_curve(item.input, at, x, self.itself, pair) for item, at, x, pair in each])

    def sampled(self, u: Floats, *, progress: Progress = lambda _: None) -> list[Outcome]:
        """Solve the cases at probabilities (s, d) one by one, on the same level."""
        keys = [item.input.key for item in self.inputs]
        changes = [
            Change("what is left open", f"case {k} of {len(u)}", dict(zip(keys, row, strict=True)))
            for k, row in enumerate(values_of(self.inputs, u).tolist(), start=1)
        ]
        return _solved(self.case, changes, self.level, progress)


def curves_of(case: Case, *, progress: Progress = lambda _: None) -> Curves:
    """Solve a case and each change of one input that it leaves open, on coarse elements.

    Where gmsh is missing, changes of the shape are left out, and a stored mesh serves the others.

    Raises
    ------
    CaseError, EnvironmentProblem
        As `with_ranges` does.
    """
    inputs = _sound(case)
    try:
        return _curves(case, inputs, ROUGH, progress)
    except EnvironmentProblem:
        geometry = stage_keys(case)[0]
        kept = [
            item
            for item in inputs
            if stage_keys(changed(case, {item.input.key: item.input.limits[0]}))[0] == geometry
        ]
        return _curves(case, kept, STORED, progress)


def _curves(case: Case, inputs: Sequence[Sourced], level: str, progress: Progress) -> Curves:
    points = [_points(item.input, case) for item in inputs]
    changes = [
        Change("what is left open", item.input.key, {item.input.key: x})
        for item, (_, at) in zip(inputs, points, strict=True)
        for x in at
    ]
    itself, *found = _solved(case, [AS_IT_IS, *changes], level, progress)
    rest = iter(found)
    return Curves(
        case=case,
        level=level,
        inputs=tuple(inputs),
        points=tuple(points),
        itself=itself,
        changed=tuple(tuple(islice(rest, len(at))) for _, at in points),
    )


def _sound(case: Case) -> tuple[Sourced, ...]:
    """Return what a case leaves open, without shipped ranges that reach beyond what it allows."""
    inputs, own = open_of(case), {item.key for item in case.spread}
    assert_within_limits(case, [item for item in inputs if item.input.key in own])

    def is_allowed(item: Sourced) -> bool:
        try:
            for end in item.input.limits:
                changed(case, {item.input.key: end})
        except CaseError:
            return False
        return True

    return tuple(item for item in inputs if item.input.key in own or is_allowed(item))


def _points(of: Uncertain, case: Case) -> tuple[float | None, tuple[float, ...]]:
    """Return the value of an input in the case, and those at which it is solved: three points in all."""
    stated, at = stated_value(case, of.key), list(SOLVED_AT)
    if stated is not None:
        at.remove(min(at, key=lambda u: abs(u - of.probability(stated))))
    return stated, tuple(of.quantiles(np.array(at)).tolist())


def _solved(case: Case, changes: Sequence[Change], level: str, progress: Progress) -> list[Outcome]:
    rough = partial(at_level, level=level)
    return outcomes_of(case, changes, progress, solved_as=rough, at_once=2, tolerance=LOOSE)


def numbers_of(outcome: Outcome) -> Floats:
    """Return y (2l + 1,): the peak of each load, its head movement, and the torque; NaN where none."""
    peaks = [load.peak_um for load in outcome.loads]
    heads = [load.head_um for load in outcome.loads]
    found = np.array([*peaks, *heads, outcome.torque_ncm], dtype=float)
    return np.maximum(found, LEAST)


def _answered(answer: CheckResult) -> Floats:
    """Return y (2l + 1,) of the answer."""
    torque = None if answer.torque is None else answer.torque.insertion_ncm
    peaks = [load.peak.total_um for load in answer.loads]
    heads = [load.head.total_um for load in answer.loads]
    return np.array([*peaks, *heads, torque], dtype=float)


def _curve(
    of: Uncertain,
    u: Floats,
    points: tuple[float | None, tuple[float, ...]],
    itself: Outcome,
    changed_to: Sequence[Outcome],
) -> Floats:
    """Return v of (25) (2l + 1, s) at probabilities u (s,) of an input."""
    stated, solved = points
    v = [np.log(numbers_of(outcome) / numbers_of(itself))[:, None] for outcome in changed_to]
    if stated is not None:
        solved, v = (stated, *solved), [np.zeros_like(v[0]), *v]
    scale: Callable[[Any], Floats] = np.log if min(*of.limits, *solved) > 0 else np.asarray
    x, t = scale(of.quantiles(u)), scale(np.array(solved))
    first = (v[1] - v[0]) / (t[1] - t[0])  # divided differences
    second = ((v[2] - v[1]) / (t[2] - t[1]) - first) / (t[2] - t[0])
    inside = np.clip(x, t.min(), t.max())
    slope = first + second * (2 * inside - t[0] - t[1])
    parabola = v[0] + (first + second * (inside - t[1])) * (inside - t[0])
    return np.asarray(parabola + slope * (x - inside))  # straight outside


def _of_curves(answer: CheckResult, inputs: Sequence[Sourced], v: Floats) -> Ranges:
    """Return the ranges of (25) from v (d, 2l + 1, s)."""
    y, place = _answered(answer), answer.loads.index(answer.governing)
    sample = y[:, None] * np.exp(v.sum(axis=0))
    of_peak = v[:, place]
    variance = np.var(of_peak, axis=1)
    shares = variance / (variance.sum() or 1.0)

    def narrowed(k: int) -> Range | None:
        return _range(y[place] * np.exp(of_peak.sum(axis=0) - of_peak[k]))

    told = [
        _open_input(item, share=float(shares[k]), narrowed=narrowed(k)) for k, item in enumerate(inputs)
    ]
    return Ranges(
        inputs=tuple(sorted(told, key=lambda one: -(one.share or 0.0))),
        loads=_load_ranges(answer, sample),
        torque_ncm=_range(sample[-1]),
    )


def _counted(answer: CheckResult, curves: Curves, progress: Progress) -> Ranges:
    """Return the ranges from a sample of cases, each solved on coarse elements."""
    inputs, itself, count = curves.inputs, curves.itself, len(answer.loads)
    u = unit_sample(COUNTED, len(inputs), SEED)
    found = [outcome for outcome in curves.sampled(u, progress=progress) if not outcome.reason]
    finer = _answered(answer) / numbers_of(itself)  # where the case itself bears the load
    bears = [
        load.gives_way_at is None and other.peak_um is not None
        for load, other in zip(answer.loads, itself.loads, strict=True)
    ]
    finer[: 2 * count][~np.array([*bears, *bears])] = 1.0
    sample = np.stack([numbers_of(outcome) for outcome in found], axis=1) * finer[:, None]
    lost = np.array([[load.gives_way_at is not None for load in o.loads] for o in found]).T
    sample[:count][lost] = sample[count : 2 * count][lost] = np.inf
    return Ranges(
        inputs=tuple(_open_input(item) for item in inputs),
        loads=_load_ranges(answer, sample),
        torque_ncm=_range(sample[-1]),
        counted=len(found),
    )


def _open_input(item: Sourced, **more: Any) -> OpenInput:
    key = item.input.key
    return OpenInput(
        key=key,
        text=in_plain_words(key),
        in_words=item.input.in_words,
        source=item.source,
        measurement=measurement_of(key),
        **more,
    )


def _load_ranges(answer: CheckResult, sample: Floats) -> tuple[LoadRange, ...]:
    """Return the ranges of each load from y (2l + 1, s), infinite where the implant gives way."""
    bands, count = answer.case.threshold.bands_um, len(answer.loads)
    told = []
    for peak, head in zip(sample[:count], sample[count : 2 * count], strict=True):
        known = peak[~np.isnan(peak)]
        place = np.where(np.isinf(known), -1, np.digitize(known, bands, right=True))
        shares = [float(np.mean(place == k)) if len(known) else 0.0 for k in range(len(bands) + 1)]
        told.append(
            LoadRange(
                peak_um=_range(peak),
                head_um=_range(head),
                bands=tuple(zip(bands_in_words(bands), shares, strict=True)),
                gives_way=float(np.mean(np.isinf(known))) if len(known) else 0.0,
            )
        )
    return tuple(told)


def _range(sample: Floats) -> Range | None:
    """Return the range of a sample; None where it has no lower end."""
    known = sample[~np.isnan(sample)]
    if not len(known):
        return None
    low, median, high = np.quantile(known, (LOW, 0.5, HIGH), method="inverted_cdf").tolist()
    if not np.isfinite(low):
        return None
    return Range(
        low=low,
        median=median if np.isfinite(median) else None,
        high=high if np.isfinite(high) else None,
    )
