"""The numerical error, estimated by solving again on coarser models.

For every load a second site with elements twice as large is seated and loaded three times; a third site,
the same with its outer half stretched until the far support is twice as far away, is loaded once. With P
the peak micromotion, h the element size, N the highest harmonic, k the number of load steps and D the
distance of the far support::

    mesh        2 P max |s(h) - s(2h)| / s   s the peak, the mean, the 95th percentile    (10)
    harmonics   |P(N) - P(N - 2)|            they fall faster than geometrically          (11)
    steps       8/7 |P(k) - P(8k)|           first order                                  (12)
    far         2 |P(D) - P(2D)|             the field of a force falls as 1/D            (13)

The factor 2 in (10) corresponds to a convergence order of 0.6: corners of the thread are singular, and
meshes of the shipped cases show orders from 0.3 to 1.9 (docs/limits.md). Two meshes may agree by chance,
so the mesh error is never less than `least_mesh_error` of the peak, which those meshes support and which
falls at the same order. (11) to (13) are evaluated on the coarse mesh, (12) and (13) in N - 2 harmonics.
Their sum is the ± beside the peak; head movement has its own. A block of stated size ends where it
is stated to, so (13) does not apply.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stillroot.mechanics.loading import load
from stillroot.mechanics.motion import head_movement, micromotion

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.inputs.case import Case, Numerics
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.loading import Resultant, Seated
    from stillroot.mechanics.motion import HeadMovement, Micromotion

COARSER = 2.0
FEWER_HARMONICS = 2
MORE_STEPS = 8
FARTHER = 2.0
ORDER = 0.6
MESH_FACTOR = 2.0
LEAST_MESH_ERROR, AT_ELEMENTS = 0.01, 16
"""Smallest mesh error of a peak, and the number of elements per implant diameter at which it applies."""
LOOSE = 1e-5
"""Tolerance of the coarse solves: far below the errors that they measure."""

SHARES = {"mesh": 0.7, "harmonics": 0.1, "steps": 0.1, "far": 0.1}
"""How an allowed error is divided among its parts."""
FINEST_MM, MOST_HARMONICS, MOST_STEPS, FARTHEST_MM = 0.03, 32, 256, 1000.0
"""Limits of refinement: beyond them memory and rounding leave no room."""


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


@dataclass(frozen=True, kw_only=True)
class Reading:
    """The motions computed in one solve."""

    motion: Micromotion
    head: HeadMovement

    @property
    def figures_um(self) -> tuple[float, float, float]:
        """Peak, mean and 95th percentile of the micromotion."""
        return self.motion.peak.total_um, self.motion.mean_um, self.motion.percentile_um(95)


def read(seated: Seated, state: ContactState, resultant: Resultant) -> Reading:
    """Return the micromotion and the head movement of a loaded state."""
    return Reading(motion=micromotion(seated, state), head=head_movement(seated, state, resultant))


def coarse_cases(case: Case) -> tuple[Case, Case]:
    """Return the two cases for the error estimate: a coarser one, and that with a farther support.

    The second has `FEWER_HARMONICS` fewer harmonics; a case has at least three.
    """
    numerics = case.numerics
    coarse = case.with_numerics(element_mm=COARSER * numerics.element_mm)
    fewer = numerics.harmonics - FEWER_HARMONICS
    return coarse, coarse.with_numerics(harmonics=fewer, far_mm=FARTHER * numerics.far_mm)


@dataclass(frozen=True, kw_only=True)
class CoarseSeats:
    """The seated implants for the error estimate.

    `coarse` has elements `COARSER` times as large; `fewer` is the same with `FEWER_HARMONICS` fewer
    harmonics; `far` is `fewer` with its far support `FARTHER` times as far, None for a stated block.
    """

    coarse: Seated
    fewer: Seated
    far: Seated | None


@dataclass(frozen=True, kw_only=True)
class CoarserReadings:
    """One load on each of the coarser seats: what (10) to (13) are computed from."""

    coarse: Reading
    truncated: Reading
    stepped: Reading
    farther: Reading


def coarser_readings(
    seats: CoarseSeats, name: str, resultant: Resultant, coarse_state: ContactState
) -> CoarserReadings:
    """Apply one load to the coarser seats; `coarse_state` is its state on `seats.coarse`.

    Raises
    ------
    NotConverged
        A coarse solve found no equilibrium.
    """
    steps = seats.coarse.site.case.numerics.load_steps

    def solved(seated: Seated, steps: int, what: str) -> Reading:
        state = load(
            seated, [resultant], steps=steps, name=f"{name} (its error: {what})", tolerance=LOOSE
        )
        return read(seated, state, resultant)

    truncated = solved(seats.fewer, steps, "fewer harmonics")
    return CoarserReadings(
        coarse=read(seats.coarse, coarse_state, resultant),
        truncated=truncated,
        stepped=solved(seats.fewer, MORE_STEPS * steps, "more load steps"),
        farther=truncated if seats.far is None else solved(seats.far, steps, "farther support"),
    )


def errors_of(
    coarse_case: Case,
    fine: Reading,
    coarse: Reading,
    truncated: Reading,
    stepped: Reading,
    farther: Reading,
) -> tuple[ErrorEstimate, ErrorEstimate]:
    """Return the error of the peak and of the head movement from the five solves of (10) to (13)."""
    least = least_mesh_error(coarse_case, coarse_case.numerics.element_mm / COARSER)
    changes = [abs(a / b - 1) for a, b in zip(coarse.figures_um, fine.figures_um, strict=True)]

    def parts(fine_um: float, change: float, of: Sequence[float]) -> ErrorEstimate:
        coarse_um, truncated_um, stepped_um, farther_um = of
        return ErrorEstimate(
            mesh_um=fine_um * max(MESH_FACTOR * change, least),
            harmonics_um=abs(coarse_um - truncated_um),
            steps_um=abs(stepped_um - truncated_um) * MORE_STEPS / (MORE_STEPS - 1),
            far_um=abs(farther_um - truncated_um) * FARTHER / (FARTHER - 1),
        )

    solves = (coarse, truncated, stepped, farther)
    head = fine.head.total_um
    return (
        parts(fine.motion.peak.total_um, max(changes), [s.motion.peak.total_um for s in solves]),
        parts(
            head,
            abs(coarse.head.total_um / head - 1) if head else 0.0,
            [s.head.total_um for s in solves],
        ),
    )


def least_mesh_error(case: Case, element_mm: float) -> float:
    """Return the smallest mesh error of a peak, relative to it."""
    return LEAST_MESH_ERROR * float(AT_ELEMENTS * element_mm / case.implant.diameter_mm) ** ORDER


def refined(numerics: Numerics, relative: dict[str, float], tolerance: float) -> dict[str, float]:
    """Return the numerics to change, where a part of a relative error exceeds its share of a tolerance.

    `relative` maps the names of `SHARES` to the parts. Empty where nothing can be refined further.
    """
    finer = {
        "mesh": ("element_mm", max(numerics.element_mm / 2, FINEST_MM)),
        "harmonics": ("harmonics", min(numerics.harmonics + 4, MOST_HARMONICS)),
        "steps": ("load_steps", min(numerics.load_steps * 4, MOST_STEPS)),
        "far": ("far_mm", min(numerics.far_mm * 4, FARTHEST_MM)),
    }
    return {
        key: value
        for part, (key, value) in finer.items()
        if relative[part] > SHARES[part] * tolerance and value != getattr(numerics, key)
    }
