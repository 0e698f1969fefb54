"""The implant and its thread, as stated in a case."""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field, model_validator

from stillroot.inputs.case_messages import at_least, at_most
from stillroot.inputs.materials import (
    IMPLANT_MATERIALS,
    Material,
    material_of,
    material_problems,
    titanium_unless_stated,
)
from stillroot.inputs.outline_points import outline_problem
from stillroot.inputs.quantities import (
    LARGEST_MODULUS_MPA,
    LEAST_LENGTH_MM,
    LeastLength,
    Length,
    NotNegative,
    Pair,
    Pairs,
    Poisson,
    Positive,
)
from stillroot.inputs.section import (
    ASSUMPTION,
    COMMON_PRACTICE,
    Problems,
    Section,
    Unused,
    key,
    refuse,
    sound,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

LEAST_CORE_RADIUS_MM = 0.25
"""Smallest radius of the core below the thread at the tip: assumption."""
LEAST_IMPLANT_MPA = 100.0
"""Below that of any implant; far softer ones no longer act as one body, and seating does not
converge."""
LEAST_PITCH_MM, MOST_TURNS, LARGEST_ABUTMENT_MM = 0.1, 60, 200.0
BUTTRESS_CORONAL_DEG = 45.0
FLANK_ANGLE_DEG: Mapping[str, float] = MappingProxyType({"v": 30.0, "trapezoid": 15.0, "buttress": 15.0})
"""Default flank angle of the thread forms with inclined flanks."""
SIZES = ("diameter_mm", "length_mm", "taper_deg", "thread")
"""Keys of [implant] that an outline replaces."""


class Thread(Section):
    """The thread: rings of one section, `pitch_mm` apart."""

    form: Literal["v", "square", "trapezoid", "buttress", "none"] = key("v", COMMON_PRACTICE)
    """Thread form; "none" is a smooth wall."""
    pitch_mm: float = key(
        0.8,
        "assumption, inside the 0.6 to 1.2 mm of single-lead implants",
        typical="0.6 to 1.2 mm",
        ge=LEAST_PITCH_MM,
    )
    """Distance from thread to thread."""
    depth_mm: LeastLength = key(
        0.35, "assumption, inside 0.30 to 0.45 mm (from memory)", typical="0.3 to 0.45 mm"
    )
    """Radial depth of the thread."""
    crest_flat_mm: NotNegative = key(0.1, ASSUMPTION)
    """Width of the flat on the thread crest."""
    flank_angle_deg: float | None = key(
        lambda data: FLANK_ANGLE_DEG.get(data["form"]),
        ASSUMPTION,
        shown="v 30, trapezoid 15, buttress 15",
        ge=0,
        lt=75,
    )
    """Angle of the flank to the plane across the axis. Only for v, trapezoid and buttress; for buttress
    it is the apical face, and the coronal face is at 45 degrees."""
    start_mm: NotNegative = key(0.0, ASSUMPTION)
    """Depth below the crest where the threading begins; above it is a smooth neck of full diameter."""

    @property
    def first_mm(self) -> float:
        """Depth below the crest at which the first groove begins: the platform keeps its diameter."""
        return max(self.start_mm, self.crest_flat_mm)

    @property
    def flank_angles_deg(self) -> Pair:
        """(apical, coronal) flank angles to the plane across the axis; the apical flank faces deeper."""
        angle = self.flank_angle_deg or 0.0
        return angle, BUTTRESS_CORONAL_DEG if self.form == "buttress" else angle

    def _problems(self) -> Problems:
        if self.form == "square" and self.crest_flat_mm == 0:
            text = 'must be above 0 mm with form = "square": it is all the width it has'
            yield "crest_flat_mm", text

    def _unused(self) -> Unused:
        """Return the keys that the form does not have."""
        if self.form == "square":
            text = 'is not used with form = "square", whose flanks are straight across; leave it out'
            return {"flank_angle_deg": text}
        smooth = 'is not used with form = "none"; leave it out'
        others = type(self).model_fields.keys() - {"form"} if self.form == "none" else ()
        return dict.fromkeys(others, smooth)

    def misfits(self, length_mm: float) -> Problems:
        """Yield (key, what is wrong) of the thread on an implant of this length."""
        pitch, flat, least = self.pitch_mm, self.crest_flat_mm, LEAST_LENGTH_MM
        slopes = (math.tan(math.radians(angle)) for angle in self.flank_angles_deg)
        flanks = self.depth_mm * sum(slopes)
        needed, room = flat + flanks, length_mm - self.first_mm
        if pitch < needed - 1e-9:
            text = (
                f"must be at least {at_least(needed)} mm, so that the crest flat ({flat:g} mm) and both "
                f"flanks ({flanks:.3g} mm) fit; it is {pitch:g} mm"
            )
            yield "pitch_mm", text
        if pitch < flat + least - 1e-9:
            text = (
                f"must be at least {at_least(flat + least)} mm, so that beside the crest flat "
                f"({flat:g} mm) a groove {least:g} mm wide is left; it is {pitch:g} mm"
            )
            yield "pitch_mm", text
        if needed < least - 1e-9:
            text = (
                f"must be at least {at_least(least - flanks)} mm: with both flanks ({flanks:.3g} mm) "
                f"the thread is a blade of {needed:.3g} mm, and less than {least:g} mm is not meshed"
            )
            yield "crest_flat_mm", text
        if room <= 0:
            yield "start_mm", f"must be below the implant's length, {length_mm:g} mm"
        if room / pitch > MOST_TURNS + 1e-6:
            text = (
                f"must be at least {at_least(room / MOST_TURNS)} mm: more than {MOST_TURNS} turns are "
                f"not meshed; it is {pitch:g} mm"
            )
            yield "pitch_mm", text
        if pitch > room + 1e-9:
            text = (
                f"must be at most {at_most(room)} mm, so that one thread fits between its start and "
                f"the end of the implant; it is {pitch:g} mm"
            )
            yield "pitch_mm", text


class Implant(Section):
    """The implant with its abutment: a solid of revolution.

    With `outline_mm`, `diameter_mm` and `length_mm` are those of the outline and `thread` is "none".
    """

    outline_mm: Annotated[Pairs | None, sound(outline_problem)] = key(None)
    """Any outline as [r_mm, z_mm] points, from the crest (z = 0) down to the end (z negative). Then
    diameter_mm, length_mm, taper_deg and thread are left out."""
    outline_csv: str | None = key(None)
    """Name of a file of such points, found from the folder of the case file: a first line `r_mm,z_mm`,
    then one point a line. In place of outline_mm."""
    diameter_mm: Length = key(typical="3 to 5 mm")
    """Diameter over the thread crests."""
    length_mm: Length = key(typical="6 to 16 mm")
    """Length below the crest of the bone."""
    taper_deg: float = key(0.0, ASSUMPTION, ge=0, lt=30)
    """Half angle of taper: the radius falls by tan(taper) times depth."""
    abutment_diameter_mm: Positive = key(
        lambda data: min(4.0, _platform_mm(data)),
        ASSUMPTION,
        shown="4, or the implant's diameter at the crest where that is less",
    )
    """Diameter of the abutment; at most that of the implant at the crest."""
    abutment_height_mm: Annotated[LeastLength, Field(le=LARGEST_ABUTMENT_MM)] = key(
        6.0, ASSUMPTION, typical="4 to 10 mm"
    )
    """Height of the abutment above the crest."""
    modulus_mpa: float | None = key(None, ge=LEAST_IMPLANT_MPA, le=LARGEST_MODULUS_MPA)
    """Young's modulus, with poisson, in place of material."""
    poisson: Poisson | None = key(None)
    """Poisson's ratio, with modulus_mpa, in place of material."""
    material: Literal["titanium", "zirconia"] | None = key(
        titanium_unless_stated,
        COMMON_PRACTICE,
        shown='"titanium", where modulus_mpa and poisson are not given',
    )
    """Titanium: 110000 MPa, 0.33 (inside the ranges of doi 10.3390/ijms24044200 and doi
    10.3390/bioengineering4010005; the choice is an assumption). Zirconia: 210000 MPa, 0.30 (doi
    10.3390/ijms24044200)."""
    thread: Thread = key(Thread())
    """The thread."""

    @property
    def elastic(self) -> Material:
        """The elastic constants of the implant and its abutment."""
        return material_of(self, IMPLANT_MATERIALS)

    @property
    def platform_diameter_mm(self) -> float:
        """Diameter at the crest of the bone."""
        return _platform_mm({"outline_mm": self.outline_mm, "diameter_mm": self.diameter_mm})

    @model_validator(mode="before")
    @classmethod
    def _sizes_from_outline(cls, data: object) -> object:
        if not isinstance(data, dict):
            return data
        if data.get("outline_csv") is not None:
            text = "works only in a case file; give implant.outline_mm, a list of [r_mm, z_mm]"
            refuse(text, "outline_csv")
        if data.get("outline_mm") is None:
            return data
        for size in SIZES:
            if data.get(size) is not None:
                refuse("is not used with an outline; leave it out, or leave out the outline", size)
        diameter, length = _outline_sizes_mm(data["outline_mm"])
        none = {"form": "none"}
        return {**data, "diameter_mm": diameter, "length_mm": length, "thread": none}

    def _unused(self) -> Unused:
        """Return the sizes where an outline has them."""
        return dict.fromkeys(SIZES, "") if self.outline_mm is not None else {}

    def _problems(self) -> Problems:
        yield from material_problems(self)
        platform = self.platform_diameter_mm
        if self.abutment_diameter_mm > platform + 1e-9:
            text = f"must be at most {at_most(platform)} mm, the implant's diameter at the crest"
            yield "abutment_diameter_mm", text
        if self.outline_mm is None:
            yield from self._lost_cores()
        if self.thread.form != "none":
            for name, text in self.thread.misfits(self.length_mm):
                yield f"thread.{name}", text

    def _lost_cores(self) -> Problems:
        """Yield (key, what is wrong) where taper and thread leave too thin a tip."""
        depth, least = self.thread.depth_mm, LEAST_CORE_RADIUS_MM
        tip = self.diameter_mm / 2 - math.tan(math.radians(self.taper_deg)) * self.length_mm
        if tip < least - 1e-9:
            text = f"leaves a tip radius of {at_most(tip)} mm; at least {least:g} mm must remain"
            yield "taper_deg" if self.taper_deg else "diameter_mm", text
        if self.thread.form != "none" and tip - depth < least - 1e-9:
            remedy = f"at most {at_most(tip - least)} mm leave a core radius of {least:g} mm at the tip"
            if tip - least < LEAST_LENGTH_MM:
                remedy = f'no thread leaves a core radius of {least:g} mm there; use form = "none"'
            text = f"is deeper than the core at the tip allows, {depth:g} mm: {remedy}"
            yield "thread.depth_mm", text


def _platform_mm(data: Mapping[str, Any]) -> float:
    """Return the diameter at the crest from the validated fields of an implant."""
    outline = data["outline_mm"]
    return float(2 * outline[0][0] if outline else data["diameter_mm"])


def _outline_sizes_mm(points: object) -> Pair:
    """Return diameter and length of raw outline points; any valid ones where the points are invalid."""
    try:
        radii, heights = zip(*((float(r), float(z)) for r, z in points), strict=True)  # type: ignore[attr-defined]
    except (TypeError, ValueError, OverflowError):
        return 4.0, 10.0
    diameter, length = 2 * max(radii), -min(heights)
    return (diameter, length) if 0 < diameter < math.inf and 0 < length < math.inf else (4.0, 10.0)
