"""The published exponents: roots of the equations of Williams 1952, from memory.

`python -m validation.williams_1952.roots` prints those that published.csv and the curve hold.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import brentq

if TYPE_CHECKING:
    from collections.abc import Callable

REENTRANT, SQUARE = 1.5 * np.pi, 0.5 * np.pi
"""Angles that the body fills."""


def free_symmetric(power: float) -> float:
    return np.sin(power * REENTRANT) + power * np.sin(REENTRANT)


def fixed(power: float, poisson: float, sign: int) -> float:
    """Zero for antisymmetric fields (sign 1) or symmetric ones (-1)."""
    return (3 - 4 * poisson) * np.sin(power * REENTRANT) + sign * power * np.sin(REENTRANT)


def fixed_and_free(power: float, poisson: float) -> float:
    kappa = 3 - 4 * poisson
    right = (kappa + 1) ** 2 / (4 * kappa) - power**2 / kappa * np.sin(SQUARE) ** 2
    return np.sin(power * SQUARE) ** 2 - right


def smallest(equation: Callable[..., float], *of: float) -> float:
    """Return the smallest root between 0.3 and 1."""
    grid = np.linspace(0.3, 0.999, 700)
    value = equation(grid, *of)
    first = int(np.flatnonzero(value[:-1] * value[1:] < 0)[0])
    return brentq(equation, grid[first], grid[first + 1], args=of)


if __name__ == "__main__":
    print(f"free, symmetric      {smallest(free_symmetric):.5f}")
    print(f"fixed, antisymmetric {smallest(fixed, 0.3, 1):.5f}")
    print(f"fixed, symmetric     {smallest(fixed, 0.3, -1):.5f}")
    print(f"fixed and free       {smallest(fixed_and_free, 0.3):.5f}")
    for nu in (0.0, 0.1, 0.2, 0.3, 0.4, 0.45):
        print(f"tip, ν = {nu:<4}        {smallest(fixed, nu, 1):.5f}")
