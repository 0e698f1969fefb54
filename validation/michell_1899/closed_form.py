"""Michell's solution, evaluated: fills published.csv and the curve's line; not used by `compute`.

Plane strain, κ = 3 - 4ν. The stress function (A rⁿ + B rⁿ⁺² + C r⁻ⁿ + D r²⁻ⁿ) cos nθ has, n ≥ 2,

    σ_r  = -[A n(n-1) rⁿ⁻² + B (n-2)(n+1) rⁿ + C n(n+1) r⁻ⁿ⁻² + D (n+2)(n-1) r⁻ⁿ] cos nθ
    τ_rθ =  n[A (n-1) rⁿ⁻² + B (n+1) rⁿ - C (n+1) r⁻ⁿ⁻² - D (n-1) r⁻ⁿ] sin nθ
    2G u =  [-A n rⁿ⁻¹ + B (κ-n-1) rⁿ⁺¹ + C n r⁻ⁿ⁻¹ + D (κ+n-1) r¹⁻ⁿ] cos nθ
"""

from __future__ import annotations

import numpy as np


def _stresses(n: int, r: float) -> tuple[list[float], list[float]]:
    return (
        [
            -n * (n - 1) * r ** (n - 2),
            -(n - 2) * (n + 1) * r**n,
            -n * (n + 1) * r ** (-n - 2),
            -(n + 2) * (n - 1) * r**-n,
        ],
        [
            n * (n - 1) * r ** (n - 2),
            n * (n + 1) * r**n,
            -n * (n + 1) * r ** (-n - 2),
            -n * (n - 1) * r**-n,
        ],
    )


def _radial(n: int, r: float, kappa: float) -> list[float]:
    return [
        -n * r ** (n - 1),
        (kappa - n - 1) * r ** (n + 1),
        n * r ** (-n - 1),
        (kappa + n - 1) * r ** (1 - n),
    ]


def ring(n: int, at: float, inner: float, outer: float, poisson: float) -> float:
    """Return Gu/p at a radius of a ring under p cos nθ in its bore."""
    rows = [*_stresses(n, inner), *_stresses(n, outer)]
    coefficients = np.linalg.solve(np.array(rows, dtype=float), [-1.0, 0.0, 0.0, 0.0])
    return float(np.dot(_radial(n, at, 3 - 4 * poisson), coefficients) / 2)


def disc(n: int, poisson: float) -> float:
    """Return Gu/p on the rim of a disc of radius 1 under p cos nθ pulling there."""
    rows = [part[:2] for part in _stresses(n, 1.0)]
    coefficients = np.linalg.solve(np.array(rows, dtype=float), [1.0, 0.0])
    return float(np.dot(_radial(n, 1.0, 3 - 4 * poisson)[:2], coefficients) / 2)


def core(ratio: float, poisson: float) -> float:
    """Return the lateral stiffness over G and length of a rigid core bonded into a held ring, n = 1.

    `ratio` is outer over inner radius. From displacements in Michell's terms for n = 1, r³, r⁻¹, r ln r
    and rθ sin θ, that are a shift at the core and nothing at the rim. For ν = 1/2 it is
    4πG/(ln ratio - (ratio² - 1)/(ratio² + 1)), the long bush of Adkins and Gent 1954, Br J Appl Phys
    5:354-358 (from memory).
    """
    kappa = 3 - 4 * poisson
    share = (ratio**2 - 1) / (ratio**2 + 1)
    return float(2 * np.pi * (1 + kappa) * kappa / (kappa**2 * np.log(ratio) - share))
