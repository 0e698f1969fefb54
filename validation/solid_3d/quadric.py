"""Bone that yields, at a point, from the tensors of the paper: written without the package's law.

Stresses and strains are vectors of six with √2 times each shear (Mandel), so that σ:ε is their product.
With strengths s⁺, s⁻ and interaction ζ (Schwiedrzik, Wolfram, Zysset 2013, Biomech Model Mechanobiol
12:1155-1168, isotropic), for ξ = σ - η C ε_p::

    y = √(ξ:F:ξ) + f:ξ - 1 ≤ 0,   F_ii = S_0²,  F_ij = -ζ S_0²,  S_0 = ½ (1/s⁺ + 1/s⁻)
    f = ½ (1/s⁺ - 1/s⁻) 1,   shear of F: F_11 - F_12, as isotropy asks

A step ends at the closest point, where Δε_p = Δλ n, n = ∂y/∂ξ: seven equations for ξ and Δλ, which
Newton solves together, with no use of invariants or of what commutes::

    C⁻¹ (ξ - ξ*) / (1 + η) + Δλ n = 0,   y = 0,   ξ* = C ε - (1 + η) C ε_p of before
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

ONE = np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0])
TOLERANCE = 1e-11
"""Of y and of the strains relative to 1/S_0 over the modulus."""
LIMIT, HALVINGS = 60, 12


def stiffness_over_modulus(poisson: float) -> Floats:
    """Return C/E (6, 6)."""
    shear, lame = 1 / (2 * (1 + poisson)), poisson / ((1 + poisson) * (1 - 2 * poisson))
    return 2 * shear * np.eye(6) + lame * np.outer(ONE, ONE)


@dataclass(frozen=True, kw_only=True)
class Quadric:
    """The law of one kind of bone; strengths and stresses relative to its modulus."""

    compression: float
    tension: float
    interaction: float
    hardening: float
    poisson: float

    @property
    def square(self) -> Floats:
        """F (6, 6)."""
        s_0, zeta = 0.5 * (1 / self.tension + 1 / self.compression), self.interaction
        f = s_0**2 * (1 + zeta) * np.eye(6)
        f[:3, :3] = s_0**2 * ((1 + zeta) * np.eye(3) - zeta)
        return f

    @property
    def linear(self) -> Floats:
        """f (6,)."""
        return 0.5 * (1 / self.tension - 1 / self.compression) * ONE

    @property
    def stiffness(self) -> Floats:
        """C (6, 6)."""
        return stiffness_over_modulus(self.poisson)

    @property
    def eta(self) -> float:
        """η, so that uniaxial compression at first yield goes on with `hardening` of the modulus.

        There n:(dσ - η C n dλ) = 0, and of the strain n_1 dλ = dσ (1/H - 1) is plastic.
        """
        _, n = self.value(-self.compression * np.eye(6)[:1])
        slope, energy = n[0, 0] ** 2, float(n[0] @ self.stiffness @ n[0])
        return self.hardening / (1 - self.hardening) * float(slope) / energy

    def value(self, xi: Floats) -> tuple[Floats, Floats]:
        """Return y (q,) and n (q, 6) at ξ (q, 6)."""
        pulled = xi @ self.square
        size = np.sqrt(np.sum(pulled * xi, axis=1))
        return size + xi @ self.linear - 1, pulled / size[:, None] + self.linear

    def step(self, strain: Floats, before: Floats) -> tuple[Floats, Bools, Floats]:
        """Return ε_p (q, 6) at the end of a step to a strain (q, 6), where it grew, and dε_p/dε there.

        The last (k, 6, 6) is for the k points that flow.
        """
        grown = 1 + self.eta
        trial = (strain - grown * before) @ self.stiffness
        size = np.einsum("qi,ij,qj->q", trial, self.square, trial)
        flows = np.sqrt(size) + trial @ self.linear > 1
        xi, jacobian = self._closest(trial[flows])
        after = before.copy()
        after[flows] += np.linalg.solve(self.stiffness, (trial[flows] - xi).T).T / grown
        # Of the seven equations: ∂/∂ξ* of the first six is -C⁻¹/(1 + η), and dξ* = C dε.
        right = np.zeros((7, 6))
        right[:6] = np.eye(6) / grown
        d_xi = np.linalg.solve(jacobian, np.broadcast_to(right, (len(xi), 7, 6)))[:, :6]
        return after, flows, (np.eye(6) - np.linalg.inv(self.stiffness) @ d_xi) / grown

    def _closest(self, trial: Floats) -> tuple[Floats, Floats]:
        """Return ξ (k, 6) for ξ* beyond the surface, and the Jacobian (k, 7, 7) of the seven there."""
        y, _ = self.value(trial)
        # On the ray to the origin, y + 1 is linear: this start is on the surface.
        xi, flow = trial / (y + 1)[:, None], np.zeros(len(trial))
        for _ in range(LIMIT):
            off = self._equations(xi, flow, trial)
            jacobian = self._jacobian(xi, flow)
            if len(off) == 0 or np.max(np.abs(off)) < TOLERANCE:
                return xi, jacobian
            move = -np.linalg.solve(jacobian, off[..., None])[..., 0]
            length = self._lengths(xi, flow, trial, move, off)
            xi, flow = xi + length[:, None] * move[:, :6], flow + length * move[:, 6]
        msg = f"no closest point: off by {np.max(np.abs(off)):.0e}"
        raise ArithmeticError(msg)

    def _equations(self, xi: Floats, flow: Floats, trial: Floats) -> Floats:
        """Return the seven (k, 7); strains times S_0, so that all are of one size."""
        y, n = self.value(xi)
        strain = np.linalg.solve(self.stiffness, (xi - trial).T).T / (1 + self.eta)
        return np.concatenate([strain + flow[:, None] * n, y[:, None]], axis=1)

    def _jacobian(self, xi: Floats, flow: Floats) -> Floats:
        _, n = self.value(xi)
        along = n - self.linear
        size = np.sqrt(np.einsum("qi,ij,qj->q", xi, self.square, xi))[:, None, None]
        bend = (self.square - along[:, :, None] * along[:, None, :]) / size  # ∂n/∂ξ
        jacobian = np.zeros((len(xi), 7, 7))
        compliance = np.linalg.inv(self.stiffness) / (1 + self.eta)
        jacobian[:, :6, :6] = compliance + flow[:, None, None] * bend
        jacobian[:, :6, 6] = jacobian[:, 6, :6] = n
        return jacobian

    def _lengths(self, xi: Floats, flow: Floats, trial: Floats, move: Floats, off: Floats) -> Floats:
        """Return the part (k,) of each move to go, halved until the equations are less off."""
        scale = np.append(np.full(6, 1 / self.compression), 1.0)  # strains against those at yield
        before = np.linalg.norm(off * scale, axis=1)
        length = np.ones(len(xi))
        for _ in range(HALVINGS):
            there = xi + length[:, None] * move[:, :6], flow + length * move[:, 6]
            worse = np.linalg.norm(self._equations(*there, trial) * scale, axis=1) > before * (
                1 - 1e-4 * length
            )
            if not np.any(worse & (before > TOLERANCE)):
                break
            length = np.where(worse & (before > TOLERANCE), length / 2, length)
        return length
