"""The numerical error, from solves that differ from the answer's in one thing each.

With P the peak micromotion, h the element size, N the highest harmonic, k the number of load steps and D
the distance of the far support::

    mesh        2 P max |s(h) - s(2h)| / s   s the peak, the mean, the 95th percentile    (10)
    harmonics   |P(N) - P(N - 2)|            they fall faster than geometrically          (11)
    steps       4/3 |P(k) - P(4k)|           first order                                  (12)
    far         2 |P(D) - P(2D)|             the field of a force falls as 1/D            (13)

The factor 2 in (10) corresponds to a convergence order of 0.6: corners of the thread are singular, and
meshes of the shipped cases show orders from 0.3 to 1.9 (docs/limits.md). Two meshes may agree by chance,
so the mesh error is never less than `least_mesh_error` of the peak, which those meshes support and which
falls at the same order. (11) to (13) are evaluated on the coarse mesh, (12) and (13) in N - 2 harmonics;
`stillroot.answers.levels` lists the solves. Their sum is the ± beside the peak; head movement has its
own. A block of stated size ends where it is stated to, so (13) does not apply.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stillroot.mechanics.motion import Reading

FINE, COARSE, FEWER, STEPPED, FAR = "fine", "coarse", "fewer", "stepped", "far"
"""The levels: the answer's solve, and those that its error is computed from."""
PARTS = ("mesh", "harmonics", "steps", "far")
"""The parts of an error."""
COARSER = 2.0
FEWER_HARMONICS = 2
MORE_STEPS = 4
FARTHER = 2.0
ORDER = 0.6
MESH_FACTOR = 2.0
LEAST_MESH_ERROR, AT_ELEMENTS = 0.01, 16
"""Smallest mesh error of a peak, and the number of elements per implant diameter at which it applies."""


@dataclass(frozen=True, kw_only=True)
class ErrorEstimate:
    """Parts of the numerical error of a motion [µm]."""

    mesh_um: float
    harmonics_um: float
    steps_um: float
    far_um: float

    @property
    def parts_um(self) -> dict[str, float]:
        """The parts by name."""
        return {
            "mesh": self.mesh_um,
            "harmonics": self.harmonics_um,
            "steps": self.steps_um,
            "far": self.far_um,
        }

    @property
    def total_um(self) -> float:
        """Sum of the parts."""
        return sum(self.parts_um.values())


def errors_of(readings: Mapping[str, Reading], least: float) -> tuple[ErrorEstimate, ErrorEstimate]:
    """Return the error of the peak and of the head movement from the readings on each level.

    `least` is the smallest mesh error of a peak, relative to it.
    """

    def parts(mesh: float, um: Mapping[str, float]) -> ErrorEstimate:
        return ErrorEstimate(
            mesh_um=um[FINE] * max(MESH_FACTOR * mesh, least),  # (10)
            harmonics_um=abs(um[COARSE] - um[FEWER]),  # (11)
            steps_um=abs(um[STEPPED] - um[FEWER]) * MORE_STEPS / (MORE_STEPS - 1),  # (12)
            far_um=abs(um[FAR] - um[FEWER]) * FARTHER / (FARTHER - 1),  # (13)
        )

    fine, coarse = readings[FINE], readings[COARSE]
    changes = [abs(a / b - 1) for a, b in zip(_figures(coarse), _figures(fine), strict=True)]
    head = fine.head.total_um
    return (
        parts(max(changes), {level: r.motion.peak.total_um for level, r in readings.items()}),
        parts(
            abs(coarse.head.total_um / head - 1) if head else 0.0,
            {level: r.head.total_um for level, r in readings.items()},
        ),
    )


def _figures(reading: Reading) -> tuple[float, float, float]:
    """Return s of (10): peak, mean and 95th percentile of the micromotion."""
    motion = reading.motion
    return motion.peak.total_um, motion.mean_um, motion.percentile_um(95)


def least_mesh_error(element_mm: float, diameter_mm: float) -> float:
    """Return the smallest mesh error of a peak, relative to it."""
    return LEAST_MESH_ERROR * float(AT_ELEMENTS * element_mm / diameter_mm) ** ORDER
