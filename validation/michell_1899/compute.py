"""Rings and discs in plane strain under pressure that varies as cos nθ: Michell 1899.

Each n is one harmonic of a slab whose every node is kept from moving along the axis. Modulus 1, so that
G = 1/(2(1+ν)); the bore has radius 1, the rim of a ring radius 2.
"""

from __future__ import annotations

import numpy as np

from validation.michell_1899.closed_form import ring
from validation.solids import at_radius, core_stiffness, in_plane, slab
from validation.suite import Curve

POISSON, RIM, DIVISIONS = 0.3, 2.0, 24


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return Gu/p by ``ring_`` or ``disc_`` and n, K/(GL) by ``core_`` and a hundred times ν."""
    values = {}
    for key in keys:
        body, _, number = key.partition("_")
        values[key] = {"ring": _ring, "disc": _disc, "core": _core}[body](int(number))
    return values


def _ring(n: int, at: float = 1.0) -> float:
    basis = slab(np.linspace(1.0, RIM, DIVISIONS + 1))
    field = in_plane(basis, n, POISSON, {1.0: (1.0, 0.0)})
    return float(at_radius(basis, field, at)[0] / (2 * (1 + POISSON)))


def _disc(n: int) -> float:
    basis = slab(np.linspace(0.0, 1.0, DIVISIONS + 1))
    field = in_plane(basis, n, POISSON, {1.0: (1.0, 0.0)})
    return float(at_radius(basis, field, 1.0)[0] / (2 * (1 + POISSON)))


def _core(hundred_poisson: int) -> float:
    poisson = hundred_poisson / 100
    basis = slab(np.linspace(1.0, RIM, DIVISIONS + 1))
    return core_stiffness(basis, poisson) * 2 * (1 + poisson)


def curve() -> Curve:
    """Return the radial displacement of the bore against n."""
    harmonics = range(2, 11)
    return Curve(
        title="Ring, rim twice the bore, under p cos nθ in the bore",
        x_label="n",
        y_label="G u / (p b) of the bore",
        published=[(n, ring(n, 1.0, 1.0, RIM, POISSON)) for n in harmonics],
        computed=[(n, _ring(n)) for n in harmonics],
        log=True,
    )
