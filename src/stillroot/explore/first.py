"""The first answer: a real solve of one load on a coarse mesh, with its error, in half a second.

It is solved on the level `FIRST`, coarser and in fewer harmonics than a check. Its ± stands for the
distance to the refined answer: the mesh error that meshes of this size support (`least_mesh_error`,
times `MESH_MARGIN`), and the peak's change from fewer harmonics. It says nothing of what the two share.
docs/explore.md says how far the two were apart over many sites.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stillroot.answers.chain import Placed, loads_of
from stillroot.answers.levels import FIRST, FIRST_FEWER, LEVELS, Bench, at_level
from stillroot.mechanics.accuracy import least_mesh_error

if TYPE_CHECKING:
    from stillroot.inputs.case import Case
    from stillroot.mechanics.motion import HeadMovement, Micromotion, Peak, Reading
    from stillroot.mechanics.resultant import Resultant

MESH_MARGIN = 2.0


@dataclass(frozen=True, kw_only=True)
class FirstAnswer:
    """One load of a case on a coarse mesh; `error_um` is the peak's, `head_error_um` the head's."""

    name: str
    resultant: Resultant
    placed: Placed
    micromotion: Micromotion
    head: HeadMovement
    error_um: float
    head_error_um: float

    @property
    def peak(self) -> Peak:
        """The largest micromotion and its place."""
        return self.micromotion.peak


def first_answer(bench: Bench, case: Case, place: int) -> FirstAnswer:
    """Answer one load of a case, by its place, on a coarse mesh; `bench` keeps what the next can use.

    Raises
    ------
    MeshError, EnvironmentProblem, NotConverged
        As `check` does.
    """
    name, resultant = loads_of(case)[place]

    def solved(level: str) -> Reading:
        placed = bench.placed(case, level)
        return placed.read(placed.loaded(name, resultant, tolerance=LEVELS[level].tolerance), resultant)

    reading, fewer = solved(FIRST), solved(FIRST_FEWER)
    least = least_mesh_error(at_level(case, FIRST).numerics.element_mm, case.implant.diameter_mm)
    mesh = MESH_MARGIN * least
    peak, head = reading.motion.peak.total_um, reading.head.total_um
    return FirstAnswer(
        name=case.loads[place].name,
        resultant=resultant,
        placed=bench.placed(case, FIRST),
        micromotion=reading.motion,
        head=reading.head,
        error_um=mesh * peak + abs(peak - fewer.motion.peak.total_um),
        head_error_um=mesh * head + abs(head - fewer.head.total_um),
    )
