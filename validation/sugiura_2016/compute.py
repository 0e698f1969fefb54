"""A fresh implant under 200 N oblique in bone of two densities: Sugiura et al. 2016, PMC4928204."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from validation.placed import TORN_LAYER, case_of, placed

HIGH_MPA = 1370.0
"""Convention of finite-element studies, doi 10.1186/s13005-017-0139-z."""
LOW_MPA = 199.5
"""The stiffest of measured cores, 6.9 to 199.5: J Med Eng 2014:470539, doi 10.1155/2014/470539."""
THIN, THICK = 0.5, 2.5
"""Crestal cortex [mm]."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return peaks of interface motion [µm], and what is made of them."""
    return {key: _FIGURES[key]() for key in keys}


@cache
def peak_um(modulus_mpa: float, cortex_mm: float = THIN, *, torn: bool = False) -> float:
    case = case_of(
        Path(__file__).parent / "jaw.toml",
        bone={"trabecular_modulus_mpa": modulus_mpa, "cortical_thickness_mm": cortex_mm},
        interface=TORN_LAYER if torn else {},
    )
    return placed(case)[0].peak_um


def gain_um(modulus_mpa: float) -> float:
    """Return what the thick cortex takes off the peak."""
    return peak_um(modulus_mpa, THIN) - peak_um(modulus_mpa, THICK)


_FIGURES = {
    "low": lambda: peak_um(LOW_MPA),
    "low_torn": lambda: peak_um(LOW_MPA, torn=True),
    "high_thin_cortex": lambda: peak_um(HIGH_MPA),
    "high_thick_cortex": lambda: peak_um(HIGH_MPA, THICK),
    "high_torn": lambda: peak_um(HIGH_MPA, torn=True),
    "low_over_high": lambda: peak_um(LOW_MPA) / peak_um(HIGH_MPA),
    "cortex_gain": lambda: gain_um(LOW_MPA) / gain_um(HIGH_MPA),
    "cortex_high": lambda: peak_um(HIGH_MPA, THIN) / peak_um(HIGH_MPA, THICK),
}
