"""What the uncertainty of the inputs does to the peak, and which inputs drive it.

Two independent samples A and B of the d inputs, n rows each, are taken from one scrambled Sobol'
sequence in 2d dimensions (Sobol' 1967, USSR Comput Math Math Phys 7:86-112; Owen 1998, J Complexity
14:466-489, both from memory), and d samples AB_i, each being A with its i-th input from B (Saltelli et
al. 2010, Comput Phys Commun 181:259-270, from memory). A and B together give the distribution of the
peak; all give the Sobol' indices of its logarithm: the share of the variance that an input explains
alone (first order) and with all its interactions (total). With V the variance of f = ln(peak)::

    S_i = 1 - Σ (f_B - f_AB_i)² / 2nV,     S_Ti = Σ (f_A - f_AB_i)² / 2nV              (24)

(Jansen 1999, Comput Phys Commun 117:35-43, from memory): neither leaves the range 0 to 1 by much, even
where n is small. scipy samples and bootstraps.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.wording import band_of, bands_in_words
from stillroot.errors import CaseError
from stillroot.inputs.vary import assert_apart, assert_varies, changed
from stillroot.studies.outcome import peaks_of, table_of
from stillroot.studies.running import Where, run
from stillroot.studies.shipped_spread import spread_of
from stillroot.studies.trust import Failures, failures_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl

    from stillroot.arrays import Floats, Ints
    from stillroot.inputs.case import Case
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.running import Progress
    from stillroot.studies.shipped_spread import Sourced

SAMPLES = 64
LEAST_SAMPLES, MOST_SAMPLES = 8, 8192
LEAST_FOR_DRIVERS = 8
CONFIDENCE = 0.95
"""Confidence level of the intervals that allow for the sample size."""
RESAMPLES = 999
"""Bootstrap resamples of the rows for these intervals."""
RARE = 0.05
"""Chance below which a band counts as out of reach."""
SEED = 1
A, B = "A", "B"


@dataclass(frozen=True)
class Interval:
    """An estimate and its confidence interval for the sample size, at level `CONFIDENCE`."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class BandChance:
    """The chance that the peak lies in a band."""

    band: str
    chance: Interval


@dataclass(frozen=True, kw_only=True)
class Driver:
    """Share of the variance of ln(peak) that an input explains: alone, and with all its interactions."""

    key: str
    first: Interval
    total: Interval


@dataclass(frozen=True, kw_only=True)
class Spread:
    """A sampled case.

    `values` (s, d) of the `inputs`; `part` names the sample of each row ("A", "B", or the key that comes
    from B); `nominal` is the outcome of the case itself, with its numerical error.
    """

    case: Case
    inputs: tuple[Sourced, ...]
    values: Floats
    part: tuple[str, ...]
    outcomes: tuple[Outcome, ...]
    nominal: Outcome
    drivers: tuple[Driver, ...]
    rows_for_drivers: int

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys of the inputs."""
        return tuple(item.input.key for item in self.inputs)

    @property
    def failures(self) -> Failures:
        """The samples without an answer."""
        return failures_of(self.outcomes)

    @property
    def peaks_um(self) -> Floats:
        """The peaks of samples A and B that have one, in increasing order."""
        peaks = np.sort(peaks_of(self._plain))
        return peaks[~np.isnan(peaks)]

    @property
    def without_answer(self) -> int:
        """Number of samples of A and B without a peak."""
        return len(self._plain) - len(self.peaks_um)

    @property
    def _plain(self) -> list[Outcome]:
        """Outcomes of samples A and B."""
        return [o for o, p in zip(self.outcomes, self.part, strict=True) if p in (A, B)]

    def quantile_um(self, share: float) -> float:
        """Return the peak that this share of the samples does not exceed."""
        return float(np.quantile(self.peaks_um, share))

    @property
    def median_um(self) -> Interval:
        """Median of the peak; its interval from order statistics."""
        from scipy.stats import quantile_test  # noqa: PLC0415 - slow to import

        peaks = self.peaks_um
        found: Any = quantile_test(peaks, p=0.5).confidence_interval(CONFIDENCE)
        low = peaks[0] if math.isnan(found.low) else found.low
        high = peaks[-1] if math.isnan(found.high) else found.high
        return Interval(value=self.quantile_um(0.5), low=float(low), high=float(high))

    @property
    def bands(self) -> tuple[BandChance, ...]:
        """The chance of each band, among all samples; a sample without an answer lies in none.

        Intervals are those of independent samples (Wilson 1927, J Am Stat Assoc 22:209-212); samples
        that fill space evenly, as these do, have smaller errors.
        """
        edges = self.case.threshold.bands_um
        count = len(self.peaks_um) + self.without_answer
        found = [band_of(float(peak), edges) for peak in self.peaks_um]
        return tuple(
            BandChance(band=band, chance=_chance(found.count(band), count))
            for band in bands_in_words(edges)
        )

    @property
    def mostly_answered(self) -> bool:
        """Whether samples without an answer are too rare to be reported as a chance of their own."""
        return self.without_answer < RARE * (len(self.peaks_um) + self.without_answer)

    @property
    def likely_bands(self) -> tuple[str, ...]:
        """The bands that contain the peak with a chance of `RARE` or more."""
        return tuple(band.band for band in self.bands if band.chance.value >= RARE)

    def table(self) -> pl.DataFrame:
        """Return a row for each sample and load."""
        named: dict[str, Any] = {"sample": list(self.part)}
        named |= {key: self.values[:, i].tolist() for i, key in enumerate(self.keys)}
        return table_of(named, self.outcomes)


def spread(
    case: Case,
    where: Where | None = None,
    *,
    samples: int = SAMPLES,
    bone_type: int | None = None,
    drivers: bool = True,
    seed: int = SEED,
    progress: Progress = lambda *_: None,
) -> Spread:
    """Sample the uncertain inputs of a case and solve every sample.

    `samples` is n, a power of two: 2n cases are solved, or with `drivers` n (d + 2) for d inputs.

    Raises
    ------
    CaseError
        The sample count is no power of two in range, an input is no number of the case, or a range
        reaches beyond what the case allows.
    EnvironmentProblem
        As `run` does.
    """
    where = where or Where()
    inputs = sound_inputs(case, samples, bone_type)
    a, b = np.hsplit(unit_sample(samples, 2 * len(inputs), seed), 2)
    mixed = np.where(np.eye(len(inputs), dtype=bool)[:, None, :], b, a) if drivers else ()
    values = values_of(inputs, np.vstack([a, b, *mixed]))
    keys = [item.input.key for item in inputs] if drivers else []
    part = tuple(np.repeat([A, B, *keys], samples).tolist())
    outcomes = run(cases_of(case, inputs, values), where, what="samples", progress=progress)
    (nominal,) = run([case], where, with_error=True, what="the case itself", progress=progress)
    found, rows = _drivers(inputs, outcomes, samples) if drivers else ((), 0)
    return Spread(
        case=case,
        inputs=inputs,
        values=values,
        part=part,
        outcomes=tuple(outcomes),
        nominal=nominal,
        drivers=found,
        rows_for_drivers=rows,
    )


def sound_inputs(case: Case, samples: int, bone_type: int | None) -> tuple[Sourced, ...]:
    """Return the uncertain inputs of a case, refused before anything is solved where they are unsound.

    Raises
    ------
    CaseError
        As `assert_samples`, `spread_of` and `assert_within_limits` do.
    """
    assert_samples(samples)
    inputs = spread_of(case, bone_type)
    assert_within_limits(case, inputs)
    return inputs


def assert_samples(samples: int) -> None:
    """Refuse a sample count that is no power of two from `LEAST_SAMPLES` to `MOST_SAMPLES`.

    Raises
    ------
    CaseError
        States which counts are allowed.
    """
    if not LEAST_SAMPLES <= samples <= MOST_SAMPLES or samples & (samples - 1):
        msg = (
            f"{samples} samples: must be a power of two from {LEAST_SAMPLES} to {MOST_SAMPLES}, such as "
            "64 (Sobol' sequences fill space evenly at powers of two)"
        )
        raise CaseError(msg)


def assert_within_limits(case: Case, inputs: Sequence[Sourced]) -> None:
    """Refuse an input whose range exceeds what the case allows, before anything is solved.

    Raises
    ------
    CaseError
        Names the first such end, and what is wrong with the case there.
    """
    for item in inputs:
        assert_varies(item.input.key, "spread.")
    assert_apart(item.input.key for item in inputs)
    for item in inputs:
        for end in item.input.limits:
            try:
                changed(case, {item.input.key: end})
            except CaseError as error:
                msg = (
                    f"spread.{item.input.key} = {item.input.in_words}: it reaches {end:.6g}, which is "
                    f"no sound case: {error}"
                )
                raise CaseError(msg, key=f"spread.{item.input.key}") from None


def unit_sample(n: int, d: int, seed: int) -> Floats:
    """Return n points of a scrambled Sobol' sequence in the open unit cube (n, d)."""
    from scipy.stats import qmc  # noqa: PLC0415 - slow to import

    return np.clip(qmc.Sobol(d, scramble=True, rng=seed).random(n), 1e-9, 1 - 1e-9)


def values_of(inputs: Sequence[Sourced], u: Floats) -> Floats:
    """Return the values (s, d) of inputs at probabilities (s, d)."""
    return np.column_stack([item.input.quantiles(u[:, i]) for i, item in enumerate(inputs)])


def cases_of(case: Case, inputs: Sequence[Sourced], values: Floats) -> list[Case]:
    """Return the case of each row of values (s, d)."""
    keys = [item.input.key for item in inputs]
    return [changed(case, dict(zip(keys, row, strict=True))) for row in values.tolist()]


def _chance(count: int, of: int) -> Interval:
    from scipy.stats import binomtest  # noqa: PLC0415 - slow to import

    found = binomtest(count, of).proportion_ci(CONFIDENCE, method="wilson")
    return Interval(value=count / of, low=float(found.low), high=float(found.high))


def _drivers(
    inputs: Sequence[Sourced], outcomes: Sequence[Outcome], n: int
) -> tuple[tuple[Driver, ...], int]:
    """Return the drivers, the strongest first, and the number of rows used.

    Rows with a case that has no answer are dropped, and then as many as leave a power of two.
    """
    from scipy.stats import bootstrap  # noqa: PLC0415 - slow to import

    blocks = np.log(peaks_of(outcomes)).reshape(len(inputs) + 2, n)
    whole = np.flatnonzero(~np.isnan(blocks).any(axis=0))
    rows = 2 ** int(math.log2(len(whole))) if len(whole) else 0
    if rows < LEAST_FOR_DRIVERS:
        return (), rows
    f = blocks[:, whole[:rows]]
    if np.ptp(f[:2]) == 0:  # no variance, so no drivers
        return (), rows

    def indices(row: Ints) -> Floats:
        # Sorted: BCa counts resamples equal to the estimate, so the same rows must give the same sums.
        row = np.sort(row, axis=-1)
        return _jansen(f[0, row], f[1, row], f[2:, row])

    with warnings.catch_warnings(), np.errstate(divide="ignore", invalid="ignore"):
        warnings.simplefilter("ignore")  # an input without effect has a degenerate bootstrap
        bounds: Any = bootstrap(
            [np.arange(rows)],
            indices,
            method="BCa",
            n_resamples=RESAMPLES,
            confidence_level=CONFIDENCE,
            rng=np.random.default_rng(SEED),
        ).confidence_interval
    values = indices(np.arange(rows))
    # An index that is equal in every resample is its own bound.
    low, high = (np.where(np.isnan(bound), values, bound) for bound in (bounds.low, bounds.high))
    intervals = np.stack([values, low, high], axis=-1).tolist()
    drivers = [
        Driver(key=item.input.key, first=Interval(*first), total=Interval(*total))
        for item, first, total in zip(inputs, *intervals, strict=True)
    ]
    return tuple(sorted(drivers, key=lambda driver: -driver.total.value)), rows


def _jansen(f_a: Floats, f_b: Floats, f_ab: Floats) -> Floats:
    """Return S and S_T (2, d) of equation (24) from f of the samples A and B (n,) and AB_i (d, n)."""
    twice = 2 * np.var([f_a, f_b])
    first = 1 - np.mean((f_b - f_ab) ** 2, axis=-1) / twice
    return np.stack([first, np.mean((f_a - f_ab) ** 2, axis=-1) / twice])
