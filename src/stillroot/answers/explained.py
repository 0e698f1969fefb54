"""An answer with what explains it: six directions, levers, and the peak under other choices."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stillroot.answers.result import DirectionsResult

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult
    from stillroot.mechanics.six_directions import SixDirections


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The result of an alternative: a peak [µm] for each load, None where it finds no equilibrium.

    `reason` is empty, or says why there is no answer at all.
    """

    subject: str
    text: str
    peaks_um: tuple[float | None, ...]
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Lever:
    """The result of a change: each load's peak relative to the answer's, None where either gives way.

    `peaks_um`: the peaks themselves, on the coarser elements that the ratios come from. `by_plan`: it
    can be decided; otherwise it is known only roughly. `reason` is empty, or says why there is no answer
    at all.
    """

    by_plan: bool
    text: str
    ratios: tuple[float | None, ...]
    reason: str = ""
    peaks_um: tuple[float | None, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Range:
    """A number over what is left open: 90 % lie from `low` to `high`, half below the `median`.

    None stands for what lies where the implant gives way.
    """

    low: float
    median: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class OpenInput:
    """An input that a case leaves open, in words, with the source of its range.

    `share` is the part of the variance of the logarithm of the governing peak that it explains, None
    where that was not found out.
    `measurement` says how it could be known, "" where it cannot be measured; `narrowed` is the range of
    that peak if it were, at best.
    """

    key: str
    text: str
    in_words: str
    source: str
    share: float | None = None
    measurement: str = ""
    narrowed: Range | None = None


@dataclass(frozen=True, kw_only=True)
class LoadRange:
    """The ranges of a load's peak and head movement [µm]; None where nearly all give way.

    `bands`: the share of the range in each band, in words; `gives_way`: the share in which it gives way.
    """

    peak_um: Range | None
    head_um: Range | None
    bands: tuple[tuple[str, float], ...]
    gives_way: float


@dataclass(frozen=True, kw_only=True)
class Ranges:
    """The ranges of an answer over the inputs that its case leaves open, those that weigh most first.

    `torque_ncm` is None where there is no torque. `counted`: number of cases solved one by one, where
    the ranges come from them; 0 where they come from one change at a time.
    """

    inputs: tuple[OpenInput, ...]
    loads: tuple[LoadRange, ...]
    torque_ncm: Range | None
    counted: int = 0


@dataclass(frozen=True, kw_only=True)
class Explained:
    """An answer, and what of its explanation was computed: None or empty where it was not."""

    answer: CheckResult
    ranges: Ranges | None = None
    six: SixDirections | None = None
    levers: tuple[Lever, ...] = ()
    choices: tuple[Choice, ...] = ()

    @property
    def directions(self) -> DirectionsResult | None:
        """The six directions as an answer of their own; None where they were not computed."""
        if self.six is None:
            return None
        return DirectionsResult(
            case=self.answer.case,
            six=self.six,
            torque=self.answer.torque,
            interference_um=self.answer.interference_um,
            versions=self.answer.versions,
        )

    def __repr__(self) -> str:
        """Return what a reader of a notebook wants first: the answer."""
        return repr(self.answer)


def as_explained(result: CheckResult | Explained) -> Explained:
    """Return an answer as an explained one, also where nothing explains it yet."""
    return result if isinstance(result, Explained) else Explained(answer=result)
