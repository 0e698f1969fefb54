"""A spherical cavity in a wide body that is pulled: Southwell and Gough 1926, Goodier 1933.

Pulled along the axis it is n = 0 alone. Pulled across it is n = 0 and n = 2 together: far away
σ_xx = 1, so t_r = n_r (1 + cos 2θ)/2 and t_θ = -n_r (sin 2θ)/2. A sphere has no axis, so both must
give the same stresses.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from validation.benches import Floats, graded
from validation.solids import on_surface, shell, solved
from validation.suite import Curve

POISSON = 0.3
WIDE, FIRST, GROWTH, DIVISIONS = 20.0, 0.03, 1.3, 128
"""Outer radius and first step in radii of the cavity; growth of the steps; divisions of 180°."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return stresses on the cavity's wall over the stress far away."""
    return {key: _FIGURES[key]() for key in keys}


@cache
def wall_field(pull: str, n: int) -> tuple[Floats, Floats]:
    """Return angles from the axis (k,) and u, v, w (k, 3) of the wall, at corners and mid-sides."""
    basis = shell(graded(1.0, WIDE, FIRST, GROWTH), np.linspace(0, np.pi, DIVISIONS + 1))
    traction = {
        ("along", 0): lambda r, z: (0 * r, 0 * r, z / WIDE),
        ("across", 0): lambda r, _: (r / WIDE / 2, 0 * r, 0 * r),
        ("across", 2): lambda r, _: (r / WIDE / 2, -r / WIDE / 2, 0 * r),
    }[pull, n]
    force = on_surface(basis, lambda r, z: np.hypot(r, z) > WIDE / 2, traction)
    held = np.zeros((basis.N, 3), dtype=bool)
    if n == 0:
        held[:, 1] = True
        held[np.argmax(basis.doflocs[1]), 2] = True
    field = solved(basis, n, POISSON, force, held)
    facets = basis.mesh.facets_satisfying(lambda x: np.hypot(*x) < 1.0 + 1e-9, boundaries_only=True)
    nodes = basis.get_dofs(facets).flatten()
    r, z = basis.doflocs[:, nodes]
    order = np.argsort(np.arctan2(r, z))
    return np.arctan2(r, z)[order], field[nodes[order]]


def strains(pull: str, n: int) -> tuple[Floats, Floats, Floats]:
    """Return angles (k,), strains along the meridian and round the axis (k,) at corners of the wall."""
    angle, field = wall_field(pull, n)
    u, v, w = field.T
    inside = slice(2, -2, 2)
    a = angle[inside]
    # u_R/R + du_β/dβ, with the slope of the parabola of each side of a corner, averaged.
    outward = u * np.sin(angle) + w * np.cos(angle)
    along = u * np.cos(angle) - w * np.sin(angle)
    step = angle[2] - angle[0]
    after = (-3 * along[2:-2:2] + 4 * along[3:-1:2] - along[4::2]) / step
    before = (3 * along[2:-2:2] - 4 * along[1:-3:2] + along[:-4:2]) / step
    meridian = outward[inside] + (after + before) / 2
    return a, meridian, (u + n * v)[inside] / np.sin(a)


def stress(pull: str, angle: float, theta: float, which: str) -> float:
    """Return the stress along the meridian or round the axis, at angles [rad] from axis and θ = 0."""
    total = np.zeros(2)
    for n in (0,) if pull == "along" else (0, 2):
        a, meridian, around = strains(pull, n)
        k = np.argmin(np.abs(a - angle))
        total += np.array([meridian[k], around[k]]) * np.cos(n * theta)
    first, second = total if which == "meridian" else total[::-1]
    return float((first + POISSON * second) / (1 - POISSON**2))


def curve() -> Curve:
    """Return the stress along the meridian against the angle from the pull."""
    a, _, _ = strains("along", 0)
    few = a[3::8]
    nu = POISSON
    dense = np.linspace(0, np.pi, 91)
    line = (27 - 15 * nu) / 2 - 15 * np.cos(dense) ** 2
    return Curve(
        title="Spherical cavity in a wide body that is pulled",
        x_label="angle from the pull (degrees)",
        y_label="stress along the meridian / stress far away",
        published=list(zip(np.degrees(dense).tolist(), (line / (7 - 5 * nu)).tolist(), strict=True)),
        computed=[(float(np.degrees(x)), stress("along", x, 0.0, "meridian")) for x in few],
    )


_FIGURES = {
    "along_equator": lambda: stress("along", np.pi / 2, 0.0, "meridian"),
    "along_round": lambda: stress("along", np.pi / 2, 0.0, "around"),
    "across_equator": lambda: stress("across", np.pi / 2, np.pi / 2, "around"),
    "across_facing": lambda: stress("across", np.pi / 2, 0.0, "around"),
}
