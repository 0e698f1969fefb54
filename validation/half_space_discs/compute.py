"""A rigid disc of radius a on an elastic half-space of shear modulus G.

Boussinesq (axial, and rocking), Mindlin (lateral), Reissner and Sagoci (torsion), as Johnson 1985 and
handbooks give them. Each is a displacement imposed under the disc in one harmonic: n = 0 axial and, in
the twin family, torsion; n = 1 lateral and rocking. Directions x and y are one harmonic turned by 90°.
"""

from __future__ import annotations

import numpy as np

from validation.half_space import disc_stiffness, pressure_under_disc
from validation.suite import Curve

STIFFNESS = {
    "axial": ("axial", "w"),
    "axial_bonded": ("axial", "uvw"),
    "lateral": ("lateral", "uv"),
    "lateral_bonded": ("lateral", "uvw"),
    "rocking": ("tilt", "w"),
    "torsion": ("twist", "v"),
}
POISSON = {"00": 0.0, "03": 0.3}


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return stiffnesses over Ga or Ga³; keys are a name of `STIFFNESS` and ten times ν."""
    values = {}
    for key in keys:
        name, _, poisson = key.rpartition("_")
        if name == "pressure_spread":
            values[key] = pressure_spread(POISSON[poisson])
        else:
            values[key] = disc_stiffness(*STIFFNESS[name], POISSON[poisson])
    return values


def pressure_spread(poisson: float) -> float:
    """Return the mean of (r/a)² under the disc, weighted by pressure."""
    r, force = pressure_under_disc(poisson)
    return float(force @ r**2 / force.sum())


def curve() -> Curve:
    """Return the axial stiffness of a bonded disc against Poisson's ratio."""
    dense, few = np.linspace(0, 0.48, 25), (0.0, 0.1, 0.2, 0.3, 0.4, 0.45)
    return Curve(
        title="Bonded rigid disc on a half-space, pushed in",
        x_label="Poisson's ratio",
        y_label="K / (G a)",
        published=[(float(nu), float(4 * np.log(3 - 4 * nu) / (1 - 2 * nu))) for nu in dense],
        computed=[(nu, disc_stiffness("axial", "uvw", nu)) for nu in few],
    )
