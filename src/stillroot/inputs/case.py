"""The case: implant, bone, socket, interface and loads, validated on input.

A case is read from a TOML file (`read_case`) or made from dictionaries (`Case.from_dict`); both fill
every default and refuse unknown keys. The sections are frozen and compare by value.

Each key has its meaning and, for a default, its source; `docs/case_file.md` is generated from them.
Lengths are mm, depths are below the crest and positive, moduli MPa, forces N; micrometre and N·cm appear
only where the name of the key says so.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Literal, Self

import tomli_w
from pydantic import (
    BeforeValidator,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from stillroot.errors import CaseError
from stillroot.inputs.case_messages import (
    Problem,
    at_least,
    at_most,
    case_error,
    problems_of,
    unknown_key,
    written,
)
from stillroot.inputs.materials import (
    DENSITY_LAWS,
    GAP_FILL_MPA,
    IMPLANT_MATERIALS,
    Material,
    density_from_ct,
)
from stillroot.inputs.outline_points import Point, outline_problem, points_of
from stillroot.inputs.section import (
    ASSUMPTION,
    COMMON_PRACTICE,
    Section,
    about,
    as_tuple,
    refuse,
    refuse_two_materials,
    without_negative_zero,
)
from stillroot.inputs.uncertain import Uncertain, distribution, uncertain_of

LEAST_CORE_RADIUS_MM = 0.25
"""Smallest radius of the core below the thread at the tip: assumption."""
LEAST_LENGTH_MM = 0.05
"""Smallest abutment, gap or thread depth: what a mesh of the default size can resolve."""
LARGEST_LENGTH_MM = 500.0
HIGHEST_LOAD_MM = 50.0
LEAST_LOAD, LARGEST_LOAD = 1e-3, 1e4
"""Bounds of a force [N] or torque [N·cm]: below, rounding dominates; above, no jaw bites."""
LEAST_HOLD_MM = 0.2
"""Shortest hold: one default element."""
MOST_PAIRS, MOST_BANDS, MOST_LOADS = 1000, 12, 100
"""Longest lists accepted: far beyond any use, and short enough to be solved."""
LEAST_IMPLANT_MPA = 100.0
"""Below that of any implant; far softer ones no longer act as one body, and seating does not
converge."""
LEAST_PITCH_MM, MOST_TURNS, LARGEST_ABUTMENT_MM, LEAST_CORTEX_MM = 0.1, 60, 200.0, 0.05
LEAST_LAYER_RATIO, LARGEST_BAND_UM = 1e-6, 1e6
LARGEST_FILE = 100_000
"""Characters of a case file or an outline: a usual case has a thousand."""
DEEP_KEY = re.compile(r"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){20}""")
"""Keys of very many parts, a.a.a…: the memory to read one grows with the square of their number."""
LEAST_BONE_BESIDE_MM = 2.0
LEAST_BONE_BELOW_MM = 1.0
LEAST_MODULUS_MPA, LARGEST_MODULUS_MPA = 0.01, 1e6
BUTTRESS_CORONAL_DEG = 45.0
LONGEST_KEY = 100

STUDY_KEYS: Mapping[str, str] = MappingProxyType(
    {
        "engagement_mm": "length of one hold that ends where the deepest hold of the case ends",
        "engagement_from_crest_mm": "length of one hold that begins where the first hold begins",
        "load_factor": "all loads, times this",
        "trabecular_factor": "the modulus of the trabecular bone, at every depth, times this",
    }
)
"""Numbers that studies vary besides the keys of the file, with their meanings."""

Pair = Point


def _as_pairs(value: object) -> object:
    """Turn [[a, b], …] into tuples; the numbers themselves are validated afterwards."""
    if not isinstance(value, list | tuple) or not all(
        isinstance(pair, list | tuple) and len(pair) == 2 for pair in value
    ):
        text = "must be a list of pairs of numbers, such as [[0.0, 4.0], [6.0, 10.0]]"
        refuse(text)
    return tuple(tuple(pair) for pair in value)


def _as_profile(value: object) -> object:
    """Turn a single modulus into a profile of one depth; validate a list as pairs."""
    return _as_pairs(value) if isinstance(value, list | tuple) else ((0.0, value),)


Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
LeastLength = Annotated[float, Field(ge=LEAST_LENGTH_MM)]
Pitch = Annotated[float, Field(ge=LEAST_PITCH_MM)]
AbutmentHeight = Annotated[float, Field(ge=LEAST_LENGTH_MM, le=LARGEST_ABUTMENT_MM)]
Length = Annotated[float, Field(gt=0, le=LARGEST_LENGTH_MM)]
Modulus = Annotated[float, Field(ge=LEAST_MODULUS_MPA, le=LARGEST_MODULUS_MPA)]
Poisson = Annotated[float, Field(ge=0, le=0.495)]
Pairs = Annotated[tuple[Pair, ...], Field(max_length=MOST_PAIRS), BeforeValidator(_as_pairs)]
Profile = Annotated[
    tuple[tuple[NotNegative, Modulus], ...],
    Field(max_length=MOST_PAIRS),
    BeforeValidator(_as_profile),
]
LawName = Literal[
    "carter_hayes_1977", "morgan_2003_femoral_neck", "morgan_2003_vertebra", "morgan_2003_pooled"
]

FRICTIONAL_KEYS = frozenset(
    {
        "friction",
        "interference_um",
        "measured_torque_ncm",
        "cutting_torque_ncm",
        "retained_pressure",
    }
)
"""Keys of [interface] that are not used with kind = "bonded"."""

FLANK_ANGLE_DEG: Mapping[str, float] = MappingProxyType({"v": 30.0, "trapezoid": 15.0, "buttress": 15.0})
"""Default flank angle of the thread forms with inclined flanks."""


class Thread(Section):
    """The thread: rings of one section, `pitch_mm` apart."""

    form: Annotated[
        Literal["v", "square", "trapezoid", "buttress", "none"],
        about('Thread form; "none" is a smooth wall.', source=COMMON_PRACTICE),
    ] = "v"
    pitch_mm: Annotated[
        Pitch,
        about(
            "Distance from thread to thread.",
            source="assumption, inside the 0.6 to 1.2 mm of single-lead implants",
            typical="0.6 to 1.2 mm",
        ),
    ] = 0.8
    depth_mm: Annotated[
        LeastLength,
        about(
            "Radial depth of the thread.",
            source="assumption, inside 0.30 to 0.45 mm (from memory)",
            typical="0.3 to 0.45 mm",
        ),
    ] = 0.35
    crest_flat_mm: Annotated[
        NotNegative, about("Width of the flat on the thread crest.", source=ASSUMPTION)
    ] = 0.1
    flank_angle_deg: Annotated[
        float | None,
        about(
            "Angle of the flank to the plane across the axis. Only for v, trapezoid and buttress; "
            "for buttress it is the apical face, and the coronal face is at 45 degrees.",
            source=ASSUMPTION,
            default="v 30, trapezoid 15, buttress 15",
        ),
        Field(ge=0, lt=75),
    ] = Field(default_factory=lambda data: FLANK_ANGLE_DEG.get(data["form"]))
    start_mm: Annotated[
        NotNegative,
        about(
            "Depth below the crest where the threading begins; above it is a smooth neck of full "
            "diameter.",
            source=ASSUMPTION,
        ),
    ] = 0.0

    @property
    def first_mm(self) -> float:
        """Depth below the crest at which the first groove begins: the platform keeps its diameter."""
        return max(self.start_mm, self.crest_flat_mm)

    @property
    def flank_angles_deg(self) -> Pair:
        """(apical, coronal) flank angles to the plane across the axis; the apical flank faces deeper."""
        angle = self.flank_angle_deg or 0.0
        return angle, BUTTRESS_CORONAL_DEG if self.form == "buttress" else angle

    @model_validator(mode="after")
    def _form_needs(self) -> Self:
        unused = self.model_fields_set - {"form"}
        if self.form == "none" and unused:
            refuse('is not used with form = "none"; leave it out', min(unused))
        if self.form == "square" and self.crest_flat_mm == 0:
            refuse(
                'must be above 0 mm with form = "square": it is all the width it has', "crest_flat_mm"
            )
        if self.form == "square" and self.flank_angle_deg is not None:
            text = 'is not used with form = "square", whose flanks are straight across; leave it out'
            refuse(text, "flank_angle_deg")
        return self


class Implant(Section):
    """The implant with its abutment: a solid of revolution.

    With `outline_mm`, `diameter_mm` and `length_mm` are those of the outline and `thread` is "none".
    """

    outline_mm: Annotated[
        Pairs | None,
        about(
            "Any outline as [r_mm, z_mm] points, from the crest (z = 0) down to the end "
            "(z negative). Then diameter_mm, length_mm, taper_deg and thread are left out.",
            default="none",
        ),
    ] = None
    diameter_mm: Annotated[Length, about("Diameter over the thread crests.", typical="3 to 5 mm")]
    length_mm: Annotated[Length, about("Length below the crest of the bone.", typical="6 to 16 mm")]
    taper_deg: Annotated[
        float,
        about("Half angle of taper: the radius falls by tan(taper) times depth.", source=ASSUMPTION),
        Field(ge=0, lt=30),
    ] = 0.0
    abutment_diameter_mm: Annotated[
        Positive,
        about(
            "Diameter of the abutment; at most that of the implant at the crest.",
            source=ASSUMPTION,
            default="4, or the implant's diameter at the crest where that is less",
        ),
    ] = Field(default_factory=lambda data: min(4.0, _platform_mm(data)))
    abutment_height_mm: Annotated[
        AbutmentHeight,
        about("Height of the abutment above the crest.", source=ASSUMPTION, typical="4 to 10 mm"),
    ] = 6.0
    modulus_mpa: Annotated[
        Annotated[float, Field(ge=LEAST_IMPLANT_MPA, le=LARGEST_MODULUS_MPA)] | None,
        about("Young's modulus, with poisson, in place of material.", default="none"),
    ] = None
    poisson: Annotated[
        Poisson | None,
        about("Poisson's ratio, with modulus_mpa, in place of material.", default="none"),
    ] = None
    material: Annotated[
        Literal["titanium", "zirconia"] | None,
        about(
            "Titanium: 110000 MPa, 0.33 (inside the ranges of doi 10.3390/ijms24044200 and "
            "doi 10.3390/bioengineering4010005; the choice is an assumption). Zirconia: "
            "210000 MPa, 0.30 (doi 10.3390/ijms24044200).",
            source=COMMON_PRACTICE,
            default='"titanium", where modulus_mpa and poisson are not given',
        ),
    ] = Field(
        default_factory=lambda data: (
            "titanium" if data["modulus_mpa"] is None and data["poisson"] is None else None
        )
    )
    thread: Annotated[Thread, about("The thread.")] = Thread()

    @property
    def elastic(self) -> Material:
        """The elastic constants of the implant and its abutment."""
        if self.modulus_mpa is not None and self.poisson is not None:
            return Material(modulus_mpa=self.modulus_mpa, poisson=self.poisson)
        return IMPLANT_MATERIALS[self.material or "titanium"]

    @property
    def platform_diameter_mm(self) -> float:
        """Diameter at the crest of the bone."""
        return _platform_mm({"outline_mm": self.outline_mm, "diameter_mm": self.diameter_mm})

    @model_validator(mode="before")
    @classmethod
    def _sizes_from_outline(cls, data: object) -> object:
        if not isinstance(data, dict) or data.get("outline_mm") is None:
            return data
        for key in ("diameter_mm", "length_mm", "taper_deg", "thread"):
            if data.get(key) is not None:
                text = "is not used with an outline; leave it out, or leave out the outline"
                refuse(text, key)
        diameter, length = _outline_sizes_mm(data["outline_mm"])
        none = {"form": "none"}
        return {**data, "diameter_mm": diameter, "length_mm": length, "thread": none}

    @field_validator("outline_mm")
    @classmethod
    def _sound_outline(cls, points: tuple[Pair, ...] | None) -> tuple[Pair, ...] | None:
        text = outline_problem(points) if points is not None else ""
        if text:
            refuse(text)
        return points

    @model_validator(mode="after")
    def _one_material(self) -> Self:
        refuse_two_materials(self, named=self.material is not None)
        return self

    @model_validator(mode="after")
    def _abutment_on_platform(self) -> Self:
        platform = self.platform_diameter_mm
        if self.abutment_diameter_mm > platform + 1e-9:
            text = f"must be at most {at_most(platform)} mm, the implant's diameter at the crest"
            refuse(text, "abutment_diameter_mm")
        return self

    @model_validator(mode="after")
    def _core_remains(self) -> Self:
        if self.outline_mm is not None:
            return self
        depth, least = self.thread.depth_mm, LEAST_CORE_RADIUS_MM
        tip = self.diameter_mm / 2 - math.tan(math.radians(self.taper_deg)) * self.length_mm
        if tip < least - 1e-9:
            text = f"leaves a tip radius of {at_most(tip)} mm; at least {least:g} mm must remain"
            refuse(text, "taper_deg" if self.taper_deg else "diameter_mm")
        if self.thread.form != "none" and tip - depth < least - 1e-9:
            text = f"is deeper than the core at the tip allows, {depth:g} mm: "
            if tip - least < LEAST_LENGTH_MM:
                text += f'no thread leaves a core radius of {least:g} mm there; use form = "none"'
            else:
                text += (
                    f"at most {at_most(tip - least)} mm leave a core radius of {least:g} mm at the tip"
                )
            refuse(text, "thread.depth_mm")
        return self

    @model_validator(mode="after")
    def _thread_fits(self) -> Self:
        thread = self.thread
        if thread.form == "none":
            return self
        slopes = (math.tan(math.radians(angle)) for angle in thread.flank_angles_deg)
        flanks = thread.depth_mm * sum(slopes)
        needed, room = thread.crest_flat_mm + flanks, self.length_mm - thread.first_mm
        if thread.pitch_mm < needed - 1e-9:
            text = (
                f"must be at least {at_least(needed)} mm, so that the crest flat "
                f"({thread.crest_flat_mm:g} mm) and both flanks ({flanks:.3g} mm) fit; it is "
                f"{thread.pitch_mm:g} mm"
            )
            refuse(text, "thread.pitch_mm")
        groove = thread.crest_flat_mm + LEAST_LENGTH_MM
        if thread.pitch_mm < groove - 1e-9:
            text = (
                f"must be at least {at_least(groove)} mm, so that beside the crest flat "
                f"({thread.crest_flat_mm:g} mm) a groove {LEAST_LENGTH_MM:g} mm wide is left; it is "
                f"{thread.pitch_mm:g} mm"
            )
            refuse(text, "thread.pitch_mm")
        if needed < LEAST_LENGTH_MM - 1e-9:
            text = (
                f"must be at least {at_least(LEAST_LENGTH_MM - flanks)} mm: with both flanks "
                f"({flanks:.3g} mm) the thread is a blade of {needed:.3g} mm, and less than "
                f"{LEAST_LENGTH_MM:g} mm is not meshed"
            )
            refuse(text, "thread.crest_flat_mm")
        if room <= 0:
            text = f"must be below the implant's length, {self.length_mm:g} mm"
            refuse(text, "thread.start_mm")
        if room / thread.pitch_mm > MOST_TURNS + 1e-6:
            text = (
                f"must be at least {at_least(room / MOST_TURNS)} mm: more than "
                f"{MOST_TURNS} turns are not meshed; it is {thread.pitch_mm:g} mm"
            )
            refuse(text, "thread.pitch_mm")
        if thread.pitch_mm > room + 1e-9:
            text = (
                f"must be at most {at_most(room)} mm, so that one thread fits between its start and the "
                f"end of the implant; it is {thread.pitch_mm:g} mm"
            )
            refuse(text, "thread.pitch_mm")
        return self


class Bone(Section):
    """The bone round the implant: a cortical layer over trabecular bone, in a round block."""

    cortical_thickness_mm: Annotated[
        NotNegative,
        about("Thickness of the cortical layer; 0 for none.", typical="0.5 to 3 mm"),
    ]
    cortical_modulus_mpa: Annotated[
        Modulus,
        about(
            "Young's modulus of the cortical layer.",
            source="convention of finite-element studies, doi 10.1186/s13005-017-0139-z",
        ),
    ] = 13_700.0
    trabecular_modulus_mpa: Annotated[
        Profile | None,
        about(
            "Young's modulus of the trabecular bone: one number, or [depth_mm, modulus] pairs with "
            "growing depth, straight in between. Exactly one of this, ct_number and density.",
            default="none",
            typical="7 to 900 MPa measured in jaws",
        ),
    ] = None
    ct_number: Annotated[
        float | None,
        about(
            "CT number [HU] in place of the modulus: density = 0.131 + 0.001067 HU g/cm³ (Rho, "
            "Hobatho, Ashman 1995, Med Eng Phys 17:347-355, from memory; assumption for jaw bone). "
            "Scanners differ: it gives a range of modulus, never one value.",
            default="none",
            typical="100 to 1200 HU",
        ),
        Field(ge=-100, le=2500),
    ] = None
    density: Annotated[
        float | None,
        about(
            "Apparent density [g/cm³] in place of the modulus.",
            default="none",
            typical="0.2 to 1.2 g/cm³",
        ),
        Field(gt=0, le=2.5),
    ] = None
    density_law: Annotated[
        LawName | None,
        about(
            "Modulus from density, with ct_number or density only. carter_hayes_1977: "
            "3790 · rate^0.06 · ρ³ at a strain rate of 0.01 /s, which is an assumption (Carter & "
            "Hayes 1977, J Bone Joint Surg Am 59:954-962). morgan_2003_femoral_neck: 6850 ρ^1.49; "
            "morgan_2003_vertebra: 4730 ρ^1.56; morgan_2003_pooled: 8920 ρ^1.83, from memory "
            "(Morgan, Bayraktar, Keaveny 2003, J Biomech 36:897-904).",
            source="assumption: it lies nearest the jaw measurements",
            default='"carter_hayes_1977", where ct_number or density is given',
        ),
    ] = Field(
        default_factory=lambda data: (
            None if data["ct_number"] is None and data["density"] is None else "carter_hayes_1977"
        )
    )
    poisson: Annotated[
        Poisson,
        about(
            "Poisson's ratio of both kinds of bone and of the gap's fill.",
            source="convention of finite-element studies, doi 10.1186/s13005-017-0139-z",
            typical="0.2 to 0.35",
        ),
    ] = 0.30
    crush_strain: Annotated[
        float,
        about(
            "Compressive yield strain: while the implant is seated no pressure exceeds this times the "
            "modulus of the bone beside it.",
            source="0.70 to 0.85 %: Morgan & Keaveny 2001, J Biomech 34:569-577, from memory; for "
            "trabecular bone, its use for cortical bone is an assumption",
            typical="0.007 to 0.0085",
        ),
        Field(gt=0, le=0.1),
    ] = 0.0078
    radius_mm: Annotated[
        Length | None,
        about(
            "Radius of the block, where the bone is one, as on a bench; at least "
            f"{LEAST_BONE_BESIDE_MM:g} mm of bone beside implant and gap. Without it the bone has no "
            "end that matters (numerics.far_mm).",
            default="none",
        ),
    ] = None
    depth_mm: Annotated[
        Length | None,
        about(
            f"Depth of the block below the crest; at least {LEAST_BONE_BELOW_MM:g} mm of bone "
            "below implant and gap. Without it as for radius_mm.",
            default="none",
        ),
    ] = None
    support: Annotated[
        Literal["all_round", "base"],
        about("Where the bone is fixed: side and base, or the base alone.", source=ASSUMPTION),
    ] = "all_round"

    @field_validator("cortical_thickness_mm")
    @classmethod
    def _none_or_a_layer(cls, thickness: float) -> float:
        if 0 < thickness < LEAST_CORTEX_MM:
            refuse(f"must be 0, for none, or at least {LEAST_CORTEX_MM:g} mm")
        return thickness

    @property
    def trabecular_profile_mpa(self) -> tuple[Pair, ...]:
        """(depth_mm, modulus_mpa) pairs with increasing depth; constant beyond the first and last."""
        if self.trabecular_modulus_mpa is not None:
            return self.trabecular_modulus_mpa
        return ((0.0, self._modulus_from_density()),)

    @property
    def trabecular_shape(self) -> tuple[Pair, ...]:
        """(depth_mm, modulus relative to the first one) pairs: the profile without its size.

        Rounded, so that a profile and its double have the same shape to the last digit.
        """
        profile = self.trabecular_profile_mpa
        return tuple((depth, round(modulus / profile[0][1], 12)) for depth, modulus in profile)

    def _modulus_from_density(self) -> float:
        density = density_from_ct(self.ct_number) if self.ct_number is not None else self.density
        return DENSITY_LAWS[self.density_law or "carter_hayes_1977"](density or 0.0)

    @field_validator("trabecular_modulus_mpa")
    @classmethod
    def _growing_depths(cls, profile: tuple[Pair, ...] | None) -> tuple[Pair, ...] | None:
        if profile is None:
            return None
        depths = [depth for depth, _ in profile]
        if not depths or any(b <= a for a, b in pairwise(depths)):
            refuse("must be one modulus, or [depth_mm, modulus] pairs with growing depth")
        return profile

    @model_validator(mode="after")
    def _one_trabecular(self) -> Self:
        keys = ("trabecular_modulus_mpa", "ct_number", "density")
        given = [key for key in keys if getattr(self, key) is not None]
        if len(given) != 1:
            got = " and ".join(given) or "none"
            refuse(f"must have exactly one of {', '.join(keys)}; it has {got}")
        if self.trabecular_modulus_mpa is not None:
            if self.density_law is not None:
                text = "is used only with ct_number or density; leave it out"
                refuse(text, "density_law")
            return self
        modulus = self._modulus_from_density()
        if not LEAST_MODULUS_MPA <= modulus <= LARGEST_MODULUS_MPA:
            text = (
                f"gives a trabecular modulus of {modulus:.2g} MPa; must give "
                f"{LEAST_MODULUS_MPA:g} to {LARGEST_MODULUS_MPA:g} MPa"
            )
            refuse(text, given[0])
        return self


class Socket(Section):
    """Where the implant bears on native bone, and what surrounds it elsewhere."""

    holds_mm: Annotated[
        Pairs,
        about(
            "Holds: [top, bottom] depths below the crest where the implant bears on native bone, "
            f"in order of depth, each at least {LEAST_HOLD_MM:g} mm long.",
            source=ASSUMPTION,
            default="the whole length of the implant",
        ),
    ]
    gap_width_mm: Annotated[
        LeastLength,
        about(
            "Width of the gap outside the holds, from the thread crests to the socket wall.",
            source=ASSUMPTION,
            typical="0.25 to 2 mm",
        ),
    ] = 0.5
    gap_modulus_mpa: Annotated[
        Modulus | None,
        about("Young's modulus of the gap's fill, in place of gap_fill.", default="none"),
    ] = None
    gap_fill: Annotated[
        Literal["empty", "clot", "graft"] | None,
        about(
            "What fills the gap. empty: nothing; clot: 1 MPa, the parametric early callus of "
            "Ghiasi et al. 2019, doi 10.1186/s12891-019-2854-z; graft: 10 MPa, an assumption.",
            source=ASSUMPTION,
            default='"clot", where gap_modulus_mpa is not given',
        ),
    ] = Field(default_factory=lambda data: "clot" if data["gap_modulus_mpa"] is None else None)

    @property
    def gap_filled(self) -> bool:
        """Whether an elastic filling occupies the gap."""
        return self.gap_fill != "empty"

    @property
    def gap_stiffness_mpa(self) -> float:
        """Young's modulus of the gap fill; 0 where the gap is empty."""
        if self.gap_modulus_mpa is not None:
            return self.gap_modulus_mpa
        return GAP_FILL_MPA[self.gap_fill or "clot"]

    @field_validator("holds_mm")
    @classmethod
    def _sound_holds(cls, holds: tuple[Pair, ...]) -> tuple[Pair, ...]:
        if not holds:
            refuse("leaves an engagement of zero; at least one hold is needed")
        for top, bottom in holds:
            if top < 0:
                text = f"hold [{top:g}, {bottom:g}] lies above the crest; depths are positive down"
                refuse(text)
            if bottom - top < LEAST_HOLD_MM - 1e-9:
                least = f"{LEAST_HOLD_MM:g} mm"
                text = f"hold [{top:g}, {bottom:g}] must be {least} long or more, top first"
                refuse(text)
        for (top, bottom), (next_top, next_bottom) in pairwise(holds):
            if next_top < bottom:
                text = (
                    f"holds [{top:g}, {bottom:g}] and [{next_top:g}, {next_bottom:g}] overlap or "
                    "are out of order; each must begin at or below the end of the one above"
                )
                refuse(text)
        return holds

    @model_validator(mode="after")
    def _one_fill(self) -> Self:
        if self.gap_modulus_mpa is not None and self.gap_fill is not None:
            text = "is not used with gap_modulus_mpa; give one of the two"
            refuse(text, "gap_fill")
        return self


class Interface(Section):
    """The interface between implant and native bone.

    With kind = "bonded", `friction` and `interference_um` are 0 and not used.
    """

    kind: Annotated[
        Literal["frictional", "bonded"],
        about(
            "frictional: freshly placed, pressure and friction, no tension; bonded: the healed bound.",
            source="assumption: the tool is about fresh implants",
        ),
    ] = "frictional"
    friction: Annotated[
        float,
        about(
            "Coefficient of friction; 0 is a loose fit. Not with bonded.",
            source="about 0.40, wet trabecular bone on titanium: Grant et al. 2007, J Biomech "
            "40:1158-1164, read in a later paper that cites it",
            default="0.4",
            typical="0.3 to 1",
        ),
        Field(ge=0, le=2),
    ] = Field(default_factory=lambda data: 0.0 if data["kind"] == "bonded" else 0.4)
    interference_um: Annotated[
        float,
        about(
            "Radial interference of implant and drilled hole. Not with bonded.",
            source="assumption: it gives ordinary torques, 10 to 80 N·cm, in ordinary bone",
            default="5",
            typical="0 to 100 µm",
        ),
        Field(ge=0, le=500),
    ] = Field(default_factory=lambda data: 0.0 if data["kind"] == "bonded" else 5.0)
    measured_torque_ncm: Annotated[
        Positive | None,
        about(
            "Insertion torque that was read, in place of interference_um: the interference that gives "
            "it is found. Only frictional.",
            default="none",
            typical="10 to 80 N·cm",
        ),
    ] = None
    cutting_torque_ncm: Annotated[
        NotNegative,
        about(
            "Part of the insertion torque that cut the thread; the model has friction alone.",
            source=ASSUMPTION,
        ),
    ] = 0.0
    retained_pressure: Annotated[
        float,
        about(
            "Share of the seating pressure that is left when the loads act; 1 at placement. Bovine "
            "trabecular cores, compressed and held at constant strain, lost up to 53 % of their stress "
            "in the first 10 min (Gersie et al. 2024, J Mech Behav Biomed Mater 152:106434); no press "
            "fit was measured.",
            source="assumption: loads at placement",
            typical="0.5 to 1",
        ),
        Field(ge=0, le=1),
    ] = 1.0
    layer_thickness_mm: Annotated[
        float,
        about("Thickness of the torn layer of the bone; 0 is hard contact.", source=ASSUMPTION),
        Field(ge=0, le=1),
    ] = 0.1
    layer_modulus_ratio: Annotated[
        float,
        about(
            "Modulus of that layer over that of the bone beside it; without effect where the "
            "thickness is 0.",
            source=ASSUMPTION,
        ),
        Field(ge=LEAST_LAYER_RATIO, le=1),
    ] = 0.1

    @model_validator(mode="after")
    def _bonded_needs_neither(self) -> Self:
        unused = self.model_fields_set & FRICTIONAL_KEYS
        if self.kind == "bonded" and unused:
            key = min(unused)
            refuse('is not used with kind = "bonded"; leave it out', key)
        return self

    @model_validator(mode="after")
    def _torque_or_interference(self) -> Self:
        measured = self.measured_torque_ncm
        if measured is None:
            return self
        if "interference_um" in self.model_fields_set:
            refuse("is not used with interference_um; give one of the two", "measured_torque_ncm")
        if self.friction == 0:
            refuse("must be above 0: without friction there is no torque", "friction")
        if self.cutting_torque_ncm >= measured:
            text = f"must be below measured_torque_ncm ({measured:g} N·cm), of which it is a part"
            refuse(text, "cutting_torque_ncm")
        return self


class Load(Section):
    """One load on the seated implant, towards θ = 0: by components, or by force and angle."""

    name: Annotated[str, about("Name of the load, used in the answer."), Field(min_length=1)]
    force_n: Annotated[
        Positive | None,
        about("Force, with angle_deg, in place of axial_n and lateral_n.", default="none"),
    ] = None
    angle_deg: Annotated[
        float | None,
        about(
            "Angle of the force from the axis: 0 presses in, 90 is lateral, 180 pulls out.",
            default="none",
        ),
        Field(ge=0, le=180),
    ] = None
    axial_n: Annotated[
        float | None,
        about("Force along the axis; positive presses in.", source=ASSUMPTION, default="0"),
    ] = Field(default_factory=lambda data: _zero_unless_polar(data))  # noqa: PLW0108 - defined below
    lateral_n: Annotated[
        float | None, about("Force across the axis.", source=ASSUMPTION, default="0")
    ] = Field(default_factory=lambda data: _zero_unless_polar(data))  # noqa: PLW0108 - defined below
    torque_ncm: Annotated[
        float, about("Torque about the axis, positive about +z.", source=ASSUMPTION)
    ] = 0.0
    height_mm: Annotated[
        Annotated[float, Field(ge=0, le=HIGHEST_LOAD_MM)],
        about(
            "Height above the crest at which the load acts.",
            source=ASSUMPTION,
            default="the abutment's height",
            typical="4 to 12 mm",
        ),
    ]

    @property
    def components(self) -> tuple[float, float, float]:
        """(axial_n, lateral_n, torque_nmm); axial is positive pressing in."""
        if self.force_n is not None and self.angle_deg is not None:
            axial, lateral = _split(self.force_n, self.angle_deg)
        else:
            axial, lateral = self.axial_n or 0.0, self.lateral_n or 0.0
        return axial, lateral, 10.0 * self.torque_ncm

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        components = [k for k in ("axial_n", "lateral_n") if getattr(self, k) is not None]
        polar = [k for k in ("force_n", "angle_deg") if getattr(self, k) is not None]
        if components and polar:
            text = (
                f"is not used with {components[0]}: give axial_n and lateral_n, or force_n and angle_deg"
            )
            refuse(text, polar[0])
        if len(polar) == 1:
            missing = "angle_deg" if polar == ["force_n"] else "force_n"
            refuse(f"is missing: {polar[0]} needs it", missing)
        return self

    @model_validator(mode="after")
    def _of_a_size(self) -> Self:
        largest = max(abs(part) for part in (*self.components[:2], self.torque_ncm))
        if largest < LEAST_LOAD:
            refuse(
                "is no load: axial_n, lateral_n (or force_n) or torque_ncm must be at least "
                f"{LEAST_LOAD:g} N or N·cm"
            )
        if largest > LARGEST_LOAD:
            refuse(f"exceeds any load on a tooth: must be at most {LARGEST_LOAD:g} N or N·cm")
        return self


class Threshold(Section):
    """Bands of tolerated micromotion, which overlap in the literature: no line of pass or fail."""

    bands_um: Annotated[
        tuple[Annotated[float, Field(gt=0, le=LARGEST_BAND_UM)], ...],
        Field(max_length=MOST_BANDS),
        about(
            "Bands of micromotion, rising.",
            source="tolerated between 50 and 150 µm: Szmukler-Moncler et al. 1998, J Biomed Mater "
            "Res 43:192-203; 100 µm: Brunski 1992, Clin Mater 10:153-201, from memory",
        ),
        BeforeValidator(as_tuple),
    ] = (50.0, 100.0, 150.0)

    @field_validator("bands_um")
    @classmethod
    def _rising(cls, bands: tuple[float, ...]) -> tuple[float, ...]:
        if not bands:
            refuse("must have at least 1 band, such as [50, 100, 150]")
        if any(b <= a for a, b in pairwise(bands)):
            refuse("must rise, such as [50, 100, 150]")
        return bands


class Numerics(Section):
    """Mesh, harmonics and load steps."""

    element_mm: Annotated[
        float,
        about(
            "Element size at the interface.",
            source="measured: within 2 % of far finer meshes on the shipped cases (docs/limits.md)",
        ),
        Field(ge=0.02, le=2),
    ] = 0.25
    harmonics: Annotated[
        int,
        about(
            "Highest harmonic round the axis.",
            source="measured: within 0.5 % of 12 on the shipped cases (docs/limits.md)",
        ),
        Field(ge=3, le=32),
    ] = 6
    load_steps: Annotated[
        int,
        about(
            "Equal steps in which a load is reached: friction has a history.",
            source="measured: peaks within 0.4 % of 16 on the shipped cases (docs/limits.md)",
        ),
        Field(ge=1, le=256),
    ] = 2
    far_mm: Annotated[
        float,
        about(
            "Bone beside and below the implant, up to its far support, where bone.radius_mm or "
            "bone.depth_mm states no block.",
            source="measured: peaks within 0.1 % of twice as much on the shipped cases, head movement "
            "within 2.5 % (docs/limits.md)",
        ),
        Field(ge=5, le=400),
    ] = 100.0


class Case(Section):
    """One implant in one site under one or more loads.

    `Case.from_dict` fills the defaults that one section takes from another: socket.holds_mm and each
    load's height_mm.
    """

    title: Annotated[str, about("Title of the case."), Field(min_length=1)]
    implant: Annotated[Implant, about("The implant.")]
    bone: Annotated[Bone, about("The bone.")]
    socket: Annotated[Socket, about("The socket.")]
    interface: Annotated[Interface, about("The interface.")] = Interface()
    loads: Annotated[
        tuple[Load, ...],
        Field(max_length=MOST_LOADS),
        about("One [[loads]] table a load."),
    ]
    threshold: Annotated[Threshold, about("The bands of tolerated micromotion.")] = Threshold()
    numerics: Annotated[Numerics, about("The numerics.")] = Numerics()
    spread: Annotated[
        tuple[Uncertain, ...],
        about(
            "Inputs known only roughly, for studies: one line for each key of this file, such as "
            "`bone.trabecular_modulus_mpa = [100, 400]`, `interface.friction = { mean = 0.4, sd = 0.1 "
            "}` or `trabecular_factor = { median = 1, factor = 2 }` (90 % within that factor). "
            "`loads.KEY` means every load, `loads[2].KEY` the second. A check does not use it.",
            default="none; studies have ranges of their own",
        ),
        BeforeValidator(lambda value: _as_uncertain(value)),  # noqa: PLW0108 - defined below
    ] = ()

    @classmethod
    def from_dict(cls, data: Mapping[str, object]) -> Self:
        """Return the case of nested dictionaries laid out as the case file is.

        Raises
        ------
        CaseError
            A key or value is wrong; one line per problem.
        """
        implant = data.get("implant")
        if isinstance(implant, Mapping) and "outline_csv" in implant:
            text = "works only in a case file; give implant.outline_mm, a list of [r_mm, z_mm]"
            value = written(implant["outline_csv"])
            raise case_error([Problem(key="implant.outline_csv", value=value, text=text)])
        return cls._checked(data)

    @classmethod
    def _checked(cls, data: Mapping[str, object], file: str | None = None) -> Self:
        try:
            return cls.model_validate(dict(data))
        except ValidationError as error:
            raise case_error(problems_of(error, data, SECTIONS), file) from None

    def to_dict(self) -> dict[str, Any]:
        """Return dictionaries with every default; `from_dict` makes an equal case of them."""
        data: dict[str, Any] = self.model_dump(mode="json", exclude_none=True, exclude={"spread"})
        if self.spread:
            data["spread"] = _spread_written(self.spread)
        implant, bone, interface = data["implant"], data["bone"], data["interface"]
        if "outline_mm" in implant:
            for key in ("diameter_mm", "length_mm", "taper_deg", "thread"):
                del implant[key]
        elif self.implant.thread.form == "none":
            implant["thread"] = {"form": "none"}
        if self.interface.kind == "bonded":
            for key in FRICTIONAL_KEYS & interface.keys():
                del interface[key]
        elif self.interface.measured_torque_ncm is not None:
            del interface["interference_um"]
        profile = bone.get("trabecular_modulus_mpa")
        if profile and len(profile) == 1 and profile[0][0] == 0:
            bone["trabecular_modulus_mpa"] = profile[0][1]
        plain: dict[str, Any] = without_negative_zero(data)
        return plain

    def stated(self) -> dict[str, Any]:
        """Return dictionaries of what the case states, without defaults, to be changed and read again.

        A default that one key takes from another follows it then: holds over the whole implant and loads
        at the abutment's height count as not stated. The spread is left out.
        """
        data: dict[str, Any] = self.model_dump(
            mode="json", exclude_unset=True, exclude_none=True, exclude={"spread"}
        )
        implant = data["implant"]
        if "outline_mm" in implant:
            for key in ("diameter_mm", "length_mm", "thread"):
                implant.pop(key, None)
        if self.socket.holds_mm == ((0.0, self.implant.length_mm),):
            data["socket"].pop("holds_mm", None)
        for load in data["loads"]:
            if load["height_mm"] == self.implant.abutment_height_mm:
                del load["height_mm"]
        return data

    @property
    def engagement_length_mm(self) -> float:
        """Total length of the holds."""
        return sum(bottom - top for top, bottom in self.socket.holds_mm)

    @property
    def engaged_threads(self) -> float | None:
        """Threaded length of the holds over the pitch; None without a thread of known pitch."""
        thread = self.implant.thread
        if thread.form == "none":
            return None
        threaded = (max(0.0, b - max(t, thread.start_mm)) for t, b in self.socket.holds_mm)
        return sum(threaded) / thread.pitch_mm

    @property
    def block_mm(self) -> Pair:
        """Radius and depth of the bone: those of a stated block, or as given by `numerics.far_mm`."""
        far, bone = self.numerics.far_mm, self.bone
        radius = self.implant.diameter_mm / 2 + far if bone.radius_mm is None else bone.radius_mm
        depth = self.implant.length_mm + far if bone.depth_mm is None else bone.depth_mm
        return radius, depth

    @property
    def is_whole_block(self) -> bool:
        """Whether the bone is a block of stated size, so that its far support is where it is stated."""
        return self.bone.radius_mm is not None and self.bone.depth_mm is not None

    def with_numerics(self, **changes: float) -> Self:
        """Return the case with other numerics; they are not validated."""
        numerics = self.numerics.model_copy(update=changes)
        return self.model_copy(update={"numerics": numerics})

    def fingerprint(self) -> str:
        """Return the SHA-256 (hex) of the case with every default; equal cases have equal ones."""
        text = json.dumps(self.to_dict(), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    @model_validator(mode="before")
    @classmethod
    def _socket_may_be_left_out(cls, data: object) -> object:
        return {"socket": {}, **data} if isinstance(data, dict) else data

    @field_validator("socket", "loads", mode="before")
    @classmethod
    def _defaults_from_implant(cls, value: object, info: ValidationInfo) -> object:
        """Fill defaults that depend on the implant; if that is itself invalid, with any valid value."""
        implant = info.data.get("implant")
        length, height = (implant.length_mm, implant.abutment_height_mm) if implant else (10.0, 6.0)
        if info.field_name == "loads":
            loads = as_tuple(value)
            if not isinstance(loads, tuple):
                refuse("must be a list of tables: write [[loads]] above each load")
            return tuple(_filled(load, "height_mm", height) for load in loads)
        return _filled(value, "holds_mm", ((0.0, length),))

    @field_validator("socket")
    @classmethod
    def _holds_in_implant(cls, socket: Socket, info: ValidationInfo) -> Socket:
        implant = info.data.get("implant")
        deepest = socket.holds_mm[-1][1]
        if implant and deepest > implant.length_mm + 1e-9:
            text = f"ends outside the implant: must stay within 0 to {at_most(implant.length_mm)} mm"
            refuse(text, "holds_mm")
        return socket

    @field_validator("loads")
    @classmethod
    def _one_load_at_least(cls, loads: tuple[Load, ...]) -> tuple[Load, ...]:
        if not loads:
            refuse("must have at least 1 load: write [[loads]] and its keys below")
        return loads

    @field_validator("loads")
    @classmethod
    def _names_differ(cls, loads: tuple[Load, ...]) -> tuple[Load, ...]:
        names = [load.name for load in loads]
        for name in names:
            if names.count(name) > 1:
                refuse(f'have the name "{name}" more than once; each load needs its own')
        return loads

    @model_validator(mode="after")
    def _bone_surrounds_implant(self) -> Self:
        length, radius = self.implant.length_mm, self.implant.diameter_mm / 2
        holds, gap = self.socket.holds_mm, self.socket.gap_width_mm
        covered = math.isclose(sum(b - a for a, b in holds), length, abs_tol=1e-9)
        beside = radius + (0.0 if covered else gap) + LEAST_BONE_BESIDE_MM
        below = length + (gap if holds[-1][1] < length - 1e-9 else 0.0) + LEAST_BONE_BELOW_MM
        if self.bone.radius_mm is not None and self.bone.radius_mm < beside - 1e-9:
            text = (
                f"must be at least {at_least(beside)} mm, so that {LEAST_BONE_BESIDE_MM:g} mm of bone "
                "remain beside the implant and its gap"
            )
            refuse(text, "bone.radius_mm")
        if self.bone.depth_mm is not None and self.bone.depth_mm < below - 1e-9:
            text = (
                f"must be at least {at_least(below)} mm, so that {LEAST_BONE_BELOW_MM:g} mm of bone "
                "remain below the implant and its gap"
            )
            refuse(text, "bone.depth_mm")
        return self


SECTIONS: Mapping[str, type[Section]] = MappingProxyType(
    {
        "": Case,
        "implant": Implant,
        "implant.thread": Thread,
        "bone": Bone,
        "socket": Socket,
        "interface": Interface,
        "loads": Load,
        "threshold": Threshold,
        "numerics": Numerics,
    }
)
"""The sections of the file by name."""


def key_problem(key: str) -> str:
    """Return what is wrong with the key of a number that is to vary; "" where nothing is.

    Lists count from 1: "loads[1].axial_n", "socket.holds_mm[1][2]".
    """
    plain = re.sub(r"(\[[1-9]\d*\])+", "", key[:LONGEST_KEY])
    if plain in STUDY_KEYS:
        return "" if key == plain else "has no list"
    section, _, name = plain.rpartition(".")
    if section not in SECTIONS or name not in SECTIONS[section].model_fields:
        return unknown_key(section if section in SECTIONS else "", plain, SECTIONS, STUDY_KEYS)
    kinds = set(_kinds(SECTIONS[section].model_fields[name].annotation))
    return "" if kinds & {float, int} and str not in kinds else "is not a number, so it cannot vary"


def _kinds(annotation: Any) -> Iterator[object]:
    """Yield the plain types in an annotation."""
    yield str if isinstance(annotation, str) else annotation
    for part in getattr(annotation, "__args__", ()):
        yield from _kinds(part)


def _as_uncertain(value: object) -> object:
    """Turn the raw [spread] table into distributions, each of an existing number."""
    if isinstance(value, tuple):
        return value
    if not isinstance(value, dict):
        refuse("must be a table: [spread], and a line a key below")
    found: list[Uncertain] = []
    for key, raw in uncertain_of(value):
        text = key_problem(key) or ("is given twice" if key in {item.key for item in found} else "")
        made = text or distribution(key, raw)
        if isinstance(made, str):
            refuse(made, key)
        found.append(made)
    return tuple(found)


def _spread_written(spread: tuple[Uncertain, ...]) -> dict[str, Any]:
    """Return the [spread] table, its keys nested like the sections."""
    table: dict[str, Any] = {}
    for item in spread:
        *path, name = item.key.split(".")
        place = table
        for step in path:
            place = place.setdefault(step, {})
        place[name] = item.written
    return table


def read_case(path: str | os.PathLike[str]) -> Case:
    """Read and check a case file, and the outline file that it may name.

    Raises
    ------
    CaseError
        The file cannot be read, is no valid TOML, or has a wrong key or value; one line per problem.
    """
    file = os.fspath(path)
    data = read_toml(path, "case")
    implant = data.get("implant")
    if isinstance(implant, dict) and "outline_csv" in implant:
        data = {**data, "implant": _with_outline(implant, Path(path).parent, file)}
    return Case._checked(data, file)  # noqa: SLF001 - the same module


def read_toml(path: str | os.PathLike[str], kind: str) -> dict[str, Any]:
    """Read a TOML file of a case, or of another `kind` of input.

    Raises
    ------
    CaseError
        The file cannot be read or is no valid TOML.
    """
    file = os.fspath(path)
    text = _read_text(Path(path), file, kind)
    if DEEP_KEY.search(text):
        msg = f"{file}: has a key of more than twenty parts; a {kind} has sections and keys, no deeper"
        raise CaseError(msg, file=file)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        msg = f"{file}: is not valid TOML: {error}"
        raise CaseError(msg, file=file) from None
    except (ValueError, RecursionError) as error:
        deep = isinstance(error, RecursionError)
        told = "lists or tables nested too deeply" if deep else "a number of too many digits"
        msg = f"{file}: cannot be read: it contains {told}"
        raise CaseError(msg, file=file) from None


def resolved_toml(case: Case) -> str:
    """Return the case as TOML with every default; `read_case` makes an equal case of it."""
    return tomli_w.dumps(case.to_dict())


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


def _filled(section: object, key: str, value: object) -> object:
    """Return a copy of a raw section with a default, unless it has the key or is no table."""
    if isinstance(section, dict) and section.get(key) is None:
        return {**section, key: value}
    return section


def _zero_unless_polar(data: Mapping[str, Any]) -> float | None:
    """Return the default of a component: 0, or None where the load is a force at an angle."""
    return 0.0 if data["force_n"] is None and data["angle_deg"] is None else None


def _split(force_n: float, angle_deg: float) -> Pair:
    angle = math.radians(angle_deg)
    return force_n * math.cos(angle), force_n * math.sin(angle)


def _read_text(path: Path, shown: str, kind: str) -> str:
    try:
        with path.open(encoding="utf-8-sig") as stream:
            text = stream.read(LARGEST_FILE + 1)
        if len(text) <= LARGEST_FILE:
            return text
        msg = f"{shown}: is too long: must have at most {LARGEST_FILE} letters"
    except FileNotFoundError:
        msg = f"{shown}: there is no such file; give the path of a {kind} file (TOML)"
    except IsADirectoryError:
        msg = f"{shown}: is a folder; give the path of a {kind} file (TOML) in it"
    except UnicodeDecodeError as error:
        msg = f"{shown}: is not UTF-8 text (byte {error.start + 1}); save it as UTF-8"
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        msg = f"{shown}: cannot be read: {getattr(error, 'strerror', None) or error}"
    raise CaseError(msg, file=shown)


def _with_outline(implant: dict[str, Any], folder: Path, file: str) -> dict[str, Any]:
    """Return the raw [implant] table with the points in place of the name of their file."""
    name = implant["outline_csv"]
    points: tuple[Pair, ...] = ()
    if not isinstance(name, str):
        text = "must be the name of a file, in quotes"
    elif "outline_mm" in implant:
        text = "is not used with outline_mm; give one of the two"
    else:
        points, text = _outline_points(folder / name)
    if text:
        problem = Problem(key="implant.outline_csv", value=written(name), text=text)
        raise case_error([problem], file)
    rest = {key: value for key, value in implant.items() if key != "outline_csv"}
    return {**rest, "outline_mm": points}


def _outline_points(path: Path) -> tuple[tuple[Pair, ...], str]:
    """Return the points in an outline file, and what is wrong with them or ""."""
    try:
        points, text = points_of(path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError:
        return (), "must be a file of UTF-8 text"
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        reason = getattr(error, "strerror", None) or error
        return (), f"must be a file of r_mm,z_mm points; it cannot be read: {reason}"
    return points, text or outline_problem(points)
