"""Ratios of motion by thread pitch and density of bone: BioMed Res Int 2014:983103, table 4."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from validation.placed import case_of, placed
from validation.suite import Curve

MODULI_MPA = {"dense": 1370.0, "medium": 511.0, "low": 199.5}
"""doi 10.1186/s13005-017-0139-z; O'Mahony et al. 2000; doi 10.1155/2014/470539: theirs are not known."""
FINEST_MM, COARSEST_MM = 0.8, 2.4
PUBLISHED_LOW_UM = {0.8: 41.1, 1.6: 52.4, 2.4: 56.6}
"""Combined motion by pitch [mm] in low density, table 4."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return ratios: ``pitch_16_dense`` of pitches 1.6 and 0.8 mm, ``medium_over_dense`` at 0.8 mm."""
    values = {}
    for key in keys:
        density = key.split("_")[-1]
        if key.startswith("pitch_"):
            values[key] = pitch_ratio(int(key.split("_")[1]) / 10, density)
        else:
            values[key] = peak_um(FINEST_MM, key.split("_")[0]) / peak_um(FINEST_MM, "dense")
    return values


@cache
def peak_um(pitch_mm: float, density: str) -> float:
    case = case_of(
        Path(__file__).parent / "pitch.toml",
        implant={"diameter_mm": 4.1, "length_mm": 10.0, "thread": {"form": "v", "pitch_mm": pitch_mm}},
        bone={"trabecular_modulus_mpa": MODULI_MPA[density]},
    )
    return placed(case)[0].peak_um


def pitch_ratio(pitch_mm: float, density: str) -> float:
    return peak_um(pitch_mm, density) / peak_um(FINEST_MM, density)


def curve() -> Curve:
    """Return motion in low density over that at the finest pitch, against pitch."""
    return Curve(
        title="Motion against thread pitch, low density",
        x_label="pitch [mm]",
        y_label="motion / motion at 0.8 mm",
        published=[(p, um / PUBLISHED_LOW_UM[FINEST_MM]) for p, um in PUBLISHED_LOW_UM.items()],
        computed=[(p, pitch_ratio(p, "low")) for p in (0.8, 1.2, 1.6, 2.0, COARSEST_MM)],
    )
