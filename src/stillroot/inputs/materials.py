"""Elastic constants, and density laws that replace them. MPa, g/cm³.

Each value has its source. "From memory" means that the paper is right but the number was not read again
in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping


@dataclass(frozen=True, kw_only=True)
class Material:
    """An isotropic linear elastic material: `modulus_mpa` (Young's) and `poisson`, below 0.5."""

    modulus_mpa: float
    poisson: float

    @property
    def shear_modulus_mpa(self) -> float:
        """G = E / (2 (1 + ν))."""
        return self.modulus_mpa / (2 * (1 + self.poisson))

    @property
    def oedometric_modulus_mpa(self) -> float:
        """E (1 - ν) / ((1 + ν) (1 - 2ν)): uniaxial strain, as in a thin layer."""
        nu = self.poisson
        return self.modulus_mpa * (1 - nu) / ((1 + nu) * (1 - 2 * nu))


TITANIUM = Material(modulus_mpa=110_000.0, poisson=0.33)
"""Titanium and its alloys: inside 103 000-117 000 MPa and 0.30-0.35 (doi 10.3390/ijms24044200;
doi 10.3390/bioengineering4010005). The choice within the ranges is an assumption."""

ZIRCONIA = Material(modulus_mpa=210_000.0, poisson=0.30)
"""Zirconia, Y-TZP (doi 10.3390/ijms24044200)."""

IMPLANT_MATERIALS: Mapping[str, Material] = MappingProxyType(
    {"titanium": TITANIUM, "zirconia": ZIRCONIA}
)

BRIDGE_MATERIALS: Mapping[str, Material] = MappingProxyType(
    {
        "titanium": TITANIUM,
        "zirconia": ZIRCONIA,
        # Cast cobalt-chromium alloys, 190 000 to 230 000 MPa: from memory.
        "cobalt_chromium": Material(modulus_mpa=220_000.0, poisson=0.30),
        # Acrylic of a provisional, 2 000 to 3 000 MPa: from memory.
        "polymer": Material(modulus_mpa=2_700.0, poisson=0.35),
    }
)


def titanium_unless_stated(data: Mapping[str, object]) -> str | None:
    """Return the default name of a material: none where constants are given in its place."""
    return "titanium" if data["modulus_mpa"] is None and data["poisson"] is None else None


def material_of(section: Any, named: Mapping[str, Material]) -> Material:
    """Return the material of a section with `modulus_mpa` and `poisson`, or the name `material`."""
    if section.material is not None:
        return named[section.material]
    return Material(modulus_mpa=section.modulus_mpa, poisson=section.poisson)


def material_problems(section: Any) -> Iterator[tuple[str, str]]:
    """Yield (key, what is wrong) where such a section has its material twice or incompletely."""
    keys = {"modulus_mpa", "poisson"}
    given = sorted(key for key in keys if getattr(section, key) is not None)
    if given and section.material is not None:
        text = f"is not used with {given[0]}: give either material, or modulus_mpa and poisson"
        yield "material", text
    if len(given) == 1:
        yield min(keys - {*given}), f"is missing: {given[0]} needs it"


GAP_FILL_MPA: Mapping[str, float] = MappingProxyType(
    {
        # Nothing bears across the gap.
        "empty": 0.0,
        # Early callus, a parametric value: Ghiasi et al. 2019, doi 10.1186/s12891-019-2854-z.
        "clot": 1.0,
        # Packed granules just after placement: assumption, ten times the clot.
        "graft": 10.0,
    }
)
"""Young's modulus [MPa] of what fills the gap."""


@dataclass(frozen=True, kw_only=True)
class DensityLaw:
    """Modulus [MPa] of trabecular bone, `constant_mpa` · ρ^`power`; ρ its apparent density [g/cm³]."""

    constant_mpa: float
    power: float

    def __call__(self, density_g_cm3: float) -> float:
        """Return E [MPa] of a density."""
        return self.constant_mpa * math.pow(density_g_cm3, self.power)


STRAIN_RATE_PER_S = 0.01
"""Strain rate at which the law of Carter & Hayes is evaluated: assumption. A tenfold error changes E
by 15 %."""

DENSITY_LAWS: Mapping[str, DensityLaw] = MappingProxyType(
    {
        # 3790 · (strain rate)^0.06 · ρ³: Carter & Hayes 1977, J Bone Joint Surg Am 59:954-962, read in a
        # later paper that cites it. Of these laws it is the nearest to measurements on jaws.
        "carter_hayes_1977": DensityLaw(
            constant_mpa=3790.0 * math.pow(STRAIN_RATE_PER_S, 0.06), power=3.0
        ),
        # Morgan, Bayraktar, Keaveny 2003, J Biomech 36:897-904; the first two read in a later paper that
        # cites it, the pooled sites from memory. All give high values for the jaw.
        "morgan_2003_femoral_neck": DensityLaw(constant_mpa=6850.0, power=1.49),
        "morgan_2003_vertebra": DensityLaw(constant_mpa=4730.0, power=1.56),
        "morgan_2003_pooled": DensityLaw(constant_mpa=8920.0, power=1.83),
    }
)


def density_from_ct(ct_number: float) -> float:
    """Apparent density [g/cm³] = 0.131 + 0.001067 · HU.

    Rho, Hobatho, Ashman 1995, Med Eng Phys 17:347-355, from memory. Its use for jaw bone is an
    assumption: scanners and sites differ, so a CT number gives a range of modulus.
    """
    return 0.131 + 0.001067 * ct_number
