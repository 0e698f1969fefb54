"""How far the numbers can be off: measured by solving again, coarser.

For every load a second site on elements twice as large is seated and loaded three times. With P the
peak micromotion, h the element size, N the highest harmonic and k the load steps::

    mesh        |P(h) - P(2h)|               the error of P(h) at first order; P2 does better   (10)
    harmonics   |P(N) - P(N - 2)|            they fall faster than geometrically                (11)
    steps       |P(k) - P(k/2)|              first order                                        (12)

(11) and (12) are taken on the coarse mesh. Their sum is the ± beside the peak. The far boundary is an
input (`radius_mm`, `depth_mm`), not an error; docs/limits.md says what it does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stillroot.loading import LOAD_STEPS, load, seat
from stillroot.motion import micromotion

if TYPE_CHECKING:
    from stillroot.loading import Resultant
    from stillroot.site import Site

COARSER = 2.0
FEWER_HARMONICS = 2


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
    coarse: Site, interference_um: float, resultants: tuple[Resultant, ...], peaks_um: tuple[float, ...]
) -> tuple[ErrorEstimate, ...]:
    """Return the error of each peak, from a site with elements twice as large.

    Raises
    ------
    NotConverged
        A coarse solve found no equilibrium.
    """
    seated = seat(coarse, coarse.layer(interference_um=interference_um))
    fewer = seated.with_highest(max(coarse.highest - FEWER_HARMONICS, 1))
    estimates = []
    for resultant, fine_um in zip(resultants, peaks_um, strict=True):
        peak_um, fewer_um, one_um = (
            micromotion(s, load(s, [resultant], steps=steps)).peak.total_um
            for s, steps in ((seated, LOAD_STEPS), (fewer, LOAD_STEPS), (seated, LOAD_STEPS // 2))
        )
        estimates.append(
            ErrorEstimate(
                mesh_um=abs(fine_um - peak_um),
                harmonics_um=abs(peak_um - fewer_um),
                steps_um=abs(peak_um - one_um),
            )
        )
    return tuple(estimates)
