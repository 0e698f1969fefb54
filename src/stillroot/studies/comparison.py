"""Cases side by side: how their inputs differ, and which differences in the peak are meaningful.

A difference is judged against the numerical errors of both peaks and against the spread: both cases are
sampled with the same draw for every input that they share, and the share of samples in which one moves
more than the other is counted.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.answer import check
from stillroot.errors import CaseError, StillrootError
from stillroot.studies.outcome import outcome_of, peaks_of, table_of
from stillroot.studies.running import Where, run
from stillroot.studies.spreads import assert_samples, cases_of, sound_inputs, unit_sample, values_of
from stillroot.studies.trust import Failures, failures_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import polars as pl

    from stillroot.answers.result import CheckResult
    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case
    from stillroot.studies.running import Progress

SAMPLES = 32
SURE = 0.95
"""Share of the samples in which one case must move more for a difference to exceed the spread."""
MOST_CASES = 12
LEFT_OUT = ("title", "spread", "threshold")


@dataclass(frozen=True, kw_only=True)
class InputDifference:
    """A key whose value is not the same in all cases; None where a case does not have it."""

    key: str
    values: tuple[Any, ...]


@dataclass(frozen=True, kw_only=True)
class PairDifference:
    """How two cases differ in their largest peak: `second` less `first` [µm].

    `error_um`: the sum of both numerical errors. `first_moves_more`, `second_moves_more`: share of the
    samples in which that case moves more, None without samples; in the rest both move alike.
    """

    first: int
    second: int
    difference_um: float
    error_um: float
    first_moves_more: float | None
    second_moves_more: float | None

    @property
    def does_so(self) -> float | None:
        """Share of the samples that agree with the sign of the stated difference."""
        return self.second_moves_more if self.difference_um > 0 else self.first_moves_more

    @property
    def beyond_error(self) -> bool:
        """Whether the difference exceeds the numerical errors."""
        return abs(self.difference_um) > self.error_um

    @property
    def beyond_spread(self) -> bool | None:
        """Whether nearly all samples agree with the difference; None without samples."""
        return None if self.does_so is None else self.does_so >= SURE


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Cases, the answer to each, and their differences.

    `sampled_um` (c, s): the largest peak of each case in each sample, NaN without an answer; s = 0
    without a spread.
    """

    names: tuple[str, ...]
    results: tuple[CheckResult, ...]
    inputs: tuple[InputDifference, ...]
    pairs: tuple[PairDifference, ...]
    sampled_um: Floats
    failures: Failures | None

    def interval_um(self, place: int) -> tuple[float, float] | None:
        """Return the 5 and 95 % quantiles of a case's peak over the samples."""
        known = self.sampled_um[place][~np.isnan(self.sampled_um[place])]
        if known.size == 0:
            return None
        low, high = np.quantile(known, [0.05, 0.95])
        return float(low), float(high)

    def table(self) -> pl.DataFrame:
        """Return a row for each case and load."""
        named = {"case": self.names, "title": [result.case.title for result in self.results]}
        return table_of(named, [outcome_of(result) for result in self.results])


def compare(
    cases: Mapping[str, Case],
    where: Where | None = None,
    *,
    with_spread: bool = True,
    samples: int = SAMPLES,
    bone_type: int | None = None,
    progress: Progress = lambda *_: None,
) -> Comparison:
    """Check every case and compare their largest peaks.

    Raises
    ------
    CaseError
        Fewer than two cases, too many, or a bad sample count or spread.
    MeshError, NotConverged, EnvironmentProblem
        As `check` does.
    """
    if not 2 <= len(cases) <= MOST_CASES:
        msg = f"{len(cases)} cases: a comparison takes from 2 to {MOST_CASES}"
        raise CaseError(msg)
    names, listed = tuple(cases), list(cases.values())
    sampled = np.empty((len(cases), 0))
    failures = None
    if with_spread:
        assert_samples(samples)
        many = _samples(cases, samples, bone_type)
        outcomes = run(many, where or Where(), what="samples", progress=progress)
        failures = failures_of(outcomes)
        sampled = peaks_of(outcomes).reshape(len(cases), samples)
    results = []
    for place, case in enumerate(listed):
        progress(place, len(listed), names[place])
        with _named(names[place]):
            results.append(check(case))
    return Comparison(
        names=names,
        results=tuple(results),
        inputs=input_differences(listed),
        pairs=tuple(
            _pair(results, sampled, first, second)
            for first, second in combinations(range(len(results)), 2)
        ),
        sampled_um=sampled,
        failures=failures,
    )


def input_differences(cases: Sequence[Case]) -> tuple[InputDifference, ...]:
    """Return the keys whose values, defaults included, are not the same in all cases."""
    flat = [_flat({k: v for k, v in case.to_dict().items() if k not in LEFT_OUT}) for case in cases]
    keys = dict.fromkeys(key for values in flat for key in values)
    found = [InputDifference(key=key, values=tuple(v.get(key) for v in flat)) for key in keys]
    return tuple(item for item in found if any(v != item.values[0] for v in item.values))


def _flat(value: Any, before: str = "") -> dict[str, Any]:
    """Return nested tables as a flat one with dotted keys; lists of tables count from 1."""
    if isinstance(value, dict):
        parts = [_flat(v, f"{before}.{key}" if before else key) for key, v in value.items()]
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        parts = [_flat(v, f"{before}[{place}]") for place, v in enumerate(value, start=1)]
    else:
        return {before: value}
    return {key: v for part in parts for key, v in part.items()}


@contextmanager
def _named(name: str) -> Iterator[None]:
    """Put the name of the case in front of an error message."""
    try:
        yield
    except StillrootError as error:
        error.args = (f"{name}: {error}",)
        raise


def _samples(named: Mapping[str, Case], samples: int, bone_type: int | None) -> list[Case]:
    """Return the samples of every case; inputs with the same key have the same draws in all cases."""
    spreads = []
    for name, case in named.items():
        with _named(name):
            spreads.append(sound_inputs(case, samples, bone_type))
    keys = list(dict.fromkeys(item.input.key for inputs in spreads for item in inputs))
    u = unit_sample(samples, len(keys), 1)
    many = []
    for case, inputs in zip(named.values(), spreads, strict=True):
        own = u[:, [keys.index(item.input.key) for item in inputs]]
        many += cases_of(case, inputs, values_of(inputs, own))
    return many


def _pair(results: Sequence[CheckResult], sampled: Floats, first: int, second: int) -> PairDifference:
    a, b = results[first].governing, results[second].governing
    both = sampled[[first, second]]
    known = both[:, ~np.isnan(both).any(axis=0)]
    taken = known.shape[1] > 0
    return PairDifference(
        first=first,
        second=second,
        difference_um=b.peak.total_um - a.peak.total_um,
        error_um=a.error.total_um + b.error.total_um,
        first_moves_more=float(np.mean(known[0] > known[1])) if taken else None,
        second_moves_more=float(np.mean(known[1] > known[0])) if taken else None,
    )
