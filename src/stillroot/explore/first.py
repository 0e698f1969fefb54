"""The first answer: a real solve of one load on a coarse mesh, with its error, in half a second.

Elements are `FIRST_MM` at the wall and the motion is followed round the axis in `FIRST_HARMONICS`. Its ±
stands for the distance to the refined answer: the mesh error that meshes of this size support
(`least_mesh_error`, times `MESH_MARGIN`), and the peak's change from fewer harmonics. It says nothing of
what the two share. docs/explore.md says how far the two were apart over many sites.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stillroot.answers.answer import resultant_of
from stillroot.mechanics.accuracy import LOOSE, Reading, least_mesh_error, read
from stillroot.mechanics.loading import load

if TYPE_CHECKING:
    from stillroot.inputs.case import Case
    from stillroot.mechanics.loading import Resultant, Seated
    from stillroot.mechanics.motion import Peak
    from stillroot.studies.stages import Stages

FIRST_MM = 1.0
FIRST_HARMONICS = 3
FEWER_HARMONICS = 2
MESH_MARGIN = 2.0


@dataclass(frozen=True, kw_only=True)
class FirstAnswer:
    """One load of a case on a coarse mesh; `error_um` is the peak's, `head_error_um` the head's."""

    name: str
    resultant: Resultant
    seated: Seated
    reading: Reading
    error_um: float
    head_error_um: float
    interference_um: float
    torque_ncm: float | None

    @property
    def peak(self) -> Peak:
        """The largest micromotion and its place."""
        return self.reading.motion.peak


def first_case(case: Case) -> Case:
    """Return the case with the numerics of a first answer: never finer than its own."""
    element_mm = max(FIRST_MM, case.numerics.element_mm)
    harmonics = min(FIRST_HARMONICS, case.numerics.harmonics)
    return case.with_numerics(element_mm=element_mm, harmonics=harmonics)


def first_answer(stages: Stages, case: Case, place: int) -> FirstAnswer:
    """Answer one load of a case, by its place, on a coarse mesh; `stages` keeps what the next can use.

    Raises
    ------
    MeshError, EnvironmentProblem, NotConverged
        As `check` does.
    """
    coarse = first_case(case)
    seated, interference_um, torque_ncm = stages.seated(coarse)
    item = case.loads[place]
    resultant = resultant_of(item)

    def solved(seat: Seated) -> Reading:
        state = load(seat, [resultant], name=f'load "{item.name}"', tolerance=LOOSE)
        return read(seat, state, resultant)

    reading, fewer = solved(seated), solved(seated.with_highest(FEWER_HARMONICS))
    mesh = MESH_MARGIN * least_mesh_error(case, coarse.numerics.element_mm)
    peak, head = reading.motion.peak.total_um, reading.head.total_um
    return FirstAnswer(
        name=item.name,
        resultant=resultant,
        seated=seated,
        reading=reading,
        error_um=mesh * peak + abs(peak - fewer.motion.peak.total_um),
        head_error_um=mesh * head + abs(head - fewer.head.total_um),
        interference_um=interference_um,
        torque_ncm=torque_ncm,
    )
