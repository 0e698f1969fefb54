"""Interface fields as Fourier coefficients or as values round the axis, and the maps between the two."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from stillroot.arrays import Floats

ANGLES_PER_HARMONIC = 4
"""Points round the circle per harmonic: enough to integrate products of two fields without aliasing."""

ODD = (4, 5)
"""Strains of (1) that vary as u_θ does: γ_rθ and γ_zθ."""


def round_axis(family: int, n_theta: Floats) -> tuple[Floats, Floats]:
    """Return how even and odd fields of a family vary with nθ: cos, sin, and in its twin sin, -cos.

    u_r, u_z, ε_rr, ε_θθ, ε_zz and γ_rz are even, u_θ, γ_rθ and γ_zθ odd. The twin is the first family
    turned by 90°/n.
    """
    cosine, sine = np.cos(n_theta), np.sin(n_theta)
    return (cosine, sine) if family == 0 else (sine, -cosine)


@dataclass(frozen=True)
class Fourier:
    """Harmonics 0 … `highest` of the first family, and of its twin where `twin`.

    Coefficients are (f, h, m, 3): family, harmonic, node, (u_n, v_n, w_n). Values are (m, a, 3): node,
    angle, (u_r, u_θ, u_z). Without the twin every field is symmetric about the plane of the lateral load
    and half the circle is enough; with n = 0 alone, one angle is.
    """

    highest: int
    twin: bool

    @property
    def shape(self) -> tuple[int, int]:
        """Families and harmonics."""
        return (2 if self.twin else 1), self.highest + 1

    @cached_property
    def angles(self) -> Floats:
        """Angles (a,) [rad], equally spaced, none of them in the symmetry plane."""
        if self.highest == 0:
            return np.zeros(1)
        count = ANGLES_PER_HARMONIC * (self.highest + 1)
        angles = (np.arange(count) + 0.5) * 2 * np.pi / count
        return angles if self.twin else angles[: count // 2]

    @property
    def angle_weight(self) -> float:
        """Weight of one angle in ∫ dθ over the circle [rad]."""
        return 2 * np.pi / len(self.angles)

    @cached_property
    def _table(self) -> Floats:
        return self._basis(self.angles)

    def _basis(self, angles: Floats) -> Floats:
        """Return the contribution (3, f·h, a) of each coefficient to u_r, u_θ, u_z."""
        even, odd = self._even_and_odd(angles)
        return np.stack([even, odd, even])

    @cached_property
    def strain_table(self) -> Floats:
        """The contribution (6, f·h, a) of each coefficient to each strain of (1)."""
        return self.strain_basis(self.angles)

    def strain_basis(self, angles: Floats) -> Floats:
        """Return the same (6, f·h, a) at other angles."""
        even, odd = self._even_and_odd(angles)
        return np.stack([odd if k in ODD else even for k in range(6)])

    def _even_and_odd(self, angles: Floats) -> tuple[Floats, Floats]:
        n = np.arange(self.highest + 1)[:, None]
        families = [round_axis(family, n * angles) for family in range(self.shape[0])]
        even, odd = (np.concatenate(part) for part in zip(*families, strict=True))
        return even, odd

    def values(self, coefficients: Floats, angles: Floats | None = None) -> Floats:
        """Return values (m, a, 3) of coefficients (f, h, m, 3), by default at `self.angles`."""
        basis = self._table if angles is None else self._basis(angles)
        flat = coefficients.reshape(-1, *coefficients.shape[2:])
        return np.stack([flat[..., c].T @ basis[c] for c in range(3)], axis=-1)

    def moments(self, values: Floats) -> Floats:
        """Return ∫ values · basis dθ (f, h, m, 3): the work-conjugate of `values(coefficients)`."""
        table = self._table * self.angle_weight
        moments = np.stack([table[c] @ values[..., c].T for c in range(3)], axis=-1)
        return moments.reshape(*self.shape, *moments.shape[1:])

    def embedded(self, coefficients: Floats) -> Floats:
        """Return coefficients of a smaller expansion (f', h', m, 3), padded with zeros to this one."""
        padded = np.zeros((*self.shape, *coefficients.shape[2:]))
        families, harmonics = coefficients.shape[:2]
        padded[:families, :harmonics] = coefficients
        return padded
