"""A case solved on a grid of one or more of its numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from stillroot.errors import CaseError
from stillroot.inputs.uncertain import LARGEST
from stillroot.inputs.vary import assert_apart, assert_varies, changed
from stillroot.studies.outcome import peaks_of, table_of
from stillroot.studies.running import Where, run
from stillroot.studies.trust import Failures, failures_of, relative_error

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import polars as pl

    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.running import Progress

MOST_CASES = 100_000
GIVEN = (
    "must be KEY=from:to:count, such as load_factor=0.5:1.5:11 (with :log at its end the steps are "
    "factors), or KEY=value,value,…"
)


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """A grid and its outcomes.

    `grid` lists the values of each key; `outcomes` belong to their combinations, the last key fastest.
    `relative_error`: the largest relative numerical error of a peak, on a few of the cases.
    """

    case: Case
    grid: Mapping[str, tuple[float, ...]]
    outcomes: tuple[Outcome, ...]
    relative_error: float | None

    @property
    def failures(self) -> Failures:
        """The cases without an answer."""
        return failures_of(self.outcomes)

    @property
    def points(self) -> tuple[tuple[float, ...], ...]:
        """The values of every case, in the order of the grid's keys."""
        return tuple(product(*self.grid.values()))

    @property
    def peaks_um(self) -> Floats:
        """The largest peak of each case, shaped as the grid; NaN where there is none."""
        return peaks_of(self.outcomes).reshape([len(values) for values in self.grid.values()])

    def table(self) -> pl.DataFrame:
        """Return a row for each case and load."""
        named = {key: [p[i] for p in self.points] for i, key in enumerate(self.grid)}
        return table_of(named, self.outcomes)


def sweep(
    case: Case,
    grid: Mapping[str, Sequence[float]],
    where: Where | None = None,
    *,
    progress: Progress = lambda *_: None,
) -> Sweep:
    """Solve a case at every combination of values of some of its numbers, named by their keys.

    Raises
    ------
    CaseError
        A key is no number of the case, a list of values is empty, or a combination is no valid case.
    EnvironmentProblem
        As `run` does.
    """
    for key, values in grid.items():
        assert_varies(key)
        if len(values) == 0:
            msg = f"{key}: has no values to sweep over"
            raise CaseError(msg, key=key)
    assert_apart(grid)
    size = math.prod(len(values) for values in grid.values())
    if not grid or size > MOST_CASES:
        msg = f"a sweep must have 1 to {MOST_CASES} cases over one key or more; this one has {size}"
        raise CaseError(msg)
    plain = {key: tuple(float(value) for value in values) for key, values in grid.items()}
    cases = [changed(case, dict(zip(plain, point, strict=True))) for point in product(*plain.values())]
    where = where or Where()
    outcomes = run(cases, where, progress=progress)
    return Sweep(
        case=case,
        grid=plain,
        outcomes=tuple(outcomes),
        relative_error=relative_error(cases, outcomes, where, progress),
    )


def parsed(text: str) -> tuple[str, tuple[float, ...]]:
    """Return the key and the values of "KEY=from:to:count", "KEY=from:to:count:log" or "KEY=a,b,c".

    Raises
    ------
    CaseError
        The text is none of these, or its range is empty.
    """
    key, equals, given = text.partition("=")
    key = key.strip()
    told = f"--vary {text}"
    if not equals:
        msg = f"{told}: {GIVEN}"
        raise CaseError(msg)
    assert_varies(key, "--vary ")
    try:
        values = _values(given, told)
        if not all(abs(value) <= LARGEST for value in values):
            raise ValueError  # noqa: TRY301 - reported below
    except ValueError:
        msg = f"{told}: {GIVEN}"
        raise CaseError(msg, key=key) from None
    return key, values


def _values(given: str, told: str) -> tuple[float, ...]:
    low_text, *more = given.split(":")
    if not more:
        return tuple(float(part) for part in given.split(","))
    high_text, count_text, *log = more  # a ValueError where there are fewer
    low, high, count = float(low_text), float(high_text), int(count_text)
    if log not in ([], ["log"]) or not all(abs(end) <= LARGEST for end in (low, high)):
        raise ValueError
    if count < 2 or count > MOST_CASES:
        msg = f"{told}: must have 2 to {MOST_CASES} values"
        raise CaseError(msg)
    if not low < high:
        msg = f"{told}: is an empty range; its end must be above its beginning"
        raise CaseError(msg)
    if log and low <= 0:
        msg = f"{told}: must begin above 0 where its steps are factors"
        raise CaseError(msg)
    steps = np.geomspace(low, high, count) if log else np.linspace(low, high, count)
    return tuple(float(f"{step:.12g}") for step in steps)  # no 0.30000000000000004
