"""LE7 of The Standard NAFEMS Benchmarks: a cylinder closed by a hemisphere, under internal pressure.

Harmonic 0. The shell figure is that of two thin shells joined (Timoshenko & Woinowsky-Krieger, Theory
of Plates and Shells, cylindrical shells with hemispherical ends): here the wall is a solid and the
pressure acts on its inner side.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from skfem import Basis, MeshTri

from validation.benches import Floats, Mask, basis_of
from validation.solids import on_surface, read_at_corners, solved, stress_at
from validation.suite import Curve

RADIUS, THICKNESS, HEIGHT = 1.0, 0.025, 1.5
"""Mean radius, wall, height of the cylinder [m]."""
PRESSURE, POISSON = 1.0, 0.3
"""MPa; stress does not depend on the modulus, which is 1 here and 210 GPa in the benchmark."""
PLACE = 1.4034
"""Height of the reported point on the outside [m]."""
ACROSS = 4
"""Elements through the wall."""


def wall(across: int) -> MeshTri:
    """Return the wall, from the plane of symmetry z = 0 to the pole; a row of nodes lies at `PLACE`."""
    step = THICKNESS / across
    cylinder = np.concatenate(
        [
            np.linspace(start, stop, int(np.ceil((stop - start) / step)), endpoint=False)
            for start, stop in ((0.0, PLACE), (PLACE, HEIGHT))
        ]
    )
    angle = np.linspace(0, np.pi / 2, int(np.ceil(np.pi / 2 * RADIUS / step)) + 1)
    height = np.append(cylinder, np.full_like(angle, HEIGHT))
    angle = np.append(np.zeros_like(cylinder), angle)
    grid = MeshTri.init_tensor(np.arange(len(height), dtype=float), np.arange(across + 1.0))
    row, layer = np.rint(grid.p).astype(int)
    radius = RADIUS + THICKNESS * (layer / across - 0.5)
    points = np.stack([radius * np.cos(angle[row]), height[row] + radius * np.sin(angle[row])])
    points[0, angle[row] == np.pi / 2] = 0.0
    return MeshTri(np.ascontiguousarray(points), grid.t)


@cache
def pressurised(across: int = ACROSS) -> tuple[Basis, Floats]:
    """Return the body and its displacement (3n,), for a modulus of 1."""
    body = basis_of(wall(across))
    inside = RADIUS - THICKNESS / 2 + THICKNESS / 4 / across

    def on_inner_side(r: Floats, z: Floats) -> Mask:
        return np.hypot(r, np.maximum(z - HEIGHT, 0)) < inside

    def pressure(r: Floats, z: Floats) -> tuple[Floats, Floats, Floats]:
        away = np.hypot(r, np.maximum(z - HEIGHT, 0))
        return PRESSURE * r / away, 0 * r, PRESSURE * np.maximum(z - HEIGHT, 0) / away

    held = np.zeros((body.N, 3), dtype=bool)
    held[body.doflocs[1] < 1e-9, 2] = True
    force = on_surface(body, on_inner_side, pressure)
    return body, solved(body, 0, POISSON, force, held)


def axial_stress_outside(across: int = ACROSS) -> tuple[Floats, Floats]:
    """Return heights and axial stress [MPa] of the corners on the outside of the cylinder."""
    body, field = pressurised(across)
    here = read_at_corners(body.mesh)
    r, z = np.asarray(here.global_coordinates())
    element, corner = np.nonzero((r > RADIUS + THICKNESS / 2 - 1e-9) & (z < HEIGHT + 1e-9))
    stress = stress_at(here, element, field, 0, POISSON)[np.arange(len(element)), corner, 2]
    heights, row = np.unique(np.round(z[element, corner], 9), return_inverse=True)
    return heights, np.bincount(row, stress) / np.bincount(row)


def compute(keys: frozenset[str]) -> dict[str, float]:
    height, stress = axial_stress_outside()
    at_place = float(stress[np.argmin(np.abs(height - PLACE))])
    values = {
        "axial_stress": at_place,
        "axial_stress_as_solid": at_place,
        "height_of_largest": float(height[np.argmax(stress)]),
        "axial_stress_far_away": float(stress[0]),
    }
    return {key: values[key] for key in keys}


def curve() -> Curve:
    """Axial stress on the outside of the cylinder, below the joint.

    Published is the shell: pR/2t + (6/t²) p/(8β²) exp(-βx) sin βx, β² = √(3(1 - ν²))/(Rt), x down from
    the joint. At the reported point it gives 25.85 MPa.
    """
    height, stress = axial_stress_outside()
    beta = np.sqrt(np.sqrt(3 * (1 - POISSON**2)) / (RADIUS * THICKNESS))
    below = np.linspace(0, 0.5, 101)
    bent = 6 / THICKNESS**2 * PRESSURE / (8 * beta**2) * np.exp(-beta * below) * np.sin(beta * below)
    shell = PRESSURE * RADIUS / (2 * THICKNESS) + bent
    shown = np.flatnonzero(height > HEIGHT - 0.5)[::3]
    return Curve(
        title="Cylinder with a hemispherical end: outside of the cylinder",
        x_label="height [m]; the hemisphere begins at 1.5",
        y_label="axial stress [MPa]",
        published=[(float(HEIGHT - x), float(s)) for x, s in zip(below, shell, strict=True)],
        computed=[(float(x), float(s)) for x, s in zip(height[shown], stress[shown], strict=True)],
    )
