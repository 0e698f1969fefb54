"""The strength of bone, as stated in a case: what it bears before it yields, and what it does then."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from stillroot.inputs.quantities import Positive  # noqa: TC001 - read by pydantic
from stillroot.inputs.section import ASSUMPTION, Problems, Section, key

if TYPE_CHECKING:
    from collections.abc import Mapping

QUADRIC = "Schwiedrzik, Wolfram, Zysset 2013, Biomech Model Mechanobiol 12:1155-1168"
STRENGTH_OVER_MODULUS: Mapping[str, Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "bone": MappingProxyType({"trabecular": (0.0095, 0.0065), "cortical": (0.0085, 0.0052)}),
        "foam": MappingProxyType({"trabecular": (0.04, 0.04), "cortical": (0.04, 0.04)}),
    }
)
"""Strength in compression and in tension over the modulus.

Bone: the isotropic constants of the law of 2013, as published with research code. Trabecular 89.2 and
61.4 ρ^1.686 over 8535 ρ^1.63: 0.92 to 0.98 % at volume fractions ρ of 0.1 to 0.3, the largest stress
that it bears; it first yields at 0.7 of that. Cortical, 234.2 and 144.7 over 19 327 MPa, at first yield,
0.7 of that. Foam: 3 to 5 % over 0.16 to 0.64 g/cm³ (Calvert et al. 2010, J Mater Sci Mater Med, doi
10.1007/s10856-010-4024-6, read in a later paper; ASTM F1839, from memory); in tension an assumption."""
CLOSING_MARGIN = 1e-3


class Strength(Section):
    """What native bone bears before it yields; a fill of the gap never yields."""

    material: Literal["bone", "foam"] = key("bone", ASSUMPTION)
    """What the strengths that are not stated are taken for: bone, or the foam of a bench."""
    trabecular_compression_mpa: Positive | None = key(
        None, QUADRIC, shown="0.0095 times the modulus (foam 0.04)", typical="0.0065 to 0.0125 E"
    )
    """Compressive strength of the trabecular bone, or of foam without a skin."""
    trabecular_tension_mpa: Positive | None = key(
        None, QUADRIC, shown="0.0065 times the modulus (foam 0.04)", typical="0.0045 to 0.007 E"
    )
    """Tensile strength of the trabecular bone."""
    cortical_compression_mpa: Positive | None = key(
        None, QUADRIC, shown="0.0085 times the modulus (foam 0.04)", typical="0.0078 to 0.012 E"
    )
    """Compressive strength of the cortical layer."""
    cortical_tension_mpa: Positive | None = key(
        None, QUADRIC, shown="0.0052 times the modulus (foam 0.04)", typical="0.0044 to 0.0075 E"
    )
    """Tensile strength of the cortical layer."""
    factor: Positive = key(1.0, ASSUMPTION, typical="0.7 to 1")
    """All four strengths, times this: trabecular bone first yields at 0.7 of what it bears at most."""
    interaction: float = key(
        lambda data: 0.5 if data["material"] == "foam" else 0.19,
        f"{QUADRIC}: 0.188 for trabecular bone; its use for cortical bone is an assumption",
        shown="0.19 (foam 0.5)",
        typical="0.19 to 0.3",
        ge=0,
        le=0.5,
    )
    """ζ of the yield surface: how far pressure from the sides raises the strength. 0.5 with equal
    strengths is von Mises."""
    hardening: float = key(
        0.03,
        "mean slope of that law's published curve from first yield to a plastic strain of 0.05, "
        "(0.85 - 0.70) · 0.0095/0.05; bone that softens after that is left out",
        typical="0 to 0.05",
        ge=0,
        le=0.9,
    )
    """Modulus after yield in uniaxial compression, over the modulus before; 0 is perfectly plastic."""

    def stated_mpa(self, region: str) -> tuple[float | None, ...]:
        """Return what is stated of a region's strength in compression and in tension."""
        return tuple(
            None if mpa is None else self.factor * mpa
            for mpa in (getattr(self, f"{region}_{way}_mpa") for way in ("compression", "tension"))
        )

    def over_modulus(self, region: str) -> tuple[float, float]:
        """Return the strengths of a region relative to its modulus, where none are stated."""
        compression, tension = STRENGTH_OVER_MODULUS[self.material][region]
        return self.factor * compression, self.factor * tension

    def problems(self, region: str, modulus_mpa: float) -> Problems:
        """Yield what is wrong with the strength of a region of this modulus."""
        compression, tension = (
            ratio * modulus_mpa if mpa is None else mpa
            for ratio, mpa in zip(self.over_modulus(region), self.stated_mpa(region), strict=True)
        )
        if not closes(compression / tension, self.interaction):
            text = (
                f"leaves the yield surface open with {compression:.3g} MPa in compression and "
                f"{tension:.3g} MPa in tension of the {region} bone: lower it, or bring the two nearer "
                "to each other (0.5 needs equal ones)"
            )
            yield "strength.interaction", text


def closes(ratio: float, interaction: float) -> bool:
    """Return whether the yield surface bounds every stress, or is von Mises.

    `ratio` is the strength in compression over that in tension.
    """
    if interaction == 0.5:
        return ratio == 1
    return (1 + ratio) ** 2 * (1 - 2 * interaction) > 3 * (ratio - 1) ** 2 * (1 + CLOSING_MARGIN)
