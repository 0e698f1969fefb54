"""Thick tube and thick sphere of von Mises ground under pressure from inside: Hill 1950.

A rigid body swells in the hole, as the implant's interference does while it is seated. How far the
ground has yielded, c, follows from the motion of its outer side, which stays elastic; pressures are
interpolated at the c of the rows.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from validation.suite import Curve
from validation.yielding_ground import Ground, Soil, ground, plane, section_round

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from validation.benches import Floats

K = 1e-3
"""Strength in shear over the modulus; any other gives the same ratios."""
TUBE, SPHERE = 2.0, 4.0
"""Outer over inner radius."""
TUBE_STEPS, SPHERE_STEPS = np.geomspace(1.05, 20, 40), np.geomspace(1.05, 200, 40)
"""Growth of the hole over that at first yield, about; at the last the whole body has yielded."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return pressures over k (tube) or over Y = √3 k (sphere)."""
    return {key: _figure(*key.split("_")) for key in keys}


def _figure(body: str, at: str) -> float:
    c, pressure = {"tube": tube, "sphere": sphere}[body](0.3 if at == "compressible" else 0.49)
    if at in {"limit", "compressible"}:
        return float(pressure[-1])
    return float(np.interp(float(at), c, pressure))


@cache
def tube(poisson: float) -> tuple[Floats, Floats]:
    """Return c and p/k while a tube in plane strain is expanded, 16 quadratic elements through it."""
    soil = Soil(k=K, poisson=poisson)
    r = np.append(0.5, np.linspace(1, TUBE, 17))
    bed = ground(section_round(r, np.array([0, 0.1]), lambda x, _: x < 1), soil, plane, 0)
    # The elastic rest c < r < b under the pressure k (1 - c²/b²): u_b = k c² (1 - ν)/(G b).
    scale = K * (1 - poisson) / (soil.shear_modulus * TUBE)
    u, p = _expanded(bed, TUBE_STEPS * K / (2 * soil.shear_modulus), TUBE)
    return np.sqrt(u / scale), p / K


@cache
def sphere(poisson: float) -> tuple[Floats, Floats]:
    """Return c and p/Y while a sphere is expanded; half of it, on its plane of symmetry."""
    soil, y = Soil(k=K, poisson=poisson), np.sqrt(3) * K
    polar = section_round(
        np.append(0.5, np.geomspace(1, SPHERE, 17)), np.linspace(0, 1, 17), lambda r, _: r < 1
    )
    radius, angle = polar.points_mm[0], polar.points_mm[1] * np.pi / 2
    points = np.stack([radius * np.sin(angle), -radius * np.cos(angle)])
    points[np.abs(points) < 1e-12] = 0.0
    bed = ground(replace(polar, points_mm=points), soil, _on_a_plane, 0, smooth=True)
    # The elastic rest under the pressure ⅔ Y (1 - c³/b³): u_b = Y c³ (1 - ν)/(E b²).
    u, p = _expanded(bed, SPHERE_STEPS * y * (1 + poisson) / 3, SPHERE)
    return np.cbrt(u * SPHERE**2 / (y * (1 - poisson))), p / y


def _on_a_plane(r: Floats, z: Floats) -> tuple[NDArray[np.bool_], ...]:
    free = np.zeros(r.shape, dtype=bool)
    return free, free, z > -1e-9


def _expanded(bed: Ground, fits: Floats, outer: float) -> tuple[Floats, Floats]:
    """Return the mean motion of the outer side along its normal, and the pressure inside."""
    r, z = bed.pair.bone.nodes_mm
    z = z if outer == SPHERE else np.zeros_like(z)
    outside = np.hypot(r, z) > outer - 1e-9
    normal = np.stack([r, z], axis=-1)[outside] / outer
    u, p = [], []
    for state in bed.swollen(fits.tolist()):
        assert state.bone is not None
        u.append(np.mean(np.sum(state.bone.u[0, 0][outside][:, [0, 2]] * normal, axis=1)))
        p.append(bed.pressure(state))
    return np.array(u), np.array(p)


def curve() -> Curve:
    """Return the pressure in the sphere against how far it has yielded."""
    c = np.linspace(1, SPHERE, 60)
    exact = 2 * np.log(c) + 2 / 3 * (1 - (c / SPHERE) ** 3)
    found = np.stack(sphere(0.49), axis=1)
    return Curve(
        title="Thick sphere, outer radius four times the inner",
        x_label="radius up to which it has yielded, over the inner",
        y_label="pressure inside over the strength in a bar",
        published=list(zip(c.tolist(), exact.tolist(), strict=True)),
        computed=[(a, b) for a, b in found[::3].tolist() if 1 < a < SPHERE],
    )
