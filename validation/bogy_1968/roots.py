"""The published exponents: roots of Bogy's equation for a butt joint, from memory, and a second way.

`python -m validation.bogy_1968.roots` prints those that published.csv and the curve hold. The second way
uses complex potentials φ = a z^λ, ψ = b z^λ in either quadrant, with the free sides and the joint as
conditions: its determinant vanishes where Bogy's expression does.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import brentq

if TYPE_CHECKING:
    from collections.abc import Callable

POISSON = 0.3
KAPPA = 3 - 4 * POISSON


def bogy(power: float, ratio: float) -> float:
    """Zero at λ; α and β are those of Dundurs, in plane strain, with one Poisson's ratio."""
    alpha = (ratio - 1) / (ratio + 1)
    beta = alpha * (KAPPA - 1) / (KAPPA + 1)
    s = np.sin(np.pi * power / 2) ** 2 - power**2
    squares = s**2 * beta**2 + power**2 * (power**2 - 1) * alpha**2
    return squares + 2 * power**2 * s * alpha * beta + np.sin(np.pi * power) ** 2 / 4


def determinant(power: float, ratio: float) -> float:
    """Zero at λ: free at -90° and 90°, joined at 0°; the upper quadrant is `ratio` times as stiff."""

    def displacement_and_force(angle: float, shear: float) -> np.ndarray:
        z, columns = np.exp(1j * angle), []
        for a, b in ((1, 0), (1j, 0), (0, 1), (0, 1j)):
            phi, slope, psi = a * z**power, power * a * z ** (power - 1), b * z**power
            rest = z * np.conj(slope) + np.conj(psi)
            u, force = (KAPPA * phi - rest) / (2 * shear), phi + rest
            columns.append((u.real, u.imag, force.real, force.imag))
        return np.array(columns).T

    right = np.pi / 2
    conditions = np.zeros((8, 8))
    conditions[:2, :4] = displacement_and_force(-right, 1.0)[2:]
    conditions[2:4, 4:] = displacement_and_force(right, ratio)[2:]
    conditions[4:, :4] = displacement_and_force(0.0, 1.0)
    conditions[4:, 4:] = -displacement_and_force(0.0, ratio)
    return float(np.linalg.det(conditions))


def smallest(equation: Callable[[float, float], float], ratio: float) -> float:
    """Return the smallest root between 0.5 and 1."""
    grid = np.linspace(0.5, 0.9999, 500)
    value = np.array([equation(power, ratio) for power in grid])
    first = int(np.flatnonzero(value[:-1] * value[1:] < 0)[0])
    return brentq(equation, grid[first], grid[first + 1], args=(ratio,))


if __name__ == "__main__":
    for ratio in (1.5, 2, 3, 5, 110 / 13.7, 20, 80, 110 / 1.37, 300, 1000):
        print(f"{ratio:8.3f}  {smallest(bogy, ratio):.5f}  {smallest(determinant, ratio):.5f}")
