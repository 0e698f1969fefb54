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
class Explained:
    """An answer, and what of its explanation was computed: `six` is None and the others empty if not."""

    answer: CheckResult
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
