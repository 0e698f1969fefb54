"""What a case states besides the site: bands of tolerated motion, mesh, harmonics and load steps."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated

from pydantic import Field

from stillroot.inputs.section import Listed, Section, key, sound

MOST_BANDS, LARGEST_BAND_UM = 12, 1e6


def _bands_problem(bands: tuple[float, ...]) -> str:
    if not bands:
        return "must have at least 1 band, such as [50, 100, 150]"
    return "must rise, such as [50, 100, 150]" if any(b <= a for a, b in pairwise(bands)) else ""


class Threshold(Section):
    """Bands of tolerated micromotion, which overlap in the literature: no line of pass or fail."""

    bands_um: Annotated[
        tuple[Annotated[float, Field(gt=0, le=LARGEST_BAND_UM)], ...],
        Listed,
        Field(max_length=MOST_BANDS),
        sound(_bands_problem),
    ] = key(
        (50.0, 100.0, 150.0),
        "tolerated between 50 and 150 µm: Szmukler-Moncler et al. 1998, J Biomed Mater Res "
        "43:192-203; 100 µm: Brunski 1992, Clin Mater 10:153-201, from memory",
    )
    """Bands of micromotion, rising."""


class Numerics(Section):
    """Mesh, harmonics and load steps."""

    element_mm: float = key(
        0.25,
        "measured: within 2 % of far finer meshes on the shipped cases (docs/limits.md)",
        ge=0.02,
        le=2,
    )
    """Element size at the interface."""
    harmonics: int = key(
        6, "measured: within 0.5 % of 12 on the shipped cases (docs/limits.md)", ge=3, le=32
    )
    """Highest harmonic round the axis."""
    load_steps: int = key(
        2, "measured: peaks within 0.4 % of 16 on the shipped cases (docs/limits.md)", ge=1, le=256
    )
    """Equal steps in which a load is reached: friction has a history."""
    far_mm: float = key(
        100.0,
        "measured: peaks within 0.1 % of twice as much on the shipped cases, head movement within 2.5 "
        "% (docs/limits.md)",
        ge=5,
        le=400,
    )
    """Bone beside and below the implant, up to its far support, where bone.radius_mm or bone.depth_mm
    states no block."""
