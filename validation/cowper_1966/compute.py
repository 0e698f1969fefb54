"""Timoshenko's cantilever with Cowper's shear coefficient: Cowper 1966.

κ = 6(1+ν)/(7+6ν) for a circle. His deflection and rotation are means over the section, W = ∫u_x dA/A and
Φ = ∫x u_z dA/I, and so they are here; far from clamp and load W' - Φ = P/(κGA).
"""

from __future__ import annotations

import numpy as np

from validation.bars import LENGTH, MODULUS, RADIUS, STEP, conjugate, section_means, under
from validation.suite import Curve

LOAD_N = 10.0


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return κ by ``kappa_`` and a hundred times ν; ``deflection``: µm of the end under 10 N, ν = 0."""
    values = {}
    for key in keys:
        if key == "deflection":
            values[key] = 1000 * LOAD_N * conjugate("lateral", under("lateral", 0.0))
        else:
            values[key] = shear_coefficient(int(key.removeprefix("kappa_")) / 100)
    return values


def shear_coefficient(poisson: float) -> float:
    """Return P/((W' - Φ)GA) in the middle; W is a cubic there, as five-point differences have it."""
    field = under("lateral", poisson)
    w, rotation = np.array([section_means(field, LENGTH / 2 + k * STEP) for k in range(-2, 3)]).T
    slope = (w[0] - 8 * w[1] + 8 * w[3] - w[4]) / (12 * STEP)
    shear_modulus = MODULUS / (2 * (1 + poisson))
    return float(1 / ((slope - rotation[2]) * shear_modulus * np.pi * RADIUS**2))


def curve() -> Curve:
    """Return κ against Poisson's ratio."""
    dense, few = np.linspace(0, 0.48, 25), (0.0, 0.1, 0.2, 0.3, 0.4, 0.45)
    return Curve(
        title="Shear coefficient of a round bar",
        x_label="Poisson's ratio",
        y_label="κ",
        published=[(float(nu), float(6 * (1 + nu) / (7 + 6 * nu))) for nu in dense],
        computed=[(nu, shear_coefficient(nu)) for nu in few],
    )
