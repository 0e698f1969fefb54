"""Axial and oblique loads in soft and dense artificial bone: Goellner et al. 2011."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from validation.placed import Law, case_of, placed

SOFT_MPA, DENSE_MPA = 15.1, 151.4
"""Ends of foams of 0.16 and 0.32 g/cm³: Patel et al. 2008, BMC Musculoskelet Disord 9:137."""


def compute(keys: frozenset[str], law: Law = "yields") -> dict[str, float]:
    """Return ratios of head movement."""
    return {key: _FIGURES[key](law) for key in keys}


@cache
def head_um(modulus_mpa: float, load: str, law: Law) -> float:
    foam = {"trabecular_modulus_mpa": modulus_mpa}
    case = case_of(Path(__file__).parent / "foam.toml", law, bone=foam)
    return placed(case, load)[0].head.total_um


def oblique_over_axial(modulus_mpa: float, law: Law) -> float:
    return head_um(modulus_mpa, "oblique", law) / head_um(modulus_mpa, "axial", law)


_FIGURES = {
    "soft_over_dense": lambda law: head_um(SOFT_MPA, "axial", law) / head_um(DENSE_MPA, "axial", law),
    "oblique_soft": lambda law: oblique_over_axial(SOFT_MPA, law),
    "oblique_dense": lambda law: oblique_over_axial(DENSE_MPA, law),
}
