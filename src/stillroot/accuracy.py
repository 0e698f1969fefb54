"""How far the numbers can be off: measured by solving again, coarser.

For every load a second site on elements twice as large is seated and loaded three times. With P the
peak micromotion, h the element size, N the highest harmonic and k the load steps::

    mesh        2 P max |s(h) - s(2h)| / s   s the peak, the mean, the 95th percentile    (10)
    harmonics   |P(N) - P(N - 2)|            they fall faster than geometrically          (11)
    steps       8/7 |P(k) - P(8k)|           first order                                  (12)

The factor 2 in (10) is what an order of 0.6 leaves: corners of the thread are singular, and meshes of
the shipped cases show orders from 0.3 to 1.9 (docs/limits.md). Where two meshes happen to agree, no
peak is trusted to better than `LEAST_MESH_ERROR` of it, which is what those meshes support. (11) and
(12) are taken on the coarse mesh. The sum is the ± beside the peak. The far boundary is an input
(`radius_mm`, `depth_mm`), not an error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stillroot.loading import LOAD_STEPS, load, seat
from stillroot.motion import micromotion

if TYPE_CHECKING:
    from stillroot.loading import Resultant, Seated
    from stillroot.motion import Micromotion
    from stillroot.site import Site

COARSER = 2.0
FEWER_HARMONICS = 2
MORE_STEPS = 8
MESH_FACTOR = 2.0
LEAST_MESH_ERROR = 0.01
LOOSE = 1e-5
"""Tolerance of the coarse solves: far below the errors that they measure."""


@dataclass(frozen=True, kw_only=True)
class ErrorEstimate:
    """Parts of the numerical error of a peak [µm]."""

    mesh_um: float
    harmonics_um: float
    steps_um: float

    @property
    def total_um(self) -> float:
        """Sum of the parts."""
        return self.mesh_um + self.harmonics_um + self.steps_um


def estimate_errors(
    coarse: Site,
    interference_um: float,
    resultants: tuple[Resultant, ...],
    motions: tuple[Micromotion, ...],
) -> tuple[ErrorEstimate, ...]:
    """Return the error of the peak of each motion, from a site with elements twice as large.

    Raises
    ------
    NotConverged
        A coarse solve found no equilibrium.
    """
    seated = seat(coarse, coarse.layer(interference_um=interference_um))
    fewer = seated.with_highest(coarse.highest - FEWER_HARMONICS)  # a case has at least three
    return tuple(
        _estimate(seated, fewer, resultant, motion)
        for resultant, motion in zip(resultants, motions, strict=True)
    )


def _estimate(seated: Seated, fewer: Seated, resultant: Resultant, fine: Micromotion) -> ErrorEstimate:
    coarse, truncated, stepped = (
        micromotion(s, load(s, [resultant], steps=steps, tolerance=LOOSE))
        for s, steps in (
            (seated, LOAD_STEPS),
            (fewer, LOAD_STEPS),
            (fewer, MORE_STEPS * LOAD_STEPS),
        )
    )
    peak = fine.peak.total_um
    change = max(abs(a / b - 1) for a, b in zip(_figures(coarse), _figures(fine), strict=True))
    return ErrorEstimate(
        mesh_um=peak * max(MESH_FACTOR * change, LEAST_MESH_ERROR),
        harmonics_um=abs(coarse.peak.total_um - truncated.peak.total_um),
        steps_um=abs(stepped.peak.total_um - truncated.peak.total_um) * MORE_STEPS / (MORE_STEPS - 1),
    )


def _figures(motion: Micromotion) -> tuple[float, float, float]:
    return motion.peak.total_um, motion.mean_um, motion.percentile_um(95)
