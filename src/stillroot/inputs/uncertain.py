"""An input that is known only roughly: a range, a normal or a log-normal distribution.

In a case file each is one line of [spread], under the name of its key::

    bone.trabecular_modulus_mpa = [100, 400]                # uniform between the two
    interface.friction = { mean = 0.4, sd = 0.1 }           # normal, cut at 3 sd
    trabecular_factor = { median = 1, factor = 2 }          # log-normal, 90 % from 1/2 to 2
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from stillroot.arrays import Floats

CUT_SD = 3.0
"""A normal distribution is truncated this many standard deviations from its mean."""
WITHIN = 0.90
"""Share of a log-normal distribution between median/factor and median·factor."""
LARGEST, LARGEST_FACTOR = 1e100, 1000.0
"""Larger than any key allows, but far from overflow."""
NAMES = {"normal": ("mean", "sd"), "lognormal": ("median", "factor")}
RIGHT = (
    "must be a range such as [100, 400], { mean = 0.4, sd = 0.1 }, or { median = 200, factor = 2 } (90 "
    "% lie from median/factor to median·factor)"
)


@dataclass(frozen=True, kw_only=True)
class Uncertain:
    """The distribution of a key's value.

    `kind` "range" (low, high), "normal" (mean, sd) or "lognormal" (median, factor); `first` and `second`
    are the two numbers, in that order.
    """

    key: str
    kind: str
    first: float
    second: float

    @property
    def written(self) -> list[float] | dict[str, float]:
        """The distribution in the form of a case file."""
        if self.kind == "range":
            return [self.first, self.second]
        return dict(zip(NAMES[self.kind], (self.first, self.second), strict=True))

    @property
    def in_words(self) -> str:
        """The distribution in words."""
        if self.kind == "range":
            return f"{self.first:g} to {self.second:g}"
        if self.kind == "normal":
            return f"{self.first:g} (SD {self.second:g})"
        return f"{self.first:g}, 90 % within a factor of {self.second:g}"

    @property
    def limits(self) -> tuple[float, float]:
        """The smallest and the largest value sampled; for a log-normal, at 3 sigma."""
        if self.kind == "range":
            return self.first, self.second
        low, high = self._at(np.array([-CUT_SD, CUT_SD]))
        return float(low), float(high)

    def quantiles(self, u: Floats) -> Floats:
        """Return the values at probabilities u in (0, 1), any shape."""
        from scipy.stats import truncnorm  # noqa: PLC0415 - slow to import

        if self.kind == "range":
            return self.first + (self.second - self.first) * u
        return self._at(np.asarray(truncnorm(-CUT_SD, CUT_SD).ppf(u)))

    def probability(self, value: float) -> float:
        """Return the probability of a smaller value, 0 or 1 outside the limits."""
        from scipy.stats import truncnorm  # noqa: PLC0415 - slow to import

        if self.kind == "range":
            return min(max((value - self.first) / (self.second - self.first), 0.0), 1.0)
        if self.kind == "normal":
            z = (value - self.first) / self.second
        elif value <= 0:
            return 0.0
        else:
            z = math.log(value / self.first) / self._sigma
        return float(truncnorm(-CUT_SD, CUT_SD).cdf(z))

    def _at(self, z: Floats) -> Floats:
        """Return the values z standard deviations from the middle; of the logarithm for a log-normal."""
        if self.kind == "normal":
            return self.first + self.second * z
        return np.asarray(self.first * np.exp(self._sigma * z))

    @property
    def _sigma(self) -> float:
        """The standard deviation of the logarithm of a log-normal."""
        from scipy.stats import norm  # noqa: PLC0415 - slow to import

        return float(math.log(self.second) / norm.ppf(0.5 + WITHIN / 2))


def flattened(table: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    """Yield dotted keys and raw distributions of a raw [spread] table, nested tables flattened."""
    for name, inner in table.items():
        if isinstance(inner, Mapping) and not inner.keys() & {"mean", "sd", "median", "factor"}:
            yield from flattened(inner, f"{before}{name}.")
        else:
            yield f"{before}{name}", inner


def nested(spread: Iterable[Uncertain]) -> dict[str, Any]:
    """Return the [spread] table, its keys nested like the sections."""
    table: dict[str, Any] = {}
    for item in spread:
        *path, name = item.key.split(".")
        place = table
        for step in path:
            place = place.setdefault(step, {})
        place[name] = item.written
    return table


def distribution(key: str, value: object) -> Uncertain | str:
    """Return the distribution of a raw value, or what is wrong with it."""
    if isinstance(value, list | tuple):
        numbers, kind = list(value), "range"
    elif isinstance(value, Mapping) and set(value) in map(set, NAMES.values()):
        kind = "normal" if "mean" in value else "lognormal"
        numbers = [value[name] for name in NAMES[kind]]
    else:
        return RIGHT
    sound = all(isinstance(n, int | float) and not isinstance(n, bool) for n in numbers)
    if len(numbers) != 2 or not sound or not all(abs(n) <= LARGEST for n in numbers):
        return RIGHT
    first, second = (float(n) for n in numbers)
    if kind == "range" and second <= first:
        return f"is an empty range: its end must be above its beginning, {first:g}"
    if kind == "normal" and second <= 0:
        return "must have an sd above 0"
    if kind == "lognormal" and (first <= 0 or not 1 < second <= LARGEST_FACTOR):
        return f"must have a median above 0 and a factor above 1, at most {LARGEST_FACTOR:g}"
    return Uncertain(key=key, kind=kind, first=first, second=second)
