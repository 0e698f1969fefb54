"""A load on the seated implant, as stated in a case."""

from __future__ import annotations

import math
from typing import Any

from stillroot.inputs.quantities import LARGEST_LOAD, LEAST_LOAD, Positive
from stillroot.inputs.section import ASSUMPTION, Problems, Section, key

HIGHEST_LOAD_MM = 50.0
MOST_CYCLES = 100
POLAR, ALONG = ("force_n", "angle_deg"), ("axial_n", "lateral_n")
"""The two ways of stating a force."""


def _zero_unless_polar(data: dict[str, Any]) -> float | None:
    """Return the default of a component: 0, or None where the load is a force at an angle."""
    return 0.0 if all(data[key] is None for key in POLAR) else None


class Load(Section):
    """One load on the seated implant, towards θ = 0: by components, or by force and angle."""

    name: str = key(min_length=1)
    """Name of the load, used in the answer."""
    force_n: Positive | None = key(None)
    """Force, with angle_deg, in place of axial_n and lateral_n."""
    angle_deg: float | None = key(None, ge=0, le=180)
    """Angle of the force from the axis: 0 presses in, 90 is lateral, 180 pulls out."""
    axial_n: float | None = key(_zero_unless_polar, ASSUMPTION, shown="0")
    """Force along the axis; positive presses in."""
    lateral_n: float | None = key(_zero_unless_polar, ASSUMPTION, shown="0")
    """Force across the axis."""
    torque_ncm: float = key(0.0, ASSUMPTION)
    """Torque about the axis, positive about +z."""
    height_mm: float = key(
        source=ASSUMPTION,
        shown="the abutment's height",
        typical="4 to 12 mm",
        ge=0,
        le=HIGHEST_LOAD_MM,
    )
    """Height above the crest at which the load acts."""
    cycles: int = key(1, ASSUMPTION, ge=1, le=MOST_CYCLES)
    """How many times the load is applied and taken off again."""

    @property
    def components(self) -> tuple[float, float, float]:
        """(axial_n, lateral_n, torque_nmm); axial is positive pressing in."""
        axial, lateral = self.axial_n or 0.0, self.lateral_n or 0.0
        if self.force_n is not None and self.angle_deg is not None:
            angle = math.radians(self.angle_deg)
            axial, lateral = self.force_n * math.cos(angle), self.force_n * math.sin(angle)
        return axial, lateral, 10.0 * self.torque_ncm

    def _problems(self) -> Problems:
        along, polar = (
            [key for key in form if getattr(self, key) is not None] for form in (ALONG, POLAR)
        )
        if along and polar:
            text = f"is not used with {along[0]}: give axial_n and lateral_n, or force_n and angle_deg"
            yield polar[0], text
        if len(polar) == 1:
            (missing,) = {*POLAR} - {*polar}
            yield missing, f"is missing: {polar[0]} needs it"
        largest = max(abs(part) for part in (*self.components[:2], self.torque_ncm))
        if largest < LEAST_LOAD:
            text = (
                "is no load: axial_n, lateral_n (or force_n) or torque_ncm must be at least "
                f"{LEAST_LOAD:g} N or N·cm"
            )
            yield "", text
        if largest > LARGEST_LOAD:
            yield "", f"exceeds any load on a tooth: must be at most {LARGEST_LOAD:g} N or N·cm"
