"""Axial and oblique loads in soft and dense artificial bone: Goellner et al. 2011."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from validation.placed import case_of, placed

SOFT_MPA, DENSE_MPA = 15.1, 151.4
"""Ends of foams of 0.16 and 0.32 g/cm³: Patel et al. 2008, BMC Musculoskelet Disord 9:137."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return ratios of head movement."""
    return {key: _FIGURES[key]() for key in keys}


@cache
def head_um(modulus_mpa: float, load: str) -> float:
    case = case_of(Path(__file__).parent / "foam.toml", bone={"trabecular_modulus_mpa": modulus_mpa})
    return placed(case, load)[0].head.total_um


def oblique_over_axial(modulus_mpa: float) -> float:
    return head_um(modulus_mpa, "oblique") / head_um(modulus_mpa, "axial")


_FIGURES = {
    "soft_over_dense": lambda: head_um(SOFT_MPA, "axial") / head_um(DENSE_MPA, "axial"),
    "oblique_soft": lambda: oblique_over_axial(SOFT_MPA),
    "oblique_dense": lambda: oblique_over_axial(DENSE_MPA),
}
