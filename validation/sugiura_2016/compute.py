"""A fresh implant under 200 N oblique in bone of two densities: Sugiura et al. 2016, PMC4928204."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from validation.placed import TORN_LAYER, Law, case_of, placed

HIGH_MPA = 1370.0
"""Convention of finite-element studies, doi 10.1186/s13005-017-0139-z."""
LOW_MPA = 199.5
"""The stiffest of measured cores, 6.9 to 199.5: J Med Eng 2014:470539, doi 10.1155/2014/470539."""
THIN, THICK = 0.5, 2.5
"""Crestal cortex [mm]."""


def compute(keys: frozenset[str], law: Law = "yields") -> dict[str, float]:
    """Return peaks of interface motion [µm], and what is made of them."""
    return {key: _FIGURES[key](law) for key in keys}


@cache
def peak_um(modulus_mpa: float, law: Law, cortex_mm: float = THIN, *, torn: bool = False) -> float:
    case = case_of(
        Path(__file__).parent / "jaw.toml",
        law,
        bone={"trabecular_modulus_mpa": modulus_mpa, "cortical_thickness_mm": cortex_mm},
        interface=TORN_LAYER if torn else {},
    )
    return placed(case)[0].peak_um


def gain_um(modulus_mpa: float, law: Law) -> float:
    """Return what the thick cortex takes off the peak."""
    return peak_um(modulus_mpa, law, THIN) - peak_um(modulus_mpa, law, THICK)


_FIGURES = {
    "low": lambda law: peak_um(LOW_MPA, law),
    "low_torn": lambda law: peak_um(LOW_MPA, law, torn=True),
    "high_thin_cortex": lambda law: peak_um(HIGH_MPA, law),
    "high_thick_cortex": lambda law: peak_um(HIGH_MPA, law, THICK),
    "high_torn": lambda law: peak_um(HIGH_MPA, law, torn=True),
    "low_over_high": lambda law: peak_um(LOW_MPA, law) / peak_um(HIGH_MPA, law),
    "cortex_gain": lambda law: gain_um(LOW_MPA, law) / gain_um(HIGH_MPA, law),
    "cortex_high": lambda law: peak_um(HIGH_MPA, law, THIN) / peak_um(HIGH_MPA, law, THICK),
}
