"""Head movement of an implant in foam under an axial load: Karl, Graef, Winter, in-vitro study."""

from __future__ import annotations

from pathlib import Path

from validation.placed import Law, case_of, placed

MODULI_MPA = {"stiffest_foam": 151.4, "softest_foam": 15.1, "light_foam": 25.0}
"""Ends of 15.1 to 151.4 MPa (Patel et al. 2008, foams of 0.16 and 0.32 g/cm³), and near the low one."""


def compute(keys: frozenset[str], law: Law = "yields") -> dict[str, float]:
    """Return head movement [µm]."""
    return {key: head_um(MODULI_MPA[key], law) for key in keys}


def head_um(modulus_mpa: float, law: Law) -> float:
    foam = {"trabecular_modulus_mpa": modulus_mpa}
    case = case_of(Path(__file__).parent / "foam.toml", law, bone=foam)
    return placed(case)[0].head.total_um
