"""What an answer holds: plain results, which nothing explains yet."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from stillroot.answers.chain import Placed
from stillroot.answers.wording import NO_LINE, with_error
from stillroot.mechanics.accuracy import PARTS, ErrorEstimate
from stillroot.mechanics.fields import displacement

if TYPE_CHECKING:
    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.fields import Displacement
    from stillroot.mechanics.mesh import HalfSection
    from stillroot.mechanics.motion import HeadMovement, Micromotion, Peak
    from stillroot.mechanics.resultant import Resultant
    from stillroot.mechanics.seat import Seated
    from stillroot.mechanics.six_directions import SixDirections
    from stillroot.mechanics.strain import BoneStrain
    from stillroot.mechanics.torque import Torque


LEAST_CYCLES, DIED_OUT, LITTLE_GROWTH = 3, 0.5, 1e-3
"""Growth dies out once a cycle adds half of what the second added, or a thousandth of the peak, which is
what the solver leaves open; two cycles do not tell. Assumption."""


@dataclass(frozen=True, kw_only=True)
class Summary:
    """One sentence, and the limits of its reliability."""

    sentence: str
    limits: tuple[str, ...]

    @property
    def text(self) -> str:
        """The whole summary as text."""
        return " ".join((self.sentence, NO_LINE, *self.limits))


@dataclass(frozen=True, kw_only=True)
class Cycle:
    """Motions from the seated state, with the load on and once it is taken off again [µm]."""

    peak_um: float
    head_um: float
    remaining_peak_um: float
    remaining_head_um: float


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Motions (k,) [µm] from the seated state as a load grows to `shares` (k,) of it."""

    shares: Floats
    peak_um: Floats
    head_um: Floats


@dataclass(frozen=True, kw_only=True)
class LoadAnswer:
    """What one load does to the seated implant.

    Where the implant gives way, `gives_way_at` is the share of the load up to which it does not; the
    state and the motions are those there, and there is no error of them. `cycles` has each time that the
    load is applied and taken off again; `curves` the motions as it grows, those of linear bone second.
    `share_over_crush` is the share of the held surface at its limit under the load: beside it the bone
    has yielded or, where it is linear, bears more than it is assumed to (`bone.crush_strain`). `balance`
    is the imbalance of interface forces and load in their six components, see `imbalance`.
    """

    name: str
    resultant: Resultant
    state: ContactState
    micromotion: Micromotion
    head: HeadMovement
    error: ErrorEstimate
    head_error: ErrorEstimate
    band: str
    balance: float
    steps: int
    share_over_crush: float
    bone_strain: BoneStrain
    gives_way_at: float | None = None
    cycles: tuple[Cycle, ...] = ()
    curves: tuple[Curve, ...] = ()

    @property
    def reached(self) -> Resultant:
        """The load of the state and the motions: where the implant gives way, what it bears."""
        return self.resultant if self.gives_way_at is None else self.resultant.scaled(self.gives_way_at)

    @property
    def borne_peak_um(self) -> float | None:
        """The largest micromotion; None where the implant gives way."""
        return self.peak.total_um if self.gives_way_at is None else None

    @property
    def remaining(self) -> Cycle | None:
        """The last cycle, and what remains after it; None where the implant gives way."""
        return self.cycles[-1] if self.cycles else None

    @property
    def growth_dies_out(self) -> bool | None:
        """Whether the peak grows less from cycle to cycle; None with fewer than three of them."""
        peaks = [cycle.peak_um for cycle in self.cycles]
        if len(peaks) < LEAST_CYCLES:
            return None
        first, last = peaks[1] - peaks[0], peaks[-1] - peaks[-2]
        return last < max(DIED_OUT * first, LITTLE_GROWTH * peaks[-1])

    @property
    def severity(self) -> tuple[float, float]:
        """What the governing load has the most of: giving way early, or else the peak."""
        early = 0.0 if self.gives_way_at is None else 1 / max(self.gives_way_at, 1e-9)
        return early, self.peak.total_um

    @property
    def peak(self) -> Peak:
        """The largest micromotion and its place."""
        return self.micromotion.peak


def peak_text(answer: LoadAnswer) -> str:
    """Return the peak of a load with its error, or the share of it at which the implant gives way."""
    if answer.gives_way_at is not None:
        return f"gives way at {answer.gives_way_at:.0%} of the load"
    return f"{with_error(answer.peak.total_um, answer.error.total_um)} µm"


@dataclass(frozen=True, kw_only=True)
class CheckResult:
    """The answer to one case. Arrays are described in `Micromotion` and `ContactState`."""

    case: Case
    section: HalfSection
    seated: Seated
    interference_um: float
    torque: Torque | None
    loads: tuple[LoadAnswer, ...]
    summary: Summary
    versions: dict[str, str]

    @property
    def placed(self) -> Placed:
        """The seated implant of the answer, to be loaded further."""
        return Placed(
            case=self.case,
            seated=self.seated,
            interference_um=self.interference_um,
            torque=self.torque,
        )

    @property
    def relative_error(self) -> float:
        """The largest numerical error of a peak, relative to it."""
        return max(a.error.total_um / a.peak.total_um for a in self.loads)

    @property
    def relative_parts(self) -> dict[str, float]:
        """The largest value of each part of the error over the loads, relative to the peak, by name."""
        return {
            part: max(a.error.parts_um[part] / a.peak.total_um for a in self.loads) for part in PARTS
        }

    @property
    def load_slugs(self) -> tuple[str, ...]:
        """A name for the files of each load: its number, and its name reduced to plain letters."""
        words = (re.sub(r"[^a-z0-9]+", "-", a.name.lower()).strip("-") for a in self.loads)
        return tuple(f"{i}-{word[:40]}".rstrip("-") for i, word in enumerate(words, start=1))

    @property
    def governing(self) -> LoadAnswer:
        """The load under which the implant gives way first, or else the one with the largest peak."""
        return max(self.loads, key=lambda answer: answer.severity)

    @cached_property
    def field(self) -> Displacement:
        """The displacement under the governing load; pictures and files share it."""
        return displacement(self.seated, self.governing.state, self.governing.reached)

    def __repr__(self) -> str:
        """Return what a reader of a notebook wants first."""
        lines = [f"{self.case.title}: {self.summary.sentence}"]
        lines += [
            f"  {a.name}: {peak_text(a)}, head movement {a.head.total_um:.0f} µm" for a in self.loads
        ]
        return "\n".join(lines)


@dataclass(frozen=True, kw_only=True)
class DirectionsResult:
    """A case, its six directions, and its insertion torque; `torque` is None where it is glued."""

    case: Case
    six: SixDirections
    torque: Torque | None
    interference_um: float
    versions: dict[str, str]
