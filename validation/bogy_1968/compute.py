"""Where the joint of two bars of unlike stuff comes to the surface: Bogy 1968, stress as ρ^(λ-1).

A titanium bar ends on one of bone, both as thick, and is pulled: harmonic 0. λ is the slope of a stress
in the bone, on the bisector of its quadrant, on a grid graded into the edge of the joint.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from stillroot.mechanics.condense import body_harmonic, elimination_order
from stillroot.mechanics.harmonics import face_loads, unit_stiffness
from validation.benches import basis_of, graded, joined, mesh_of
from validation.bogy_1968.roots import bogy, smallest
from validation.solids import stress_at
from validation.suite import Curve

POISSON = 0.3
RATIO = {"titanium_on_cortical": 110_000 / 13_700, "titanium_on_trabecular": 110_000 / 1_370}
"""Of moduli."""
RADIUS, LENGTH = 2.0, 4.0
FIRST, GROWTH = 1e-7, 1.6
"""Smallest step of the grid, at the edge, and how fast steps grow."""
REACH = 1e-5, 1e-3
"""Distances from the edge between which λ is read."""
SECTOR_DEG = 15.0
"""Points so far to either side of the bisector are used."""


@cache
def exponent(ratio: float) -> float:
    """Return λ where the upper bar (z > 0) is `ratio` times as stiff as the lower."""
    r = graded(RADIUS, 0, FIRST, GROWTH)[::-1]
    z = joined(graded(0, LENGTH, FIRST, GROWTH), graded(0, -LENGTH, FIRST, GROWTH))
    body = basis_of(mesh_of(r, z))
    x, y = np.asarray(body.global_coordinates())
    stiffness = unit_stiffness(body, np.arange(body.nelems), POISSON, np.where(y > 0, ratio, 1.0))
    order = elimination_order(stiffness, np.empty(0, dtype=np.int64))
    held = body.doflocs[1] < -LENGTH + 1e-9
    harmonic = body_harmonic(stiffness, 0, body.doflocs, order, 0, held, 1.0)
    load = face_loads(body, LENGTH).axial
    field = harmonic.recovered(np.empty(0), load, harmonic.interior_solver())

    distance, depth = np.hypot(RADIUS - x, y), np.arctan2(-y, RADIUS - x)
    near = (distance > REACH[0]) & (distance < REACH[1])
    near &= np.abs(depth - np.pi / 4) < np.deg2rad(SECTOR_DEG)
    elements = np.flatnonzero(near.any(axis=1))
    stress = stress_at(body, elements, field, 0, POISSON)[near[elements]][:, 2]
    return 1 + float(np.polyfit(np.log(distance[near]), np.log(np.abs(stress)), 1)[0])


def compute(keys: frozenset[str]) -> dict[str, float]:
    return {key: exponent(RATIO[key]) for key in keys}


def curve() -> Curve:
    """λ against the ratio of moduli."""
    dense, few = np.linspace(0.15, 3, 58), (2, 3, 5, 10, 20, 50, 100, 300, 1000)
    return Curve(
        title="Edge of the joint of two bars of unlike moduli, ν = 0.3",
        x_label="log10 of the ratio of moduli",
        y_label="exponent λ; stress goes as distance^(λ-1)",
        published=[(float(x), smallest(bogy, float(10**x))) for x in dense],
        computed=[(float(np.log10(ratio)), exponent(ratio)) for ratio in few],
    )
