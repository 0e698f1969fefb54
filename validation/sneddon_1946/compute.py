"""A penny-shaped crack of radius a, opened by a pressure p inside it: Sneddon 1946.

Each face opens by w(r) = 4(1 - ν²)/(πE) p √(a² - r²); the edge has K = 2p√(a/π). Harmonic 0 on one half
of the body, whose plane z = 0 is held along the axis outside the crack. p, a and E are 1.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from stillroot.mechanics.harmonics import angular_weight
from validation.benches import Floats, basis_of, graded, joined, mesh_of
from validation.solids import on_surface, solved
from validation.suite import Curve

POISSON = 0.3
BLOCK = 50.0
"""The block is held along the axis where it ends; what the crack does there falls as 1/R³."""
FIRST, GROWTH = 1e-4, 1.4
"""Smallest step of the grid, at the edge of the crack, and how fast steps grow."""
REACH = 1e-3, 1e-2
"""Distances from the edge between which K is read."""


@cache
def opened(growth: float = GROWTH) -> tuple[Floats, Floats, float]:
    """Return radii (k,) of the nodes on the crack, how far it opens there (k,), and the work of p."""
    r = joined(graded(1, 0, FIRST, growth), graded(1, BLOCK, FIRST, growth))
    body = basis_of(mesh_of(r, np.sort(graded(0, -BLOCK, FIRST, growth))))
    x, y = body.doflocs
    held = np.zeros((body.N, 3), dtype=bool)
    held[(y > -1e-12) & (x > 1 - 1e-12), 2] = True
    force = on_surface(
        body, lambda x, y: (y > -1e-12) & (x < 1), lambda x, _: (0 * x, 0 * x, -1 + 0 * x)
    )
    field = solved(body, 0, POISSON, force, held)
    crack = np.flatnonzero((y > -1e-12) & (x < 1 - 1e-12))
    crack = crack[np.argsort(x[crack])]
    work = angular_weight(0) * float(force @ field.ravel())
    return x[crack], -field[crack, 2], work


def stress_intensity() -> float:
    """Return K from the opening √(a² - r²) would have near the edge: w = 4(1-ν²) K √(s/2π)."""
    r, opening, _ = opened()
    s = 1 - r
    near = (s > REACH[0]) & (s < REACH[1])
    return float(np.mean(opening[near] / np.sqrt(s[near]))) * np.sqrt(2 * np.pi) / (4 * (1 - POISSON**2))


def compute(keys: frozenset[str]) -> dict[str, float]:
    _, opening, work = opened()
    values = {
        "opening_centre": float(opening[0]),
        "work": work,
        "stress_intensity": stress_intensity(),
    }
    return {key: values[key] for key in keys}


def curve() -> Curve:
    """How far a face opens."""
    r, opening, _ = opened()
    shown, at = np.linspace(0, 1, 101), np.flatnonzero(r < 0.995)
    largest = 4 * (1 - POISSON**2) / np.pi
    return Curve(
        title="Penny-shaped crack under pressure",
        x_label="radius over that of the crack",
        y_label="opening of one face, times E/(p a)",
        published=[(float(x), float(largest * np.sqrt(1 - x**2))) for x in shown],
        computed=[(float(x), float(w)) for x, w in zip(r[at], opening[at], strict=True)],
    )
