"""Bars pulled, bent and twisted: Saint-Venant, and a cone twisted, as in Timoshenko and Goodier.

n = 0 (pulled), its twin family (twisted) and n = 1 (bent).
"""

from __future__ import annotations

import numpy as np

from validation.bars import at, bar, cone, conjugate, section_means, under

POISSON, PULL_N, MOMENT_NMM = 0.3, 100.0, 100.0
LOW, HIGH, MIDDLE = 6.0, 12.0, 9.0
"""Heights [mm] at which the clamp and the load have died out."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return the figures, in µm, mrad and, for the cone, torque over G."""
    return {key: _FIGURES[key]() for key in keys}


def _stretch() -> float:
    field = under("axial", POISSON)
    return float(1000 * PULL_N * (at(field, 0.0, HIGH) - at(field, 0.0, LOW))[2])


def _thinning() -> float:
    radius = bar().mesh.p[0].max()
    return float(1000 * PULL_N * at(under("axial", POISSON), radius, MIDDLE)[0])


def _bending() -> float:
    field = under("moment", POISSON)
    low, high = (section_means(field, height)[1] for height in (LOW, HIGH))
    return 1000 * MOMENT_NMM * (high - low)


def _twist() -> float:
    return 1000 * MOMENT_NMM * conjugate("torque", under("torque", POISSON))


def _cone() -> float:
    return float(cone(np.pi / 6, 4.0, 12.0, 24).rigid("twist")[0, 0])


_FIGURES = {
    "stretch": _stretch,
    "thinning": _thinning,
    "bending": _bending,
    "twist": _twist,
    "cone": _cone,
}
