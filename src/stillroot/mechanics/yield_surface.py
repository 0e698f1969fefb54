"""The yield law at a point: an isotropic quadric in stress, of different strength in tension.

Stress and strength are relative to the modulus E of the point, so that one law serves any modulus. With
p = tr σ/3, q = √(3/2 s:s) and the strengths σ⁻ in compression and σ⁺ in tension::

    √(a p² + b q²) + c p ≤ 1                                                               (17)
    F_0 = ½ (1/σ⁺ + 1/σ⁻),  a = F_0² (3 - 6ζ),  b = ⅔ F_0² (1 + ζ),  c = 3/2 (1/σ⁺ - 1/σ⁻)

(Schwiedrzik, Wolfram, Zysset 2013, Biomech Model Mechanobiol 12:1155-1168, written with invariants). ζ,
the interaction, is ½ for von Mises where both strengths are equal. Squared, (17) is an ellipse about
another origin, with the same normals but a gradient linear in stress::

    f = A P² + b q² ≤ R,   A = a - c²,  P = p + c/A,  R = 1 + c²/A                          (18)

Flow is associated, and the stress returns to the closest point in the metric of elastic energy (Simo &
Hughes, Computational Inelasticity, 1998, chapter 3, from memory)::

    P = α P*,  s = β s*,   α = 1/(1 + 2AKλ),  β = 1/(1 + 6bGλ),   A P² + b q² = R          (19)

The plastic strain ε_p is kept as the stress s_p = C ε_p that it takes away: σ = C ε - s_p. Hardening is
kinematic: (17) bounds ξ = σ - η s_p.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from stillroot.arrays import Bools, Floats

RETURN_TOLERANCE = 1e-12
"""Largest relative error of (18) after the return."""
RETURN_LIMIT = 50
OPEN_SHARE = 1e-6
"""Share of b that A must exceed, so that the surface closes and (18) stays regular."""


@dataclass(frozen=True, kw_only=True)
class YieldSurface:
    """(17) at p points: strengths `compression`, `tension` (p,) relative to the modulus of each.

    `interaction` is ζ, `hardening` the modulus after yield in uniaxial compression relative to that
    before, `poisson` Poisson's ratio. Stresses are (6, p, a), at a angles, in the order of (1).
    """

    compression: Floats
    tension: Floats
    interaction: float
    hardening: float
    poisson: float

    @cached_property
    def quadric(self) -> Floats:
        """A, b, c/A and R (4, p, 1) of (18)."""
        weaker, stronger = 1 / self.tension, 1 / self.compression
        f_0, ζ = 0.5 * (weaker + stronger), self.interaction
        a, b = f_0**2 * (3 - 6 * ζ), f_0**2 * 2 / 3 * (1 + ζ)  # (17)
        c = 1.5 * (weaker - stronger)  # (17)
        A = a - c**2
        closed = OPEN_SHARE * b < A
        A = np.where(closed, A, 0.0)
        shift = np.where(closed, c / np.where(closed, A, 1.0), 0.0)
        return np.stack([A, b, shift, 1 + c * shift])[..., None]

    @property
    def bulk(self) -> float:
        """K over E."""
        return 1 / (3 * (1 - 2 * self.poisson))

    @property
    def shear(self) -> float:
        """G over E."""
        return 1 / (2 * (1 + self.poisson))

    @cached_property
    def eta(self) -> Floats:
        """η (p, 1): `hardening` in uniaxial compression, from consistency n : (dσ - η C dε_p) = 0."""
        A, b, shift, _ = self.quadric
        sigma = -self.compression[:, None]
        v, d = 2 * A * (sigma / 3 + shift), 3 * b * sigma  # n = ∂f/∂σ = v/3 1 + d s/σ
        energy = self.bulk * v**2 + 4 / 3 * self.shear * d**2  # n : C : n
        return self.hardening / (1 - self.hardening) * (v / 3 + 2 / 3 * d) ** 2 / energy

    def stress(self, strain: Floats) -> Floats:
        """Return C ε."""
        normal = (self.bulk - 2 / 3 * self.shear) * strain[:3].sum(axis=0) + 2 * self.shear * strain[:3]
        return np.concatenate([normal, self.shear * strain[3:]])

    def strain(self, stress: Floats) -> Floats:
        """Return C⁻¹ σ."""
        p = stress[:3].mean(axis=0)
        deviator = (stress[:3] - p) / (2 * self.shear)
        return np.concatenate([deviator + p / (3 * self.bulk), stress[3:] / self.shear])

    def excess(self, xi: Floats) -> Floats:
        """Return f/R - 1 (p, a) of (18): positive beyond the surface."""
        A, b, shift, R = self.quadric
        p, q2 = _invariants(xi)
        return (A * (p + shift) ** 2 + b * q2) / R - 1

    def returned(self, stress: Floats, taken: Floats) -> Floats:
        """Return s_p at the end of a step, from C ε at its end and s_p, `taken`, at its start."""
        grown = 1 + self.eta
        xi = stress - grown * taken
        beyond = self.excess(xi) > 0
        new = taken.copy()
        if np.any(beyond):
            here = xi[:, beyond]
            share = np.broadcast_to(grown, beyond.shape)[beyond]
            new[:, beyond] += (here - self._closest(here, beyond)) / share
        return new

    def _closest(self, xi: Floats, where: Bools) -> Floats:
        """Return the closest points (19) of stresses (6, k) beyond the surface at the points `where`."""
        A, b, shift, R = (np.broadcast_to(part, where.shape)[where] for part in self.quadric)
        p, q2 = _invariants(xi)
        P2 = (p + shift) ** 2
        λ, alpha, beta = np.zeros_like(p), np.ones_like(p), np.ones_like(p)
        for _ in range(RETURN_LIMIT):
            alpha, beta = 1 / (1 + 2 * A * self.bulk * λ), 1 / (1 + 6 * b * self.shear * λ)
            f = A * alpha**2 * P2 + b * beta**2 * q2
            if np.max(np.abs(f / R - 1)) < RETURN_TOLERANCE:
                break
            slope = -4 * A**2 * self.bulk * alpha**3 * P2 - 12 * b**2 * self.shear * beta**3 * q2
            # 1/√f is almost linear in λ: Newton on it takes three to five iterations.
            λ += 2 * f * (1 - np.sqrt(f / R)) / slope
        closest = beta * xi
        closest[:3] += alpha * (p + shift) - shift - beta * p
        return closest


def _invariants(stress: Floats) -> tuple[Floats, Floats]:
    """Return p and q²."""
    x, y, z = stress[:3]
    p = (x + y + z) / 3
    shear = stress[3] ** 2 + stress[4] ** 2 + stress[5] ** 2
    return p, 1.5 * ((x - p) ** 2 + (y - p) ** 2 + (z - p) ** 2) + 3 * shear
