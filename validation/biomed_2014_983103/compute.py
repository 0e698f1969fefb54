"""Ratios of motion by thread pitch, density and cortex of the bone: BioMed Res Int 2014:983103."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from validation.placed import Law, case_of, placed
from validation.suite import Curve

MODULI_MPA = {"dense": 1370.0, "medium": 511.0, "low": 199.5}
"""doi 10.1186/s13005-017-0139-z; O'Mahony et al. 2000; doi 10.1155/2014/470539: theirs were not seen."""
CORTEX_MM = 1.0
"""Assumption, as in pitch.toml: that of theirs was not seen, and may differ between the densities."""
THIN_MM, THICK_MM = 0.5, 2.0
"""Crestal cortices between which motion is set against that between densities. Assumption."""
FINEST_MM, COARSEST_MM = 0.8, 2.4
PUBLISHED_LOW_UM = {0.8: 41.1, 1.6: 52.4, 2.4: 56.6}
"""Combined motion by pitch [mm] in low density, table 4."""


def compute(keys: frozenset[str], law: Law = "yields") -> dict[str, float]:
    """Return ratios of peaks.

    ``pitch_16_dense``: of pitches 1.6 and 0.8 mm; ``medium_over_dense``: of densities, pitch 0.8 mm;
    ``low_over_cortex``: what that density does over what the cortex does.
    """
    values = {}
    for key in keys:
        first, *_, last = key.split("_")
        if first == "pitch":
            values[key] = pitch_ratio(int(key.split("_")[1]) / 10, last, law)
        elif last == "cortex":
            values[key] = density_ratio(first, law) / cortex_ratio(law)
        else:
            values[key] = density_ratio(first, law)
    return values


@cache
def peak_um(pitch_mm: float, density: str, law: Law, cortex_mm: float = CORTEX_MM) -> float:
    case = case_of(
        Path(__file__).parent / "pitch.toml",
        law,
        implant={"diameter_mm": 4.1, "length_mm": 10.0, "thread": {"form": "v", "pitch_mm": pitch_mm}},
        bone={"trabecular_modulus_mpa": MODULI_MPA[density], "cortical_thickness_mm": cortex_mm},
    )
    return placed(case)[0].peak_um


def pitch_ratio(pitch_mm: float, density: str, law: Law) -> float:
    return peak_um(pitch_mm, density, law) / peak_um(FINEST_MM, density, law)


def density_ratio(density: str, law: Law) -> float:
    return peak_um(FINEST_MM, density, law) / peak_um(FINEST_MM, "dense", law)


def cortex_ratio(law: Law) -> float:
    return peak_um(FINEST_MM, "dense", law, THIN_MM) / peak_um(FINEST_MM, "dense", law, THICK_MM)


def curve() -> Curve:
    """Return motion in low density over that at the finest pitch, against pitch."""
    return Curve(
        title="Motion against thread pitch, low density",
        x_label="pitch [mm]",
        y_label="motion / motion at 0.8 mm",
        published=[(p, um / PUBLISHED_LOW_UM[FINEST_MM]) for p, um in PUBLISHED_LOW_UM.items()],
        computed=[(p, pitch_ratio(p, "low", "yields")) for p in (0.8, 1.2, 1.6, 2.0, COARSEST_MM)],
    )
