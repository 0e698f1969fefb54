"""The bone round the implant, as stated in a case."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from stillroot.inputs.materials import DENSITY_LAWS, density_from_ct
from stillroot.inputs.quantities import (
    LARGEST_MODULUS_MPA,
    LEAST_MODULUS_MPA,
    Length,
    Modulus,
    NotNegative,
    Pair,
    Poisson,
    Profile,
)
from stillroot.inputs.section import ASSUMPTION, Problems, Section, key, sound
from stillroot.inputs.strength import Strength

LEAST_CORTEX_MM = 0.05
LEAST_BONE_BESIDE_MM = 2.0
LEAST_BONE_BELOW_MM = 1.0
CONVENTION = "convention of finite-element studies, doi 10.1186/s13005-017-0139-z"
TRABECULAR_KEYS = ("trabecular_modulus_mpa", "ct_number", "density")
"""Keys of [bone], of which one states the trabecular bone."""

LawName = Literal[
    "carter_hayes_1977", "morgan_2003_femoral_neck", "morgan_2003_vertebra", "morgan_2003_pooled"
]


def _layer_problem(thickness: float) -> str:
    least = LEAST_CORTEX_MM
    return f"must be 0, for none, or at least {least:g} mm" if 0 < thickness < least else ""


def _profile_problem(profile: tuple[Pair, ...]) -> str:
    grows = profile and all(a < b for (a, _), (b, _) in pairwise(profile))
    return "" if grows else "must be one modulus, or [depth_mm, modulus] pairs with growing depth"


class Bone(Section):
    """The bone round the implant: a cortical layer over trabecular bone, in a round block."""

    cortical_thickness_mm: Annotated[NotNegative, sound(_layer_problem)] = key(typical="0.5 to 3 mm")
    """Thickness of the cortical layer; 0 for none."""
    cortical_modulus_mpa: Modulus = key(13_700.0, CONVENTION)
    """Young's modulus of the cortical layer."""
    trabecular_modulus_mpa: Annotated[Profile | None, sound(_profile_problem)] = key(
        None, typical="7 to 900 MPa measured in jaws"
    )
    """Young's modulus of the trabecular bone: one number, or [depth_mm, modulus] pairs with growing
    depth, straight in between. Exactly one of this, ct_number and density."""
    ct_number: float | None = key(None, typical="100 to 1200 HU", ge=-100, le=2500)
    """CT number [HU] in place of the modulus: density = 0.131 + 0.001067 HU g/cm³ (Rho, Hobatho, Ashman
    1995, Med Eng Phys 17:347-355, from memory; assumption for jaw bone). Scanners differ: it gives a
    range of modulus, never one value."""
    density: float | None = key(None, typical="0.2 to 1.2 g/cm³", gt=0, le=2.5)
    """Apparent density [g/cm³] in place of the modulus."""
    density_law: LawName | None = key(
        lambda data: (
            None if data["ct_number"] is None and data["density"] is None else "carter_hayes_1977"
        ),
        "assumption: it lies nearest the jaw measurements",
        shown='"carter_hayes_1977", where ct_number or density is given',
    )
    """Modulus from density, with ct_number or density only. carter_hayes_1977: 3790 · rate^0.06 · ρ³ at
    a strain rate of 0.01 /s, which is an assumption (Carter & Hayes 1977, J Bone Joint Surg Am
    59:954-962). morgan_2003_femoral_neck: 6850 ρ^1.49; morgan_2003_vertebra: 4730 ρ^1.56;
    morgan_2003_pooled: 8920 ρ^1.83, from memory (Morgan, Bayraktar, Keaveny 2003, J Biomech
    36:897-904)."""
    poisson: Poisson = key(0.30, CONVENTION, typical="0.2 to 0.35")
    """Poisson's ratio of both kinds of bone and of the gap's fill."""
    crush_strain: float = key(
        0.0078,
        "0.70 to 0.85 %: Morgan & Keaveny 2001, J Biomech 34:569-577, from memory; for trabecular "
        "bone, its use for cortical bone is an assumption",
        typical="0.007 to 0.0085",
        gt=0,
        le=0.1,
    )
    """Compressive yield strain of linear bone: while the implant is seated no pressure exceeds this
    times the modulus of the bone beside it. Bone that yields has its strength in its place."""
    law: Literal["yields", "linear"] = key(
        "yields", "bone that bears more than its strength gives way (docs/theory.md)"
    )
    """yields: bone gives way for good where it bears more than its strength; linear: it never does, and
    moves less than true bone wherever it is strained past yield."""
    strength: Strength = key(Strength())
    """What bone bears before it yields. Without effect where the law is linear."""
    radius_mm: Length | None = key(
        None,
        description="Radius of the block, where the bone is one, as on a bench; at least "
        f"{LEAST_BONE_BESIDE_MM:g} mm of bone beside implant and gap. Without it the bone has no end "
        "that matters (numerics.far_mm).",
    )
    depth_mm: Length | None = key(
        None,
        description=f"Depth of the block below the crest; at least {LEAST_BONE_BELOW_MM:g} mm of bone "
        "below implant and gap. Without it as for radius_mm.",
    )
    support: Literal["all_round", "base"] = key("all_round", ASSUMPTION)
    """Where the bone is fixed: side and base, or the base alone."""

    @property
    def trabecular_profile_mpa(self) -> tuple[Pair, ...]:
        """(depth_mm, modulus_mpa) pairs with increasing depth; constant beyond the first and last."""
        if self.trabecular_modulus_mpa is not None:
            return self.trabecular_modulus_mpa
        density = density_from_ct(self.ct_number) if self.ct_number is not None else self.density
        return ((0.0, DENSITY_LAWS[self.density_law or "carter_hayes_1977"](density or 0.0)),)

    @property
    def trabecular_shape(self) -> tuple[Pair, ...]:
        """(depth_mm, modulus relative to the first one) pairs: the profile without its size.

        Rounded, so that a profile and its double have the same shape to the last digit.
        """
        profile = self.trabecular_profile_mpa
        return tuple((depth, round(modulus / profile[0][1], 12)) for depth, modulus in profile)

    def _problems(self) -> Problems:
        given = [key for key in TRABECULAR_KEYS if getattr(self, key) is not None]
        if len(given) != 1:
            got = " and ".join(given) or "none"
            yield "", f"must have exactly one of {', '.join(TRABECULAR_KEYS)}; it has {got}"
        if self.trabecular_modulus_mpa is not None and self.density_law is not None:
            yield "density_law", "is used only with ct_number or density; leave it out"
        modulus, least, largest = (
            self.trabecular_profile_mpa[0][1],
            LEAST_MODULUS_MPA,
            LARGEST_MODULUS_MPA,
        )
        if not least <= modulus <= largest:
            must = f"must give {least:g} to {largest:g} MPa"
            yield given[0], f"gives a trabecular modulus of {modulus:.2g} MPa; {must}"
        yield from self.strength.problems("trabecular", modulus)
        if self.cortical_thickness_mm > 0:
            yield from self.strength.problems("cortical", self.cortical_modulus_mpa)
