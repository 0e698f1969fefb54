"""The range of an answer: what its numbers may be over what the case leaves open.

Let y be a peak, a movement or a torque and x_i the inputs that are known only roughly. Its logarithm is
taken as a sum of functions of one input each, and of one of the two that weigh most: a high-dimensional
model representation cut at the case, to first order and the largest part of second (Rabitz & Aliş 1999,
J Math Chem 25:197-233, from memory)::

    ln y(x) = ln y(x⁰) + Σ_i v_i(x_i) + w(x_1, x_2)                                        (25)

x⁰ are the values of the case and y(x⁰) its answer. Each v_i is a parabola in ln x_i through zero and two
solves with that input alone changed, on coarse elements, whose errors cancel in the ratio (three solves
where the case states no number); outside these points it goes on straight. w is bilinear in each
quadrant round x⁰, through what v_1 + v_2 leave at the four corners where both inputs are changed.
Quantiles are those over a sample of all inputs, each from its own distribution and independent of the
others.

Where the implant gives way at any of these points (25) does not hold: a sample is solved and counted.
Where it has left its seat no range is sought.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from itertools import islice, product
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
from stillroot.studies.outcome import outcome_of
from stillroot.studies.shipped_spread import in_plain_words, measurement_of, open_of
from stillroot.studies.spreads import assert_within_limits, unit_sample, values_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stillroot.answers.explained import Explained
    from stillroot.answers.result import CheckResult
    from stillroot.arrays import Floats, Ints
    from stillroot.inputs.case import Case
    from stillroot.inputs.uncertain import Uncertain
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.shipped_spread import Sourced

    Progress = Callable[[str], None]

LOW, HIGH = 0.05, 0.95
"""The quantiles that are told."""
SOLVED_AT = (LOW, 0.5, HIGH)
"""The quantiles of an input at which it is solved, but for the one nearest to its value."""
SAMPLE, COUNTED = 4096, 16
"""Points at which (25) is evaluated, and cases that are solved where it does not hold."""
FARTHEST_UM = 1000.0
"""A peak beyond which no range is sought: the implant has left its seat, whatever else is known."""
SEED = 1
FARTHEST = 0.5
"""How far beyond its corners w goes on, relative to their distance."""
LEAST = 1e-9
"""What a number without motion or torque counts as, so that it has a logarithm."""


def with_ranges(result: CheckResult | Explained, *, progress: Progress = lambda _: None) -> Explained:
    """Return an answer with the ranges of its numbers over what its case leaves open.

    Raises
    ------
    CaseError
        The case's own [spread] reaches beyond what a case allows.
    EnvironmentProblem
        gmsh cannot be loaded, and no stored mesh fits the case.
    """
    explained = as_explained(result)
    answer, worst = explained.answer, explained.answer.governing
    gives_way = worst.gives_way_at is not None
    if not gives_way and worst.peak.total_um > FARTHEST_UM:
        return replace(explained, ranges=_unknown(answer, _sound(answer.case)))
    curves = curves_of(answer.case, alone=gives_way, progress=progress)
    if gives_way or curves.gives_way:
        found = _counted(answer, curves, progress)
    else:
        u = unit_sample(SAMPLE, len(curves.inputs), SEED)
        found = _of_curves(answer, curves, values_of(curves.inputs, u))
    return replace(explained, ranges=found)


@dataclass(frozen=True, kw_only=True)
class Curves:
    """The v of (25): `points` of each of the d inputs, and what came of a solve at each.

    A point is the value in the case, None where it states no number, and those that were solved.
    `itself` is the outcome of the case on the same `level`; `pair` has w, None with one input.
    """

    case: Case
    level: str
    inputs: tuple[Sourced, ...]
    points: tuple[tuple[float | None, tuple[float, ...]], ...]
    itself: Outcome
    changed: tuple[tuple[Outcome, ...], ...]
    pair: Pair | None = None

    @property
    def gives_way(self) -> bool:
        """Whether any load has no peak at any point: (25) does not hold."""
        corners = () if self.pair is None else self.pair.corners
        found = (self.itself, *corners, *(outcome for each in self.changed for outcome in each))
        return any(load.peak_um is None for outcome in found for load in outcome.loads)

    @property
    def governing(self) -> int:
        """The load with the largest peak, by its place."""
        return int(np.argmax(numbers_of(self.itself)[: len(self.itself.loads)]))

    def scale(self, k: int) -> Callable[[Any], Floats]:
        """Return the variable in which input k is interpolated: its logarithm, where it has one."""
        stated, solved = self.points[k]
        least = min(*self.inputs[k].input.limits, *solved, solved[0] if stated is None else stated)
        return np.log if least > 0 else np.asarray

    def logs(self, values: Floats) -> Floats:
        """Return v (d, 2l + 1, s) of each input at values (s, d); see `numbers_of`."""
        return np.stack([self._curve(k, x) for k, x in enumerate(values.T)])

    def together(self, values: Floats) -> Floats:
        """Return w (2l + 1, s) at values (s, d)."""
        pair = self.pair
        if pair is None:
            return np.zeros((len(numbers_of(self.itself)), len(values)))
        (a, g), (b, h) = (self._quadrant(k, values[:, k]) for k in pair.places)
        left = np.stack([np.log(numbers_of(o) / numbers_of(self.itself)) for o in pair.corners], axis=-1)
        ends = np.array([[self.points[k][1][at] for at in (0, -1)] for k in pair.places])
        corner = np.tile([item.input.quantiles(np.array(0.5)) for item in self.inputs], (4, 1))
        corner[:, pair.places] = [(x, y) for x in ends[0] for y in ends[1]]
        left -= self.logs(corner)[list(pair.places)].sum(axis=0)
        return np.asarray(left[:, 2 * a + b] * g * h)

    def _quadrant(self, k: int, x: Floats) -> tuple[Ints, Floats]:
        """Return which solved end each value of an input lies towards (s,), and how far along (s,)."""
        stated, solved = self.points[k]
        scale = self.scale(k)
        middle = float(self.inputs[k].input.quantiles(np.array(0.5)))
        t, t0 = scale(x), float(scale(np.array(middle if stated is None else stated)))
        low, high = scale(np.array([solved[0], solved[-1]]))
        upper = (t >= t0) if low < t0 < high else np.full(t.shape, high > t0)
        along = np.where(upper, (t - t0) / (high - t0), (t - t0) / (low - t0))
        return upper.astype(int), np.clip(along, -FARTHEST, 1 + FARTHEST)

    def _curve(self, k: int, x: Floats) -> Floats:
        """Return v (2l + 1, s) at values (s,) of an input."""
        (stated, solved), itself = self.points[k], numbers_of(self.itself)
        v = [np.log(numbers_of(outcome) / itself)[:, None] for outcome in self.changed[k]]
        if stated is not None:
            solved, v = (stated, *solved), [np.zeros_like(v[0]), *v]
        scale = self.scale(k)
        at, t = scale(x), scale(np.array(solved))
        first = (v[1] - v[0]) / (t[1] - t[0])  # divided differences
        second = ((v[2] - v[1]) / (t[2] - t[1]) - first) / (t[2] - t[0])
        inside = np.clip(at, t.min(), t.max())
        slope = first + second * (2 * inside - t[0] - t[1])
        parabola = v[0] + (first + second * (inside - t[1])) * (inside - t[0])
        return np.asarray(parabola + slope * (at - inside))  # straight outside

    def sampled(self, values: Floats, *, progress: Progress = lambda _: None) -> list[Outcome]:
        """Solve the cases at values (s, d) one by one, on the same level."""
        keys = [item.input.key for item in self.inputs]
        rows = [dict(zip(keys, row, strict=True)) for row in values.tolist()]
        changes = [
            Change("what is left open", f"case {k} of {len(rows)}", row)
            for k, row in enumerate(rows, start=1)
        ]
        return _solved(self.case, changes, self.level, progress)

    def with_pair(self, progress: Progress) -> Curves:
        """Return the curves with w of the two inputs that weigh most under the governing load."""
        if len(self.changed) < 2 or self.gives_way:
            return self
        values = values_of(self.inputs, unit_sample(SAMPLE, len(self.inputs), SEED))
        weight = np.var(self.logs(values)[:, self.governing], axis=1)
        i, j = np.argsort(-weight)[:2].tolist()
        keys = [self.inputs[k].input.key for k in (i, j)]
        ends = [(self.points[k][1][0], self.points[k][1][-1]) for k in (i, j)]
        changes = [
            Change("what is left open", " and ".join(keys), dict(zip(keys, corner, strict=True)))
            for corner in product(*ends)
        ]
        found = _solved(self.case, changes, self.level, progress)
        return replace(self, pair=Pair(places=(i, j), corners=tuple(found)))


@dataclass(frozen=True, kw_only=True)
class Pair:
    """Two inputs by their places, and what came of their `corners`: the second changes first."""

    places: tuple[int, int]
    corners: tuple[Outcome, ...]


def curves_of(case: Case, *, alone: bool = False, progress: Progress = lambda _: None) -> Curves:
    """Solve a case and each change of one input that it leaves open, on coarse elements.

    Where gmsh is missing, changes of the shape are left out, and a stored mesh serves the others. With
    `alone` the case itself is solved and no change.

    Raises
    ------
    CaseError, EnvironmentProblem
        As `with_ranges` does.
    """
    inputs = _sound(case)
    try:
        return _curves(case, inputs, ROUGH, alone, progress).with_pair(progress)
    except EnvironmentProblem:
        geometry = stage_keys(case)[0]
        kept = [
            item
            for item in inputs
            if stage_keys(changed(case, {item.input.key: item.input.limits[0]}))[0] == geometry
        ]
        return _curves(case, kept, STORED, alone, progress).with_pair(progress)


def _curves(
    case: Case, inputs: Sequence[Sourced], level: str, alone: bool, progress: Progress
) -> Curves:
    points = [] if alone else [_points(item.input, case) for item in inputs]
    changes = [
        Change("what is left open", item.input.key, {item.input.key: x})
        for item, (_, at) in zip(inputs, points, strict=not alone)
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
            assert_within_limits(case, [item])
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


def _of_curves(answer: CheckResult, curves: Curves, values: Floats) -> Ranges:
    """Return the ranges of (25) from values (s, d) of the inputs."""
    inputs, v, w = curves.inputs, curves.logs(values), curves.together(values)
    y, place = numbers_of(outcome_of(answer)), answer.loads.index(answer.governing)
    sample = y[:, None] * np.exp(v.sum(axis=0) + w)
    of_peak = v[:, place]
    variance = np.var(of_peak, axis=1)
    shares = variance / (variance.sum() or 1.0)

    def narrowed(k: int) -> Range | None:
        known = curves.pair is not None and k in curves.pair.places  # then w is zero
        both = 0.0 if known else w[place]
        return _range(y[place] * np.exp(of_peak.sum(axis=0) - of_peak[k] + both))

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
    values = values_of(inputs, unit_sample(COUNTED, len(inputs), SEED))
    solved = curves.sampled(values, progress=progress)
    found = [outcome for outcome in solved if not outcome.reason]
    if not found or itself.reason:  # nothing to put the coarse elements beside
        return _unknown(answer, inputs)
    # The ratio to coarse elements is known where the case itself bears the load.
    finer = np.nan_to_num(numbers_of(outcome_of(answer)) / numbers_of(itself), nan=1.0)
    sample = np.stack([numbers_of(outcome) for outcome in found], axis=1) * finer[:, None]
    lost = np.array([[load.gives_way_at is not None for load in o.loads] for o in found]).T
    sample[:count][lost] = sample[count : 2 * count][lost] = np.inf
    return Ranges(
        inputs=tuple(_open_input(item) for item in inputs),
        loads=_load_ranges(answer, sample),
        torque_ncm=_range(sample[-1]),
        counted=len(found),
    )


def _unknown(answer: CheckResult, inputs: Sequence[Sourced]) -> Ranges:
    nothing = np.full((2 * len(answer.loads) + 1, 1), np.nan)
    told = tuple(_open_input(item) for item in inputs)
    return Ranges(inputs=told, loads=_load_ranges(answer, nothing), torque_ncm=None)


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
