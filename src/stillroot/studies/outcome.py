"""What a study keeps of a solved case, also as a table: a few numbers, or why there are none."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.answer import check
from stillroot.answers.chain import FAILURES, Chain, grounded, loads_of, resultant_of
from stillroot.errors import GivesWay, NotConverged
from stillroot.mechanics.contact import TOLERANCE
from stillroot.mechanics.loading import gives_way
from stillroot.mechanics.motion import micromotion
from stillroot.units import NMM_PER_NCM

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    import polars as pl

    from stillroot.answers.chain import Placed
    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.motion import HeadMovement, Micromotion
    from stillroot.mechanics.resultant import Resultant


NUMBERS: Mapping[str, str] = {
    "axial_n": "axial_n",
    "lateral_n": "lateral_n",
    "torque_ncm": "torque_ncm",
    "height_mm": "height_mm",
    "peak_um": "peak_micromotion_um",
    "error_um": "numerical_error_um",
    "sliding_um": "sliding_um",
    "opening_um": "opening_um",
    "depth_mm": "peak_depth_mm",
    "mean_um": "mean_micromotion_um",
    "p95_um": "p95_micromotion_um",
    "head_um": "head_movement_um",
    "head_error_um": "head_error_um",
}
"""Attributes of a load's outcome and their column names."""
OF_THE_CASE: Mapping[str, str] = {
    "torque_ncm": "insertion_torque_ncm",
    "interference_um": "interference_um",
    "engagement_length_mm": "engagement_length_mm",
    "engaged_threads": "engaged_threads",
}
"""Attributes of a case's outcome and their column names."""


GROWN = (0.25, 0.5, 0.75, 1.0, 1.35, 1.8, 2.4, 3.2, 4.3, 5.7, 7.5, 10.0)
"""Factors on a load that is grown."""


@dataclass(frozen=True, kw_only=True)
class LoadOutcome:
    """The outcome of one load; every number is None where `reason` says why there is none.

    `error_um` and `head_error_um`: the numerical error, None where it was not measured. `gives_way_at`:
    the share of the load at which the implant gives way, None where it does not. `curve`: factors on the
    load and the peak [µm] at each, where it was grown; it ends where the implant gives way.
    """

    name: str
    axial_n: float
    lateral_n: float
    torque_ncm: float
    height_mm: float
    peak_um: float | None = None
    sliding_um: float | None = None
    opening_um: float | None = None
    depth_mm: float | None = None
    mean_um: float | None = None
    p95_um: float | None = None
    head_um: float | None = None
    error_um: float | None = None
    head_error_um: float | None = None
    gives_way_at: float | None = None
    curve: tuple[tuple[float, float], ...] = ()
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """The outcome of one case; with a `reason` it has neither torque nor numbers of any load."""

    loads: tuple[LoadOutcome, ...]
    engagement_length_mm: float
    engaged_threads: float | None
    interference_um: float | None = None
    torque_ncm: float | None = None
    share_crushed: float | None = None
    reason: str = ""

    @property
    def governing(self) -> LoadOutcome | None:
        """The load with the largest peak; None where any load has none."""
        if self.reason or any(load.peak_um is None for load in self.loads):
            return None
        return max(self.loads, key=lambda load: load.peak_um or 0.0)

    @property
    def peak_um(self) -> float | None:
        """The largest peak, None where any load has none."""
        governing = self.governing
        return None if governing is None else governing.peak_um

    @property
    def why_not(self) -> str:
        """The reason why there is no peak; "" where there is one."""
        return self.reason or next((load.reason for load in self.loads if load.reason), "")

    def to_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> Outcome:
        """Return the outcome that `to_dict` wrote."""
        loads = (
            LoadOutcome(**{**load, "curve": tuple(map(tuple, load["curve"]))}) for load in data["loads"]
        )
        return cls(**{**data, "loads": tuple(loads)})


def peaks_of(outcomes: Iterable[Outcome], without: float = np.nan) -> Floats:
    """Return the largest peak of each case [µm], or what stands for a case without an answer."""
    return np.array([without if o.peak_um is None else o.peak_um for o in outcomes], dtype=float)


def table_of(named: Mapping[str, Sequence[Any]], outcomes: Sequence[Outcome]) -> pl.DataFrame:
    """Return a row for each load of each outcome; `named` gives further columns, one value per case.

    Where a case or load has no answer its numbers are null, and `reason` says why. The table is a polars
    data frame: it writes CSV and Parquet by itself, while pandas needs a second library for Parquet, and
    it has no index that could get lost on the way to a file.
    """
    import polars as pl  # noqa: PLC0415 - slow to import

    rows = [
        {
            **{name: values[place] for name, values in named.items()},
            "load": load.name,
            **{column: getattr(load, name) for name, column in NUMBERS.items()},
            "governs": load is outcome.governing,
            **{column: getattr(outcome, name) for name, column in OF_THE_CASE.items()},
            "reason": outcome.reason or load.reason,
        }
        for place, outcome in enumerate(outcomes)
        for load in outcome.loads
    ]
    numbers = dict.fromkeys((*NUMBERS.values(), *OF_THE_CASE.values()), pl.Float64)
    return pl.DataFrame(rows, schema_overrides=numbers, infer_schema_length=None)


def load_outcome(
    name: str, resultant: Resultant, motion: Micromotion, head: HeadMovement
) -> LoadOutcome:
    """Return the outcome of a solved load, without numerical errors."""
    peak = motion.peak
    return replace(
        unsolved(name, resultant, ""),
        peak_um=peak.total_um,
        sliding_um=peak.sliding_um,
        opening_um=peak.opening_um,
        depth_mm=peak.depth_mm + 0.0,
        mean_um=motion.mean_um,
        p95_um=motion.percentile_um(95),
        head_um=head.total_um,
    )


def unsolved(name: str, resultant: Resultant, reason: str) -> LoadOutcome:
    """Return the outcome of a load without numbers, with the reason."""
    return LoadOutcome(
        name=name,
        axial_n=resultant.axial_n,
        lateral_n=resultant.lateral_n,
        torque_ncm=resultant.torque_nmm / NMM_PER_NCM,
        height_mm=resultant.height_mm,
        reason=reason,
    )


def outcome_of(result: CheckResult) -> Outcome:
    """Return the outcome of a check, with its numerical errors."""
    return _of_seated(
        result.placed,
        map(_of_answer, result.loads),
    )


def _of_answer(answer: LoadAnswer) -> LoadOutcome:
    if answer.gives_way_at is not None:
        error = gives_way(f'load "{answer.name}"', answer.gives_way_at)
        told = unsolved(answer.name, answer.resultant, str(error))
        return replace(told, gives_way_at=answer.gives_way_at)
    return replace(
        load_outcome(answer.name, answer.resultant, answer.micromotion, answer.head),
        error_um=answer.error.total_um,
        head_error_um=answer.head_error.total_um,
    )


def _of_seated(placed: Placed, loads: Iterable[LoadOutcome]) -> Outcome:
    torque = placed.torque
    return Outcome(
        loads=tuple(loads),
        engagement_length_mm=placed.case.engagement_length_mm,
        engaged_threads=placed.case.engaged_threads,
        interference_um=placed.interference_um,
        torque_ncm=None if torque is None else torque.insertion_ncm,
        share_crushed=None if torque is None else torque.share_crushed,
    )


def for_any_moduli() -> Chain:
    """Return a chain for the cases of a study, whose moduli change as often as anything else."""
    return Chain(partial(grounded, for_any_moduli=True))


def solved(
    chain: Chain, case: Case, *, with_error: bool = False, tolerance: float = TOLERANCE
) -> Outcome:
    """Solve a case; where it has no answer the outcome says why.

    With the numerical error it is solved as by `stillroot check`, and no stage is reused; `tolerance` is
    that of a solve without.

    Raises
    ------
    EnvironmentProblem
        gmsh cannot be loaded and no stored mesh fits the case.
    """
    try:
        if with_error:
            return outcome_of(check(case))
        placed = chain.placed(case)
    except FAILURES as error:
        return no_outcome(case, str(error))
    return loaded(placed, tolerance=tolerance)


def loaded(placed: Placed, *, tolerance: float = TOLERANCE) -> Outcome:
    """Apply each load to a seated implant."""
    case, found = placed.case, []
    for item, (name, resultant) in zip(case.loads, loads_of(case), strict=True):
        try:
            reading = placed.read(placed.loaded(name, resultant, tolerance=tolerance), resultant)
        except NotConverged as error:
            share = error.share if isinstance(error, GivesWay) else None
            found.append(replace(unsolved(item.name, resultant, str(error)), gives_way_at=share))
        else:
            found.append(load_outcome(item.name, resultant, reading.motion, reading.head))
    return _of_seated(placed, found)


def grown(chain: Chain, case: Case, until_um: float) -> Outcome:
    """Return the curves of a case: each load grown until its peak passes a motion, at most tenfold.

    Raises
    ------
    EnvironmentProblem
        As `solved` does.
    """
    try:
        placed = chain.placed(case.with_numerics(load_steps=1))
    except FAILURES as error:
        return no_outcome(case, str(error))
    found = []
    for item, (name, resultant) in zip(case.loads, loads_of(case), strict=True):
        told = unsolved(item.name, resultant, "")
        try:
            found.append(replace(told, curve=_curve(placed, name, resultant, until_um)))
        except NotConverged as error:
            found.append(replace(told, reason=str(error)))
    return _of_seated(placed, found)


def _curve(
    placed: Placed, name: str, resultant: Resultant, until_um: float
) -> tuple[tuple[float, float], ...]:
    def peak_um(state: ContactState) -> float:
        return micromotion(placed.seated, state).peak.total_um

    def passed(state: ContactState, _: Resultant) -> bool:
        return peak_um(state) > until_um

    loading = placed.path(name, [resultant.scaled(factor) for factor in GROWN], until=passed)
    found: dict[float, float] = {}
    for factor, state in loading.along(GROWN):
        if not found or factor > max(found):  # near its limit a load may fall back a little
            found[factor] = peak_um(state)
    return tuple(found.items())


def no_outcome(case: Case, reason: str) -> Outcome:
    """Return the outcome of a case that has no answer, for a reason."""
    return Outcome(
        loads=tuple(unsolved(item.name, resultant_of(item), reason) for item in case.loads),
        engagement_length_mm=case.engagement_length_mm,
        engaged_threads=case.engaged_threads,
        reason=reason,
    )
