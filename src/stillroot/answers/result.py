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
class LoadAnswer:
    """What one load does to the seated implant.

    `share_over_crush` is the share of the held surface whose pressure under the load exceeds what bone
    is assumed to bear (`bone.crush_strain`); the model does not limit it there. `balance` is the
    imbalance of interface forces and load in their six components, see `imbalance`.
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

    @property
    def peak(self) -> Peak:
        """The largest micromotion and its place."""
        return self.micromotion.peak


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
        """The load with the largest peak."""
        return max(self.loads, key=lambda answer: answer.peak.total_um)

    @cached_property
    def field(self) -> Displacement:
        """The displacement under the governing load; pictures and files share it."""
        return displacement(self.seated, self.governing.state, self.governing.resultant)

    def __repr__(self) -> str:
        """Return what a reader of a notebook wants first."""
        lines = [f"{self.case.title}: {self.summary.sentence}"]
        lines += [
            f"  {a.name}: {with_error(a.peak.total_um, a.error.total_um)} µm, "
            f"head movement {a.head.total_um:.0f} µm"
            for a in self.loads
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
