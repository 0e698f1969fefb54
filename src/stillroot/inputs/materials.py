"""Elastic constants, and density laws that replace them. MPa, g/cm³.

Each value has its source. "From memory" means that the paper is right but the number was not read again
in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping


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
    def lame_mpa(self) -> float:
        """λ = E ν / ((1 + ν) (1 - 2ν)), the first Lamé constant; the second is G."""
        nu = self.poisson
        return self.modulus_mpa * nu / ((1 + nu) * (1 - 2 * nu))

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

STRAIN_RATE_PER_S = 0.01
"""Strain rate at which the law of Carter & Hayes is evaluated: assumption. A tenfold error changes E
by 15 %."""


def carter_hayes_1977(density_g_cm3: float, *, strain_rate_per_s: float = STRAIN_RATE_PER_S) -> float:
    """E [MPa] = 3790 · (strain rate)^0.06 · ρ³.

    Carter & Hayes 1977, J Bone Joint Surg Am 59:954-962, read in a later paper that cites it. Of these
    laws it is the nearest to measurements on jaws.
    """
    return 3790.0 * math.pow(strain_rate_per_s, 0.06) * density_g_cm3**3


def morgan_2003_femoral_neck(density_g_cm3: float) -> float:
    """E [MPa] = 6850 ρ^1.49 (Morgan, Bayraktar, Keaveny 2003, J Biomech 36:897-904).

    Read in a later paper that cites it. Gives high values for the jaw.
    """
    return 6850.0 * math.pow(density_g_cm3, 1.49)


def morgan_2003_vertebra(density_g_cm3: float) -> float:
    """E [MPa] = 4730 ρ^1.56 (Morgan, Bayraktar, Keaveny 2003, J Biomech 36:897-904).

    Read in a later paper that cites it. Gives high values for the jaw.
    """
    return 4730.0 * math.pow(density_g_cm3, 1.56)


def morgan_2003_pooled(density_g_cm3: float) -> float:
    """E [MPa] = 8920 ρ^1.83, pooled sites (Morgan, Bayraktar, Keaveny 2003, from memory).

    Gives high values for the jaw.
    """
    return 8920.0 * math.pow(density_g_cm3, 1.83)


DENSITY_LAWS: Mapping[str, Callable[[float], float]] = MappingProxyType(
    {
        "carter_hayes_1977": carter_hayes_1977,
        "morgan_2003_femoral_neck": morgan_2003_femoral_neck,
        "morgan_2003_vertebra": morgan_2003_vertebra,
        "morgan_2003_pooled": morgan_2003_pooled,
    }
)
"""Young's modulus [MPa] of trabecular bone from apparent density [g/cm³], by name."""


def density_from_ct(ct_number: float) -> float:
    """Apparent density [g/cm³] = 0.131 + 0.001067 · HU.

    Rho, Hobatho, Ashman 1995, Med Eng Phys 17:347-355, from memory. Its use for jaw bone is an
    assumption: scanners and sites differ, so a CT number gives a range of modulus.
    """
    return 0.131 + 0.001067 * ct_number
