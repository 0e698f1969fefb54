"""Round bars held at one end: the theories of Saint-Venant and Timoshenko.

κ = 6(1+ν)/(7+6ν) is Cowper 1966, J Appl Mech 33:335-340. His deflection and rotation are means over
the section, W = ∫u_x dA/A and Φ = ∫x u_z dA/I, and so they are here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import scipy.sparse.linalg as spla

from stillroot.harmonics import admissible, angular_weight, face_loads

from ._bench import Floats, basis_of, mesh_of, stiffness_of

if TYPE_CHECKING:
    from skfem import Basis

RADIUS, LENGTH, MODULUS = 1.5, 18.0, 1000.0
AREA, INERTIA, POLAR = np.pi * RADIUS**2, np.pi * RADIUS**4 / 4, np.pi * RADIUS**4 / 2


@pytest.fixture(scope="module")
def bar() -> Basis:
    return basis_of(mesh_of(np.linspace(0, RADIUS, 9), np.linspace(0, LENGTH, 49)))


def shear_modulus(poisson: float) -> float:
    return MODULUS / (2 * (1 + poisson))


def cowper(poisson: float) -> float:
    return 6 * (1 + poisson) / (7 + 6 * poisson)


def under(bar: Basis, load: str, poisson: float) -> Floats:
    """Return u, v, w (n, 3) of the bar, clamped at z = 0, under a unit resultant at its top."""
    n = 1 if load in {"lateral", "moment"} else 0
    f = getattr(face_loads(bar, LENGTH), load)
    t, _ = admissible(bar.doflocs, n, np.arange(bar.N), bar.doflocs[1] < 1e-9)
    k = (t.T @ stiffness_of(bar, poisson, MODULUS).of(n) @ t).tocsc()
    return (t @ spla.spsolve(k, t.T @ f)).reshape(-1, 3)


def conjugate(bar: Basis, load: str, field: Floats) -> float:
    """Return the motion that does the work of a unit load: a mean over the top."""
    n = 1 if load in {"lateral", "moment"} else 0
    return float(angular_weight(n) * getattr(face_loads(bar, LENGTH), load) @ field.ravel())


def section_means(bar: Basis, field: Floats, height: float) -> tuple[float, float]:
    """Return (W, Φ) of harmonic 1 at a height; Φ > 0 tilts the axis towards θ = 0."""
    points, weights = np.polynomial.legendre.leggauss(12)
    r, weights = RADIUS * (1 + points) / 2, RADIUS / 2 * weights
    u, v, w = (bar.probes(np.stack([r, np.full_like(r, height)])) @ field).T
    return np.pi / AREA * np.sum(weights * r * (u - v)), -np.pi / INERTIA * np.sum(weights * r**2 * w)


def test_torsion_of_saint_venant(bar: Basis) -> None:
    """TL/(GJ). The field u_θ ∝ r z is one that the elements hold, so only rounding is left."""
    turn = conjugate(bar, "torque", under(bar, "torque", 0.3))
    assert turn == pytest.approx(LENGTH / (shear_modulus(0.3) * POLAR), rel=1e-9)


def test_pulled_bar_without_poisson(bar: Basis) -> None:
    """PL/(EA), exact to rounding where the clamp hinders no contraction."""
    rise = conjugate(bar, "axial", under(bar, "axial", 0.0))
    assert rise == pytest.approx(LENGTH / (MODULUS * AREA), rel=1e-9)


def test_pulled_bar_in_its_middle(bar: Basis) -> None:
    """Four diameters from both ends strain is P/(EA) and -ν of it across; the rest has died out."""
    field, middle = under(bar, "axial", 0.3), [6.0, 12.0]
    on_axis = bar.probes(np.array([[0.0, 0.0], middle])) @ field[:, 2]
    on_skin = bar.probes(np.array([[RADIUS], [9.0]])) @ field[:, 0]
    strain = 1 / (MODULUS * AREA)
    assert np.diff(on_axis)[0] / 6 == pytest.approx(strain, rel=1e-4)
    assert on_skin[0] / RADIUS == pytest.approx(-0.3 * strain, rel=1e-4)


def test_bent_bar_without_poisson(bar: Basis) -> None:
    """ML/(EI), the mean rotation of the end; the field is quadratic and so exact."""
    turn = conjugate(bar, "moment", under(bar, "moment", 0.0))
    assert turn == pytest.approx(LENGTH / (MODULUS * INERTIA), rel=1e-9)


def test_cantilever_of_timoshenko(bar: Basis) -> None:
    """PL³/(3EI) + PL/(κGA) within 0.1 %, a twentieth of what the shear term adds.

    ν = 0, so that the clamp hinders no contraction, which beam theory does not know of.
    """
    deflection = conjugate(bar, "lateral", under(bar, "lateral", 0.0))
    bending = LENGTH**3 / (3 * MODULUS * INERTIA)
    shear = LENGTH / (cowper(0.0) * shear_modulus(0.0) * AREA)
    assert shear > 0.01 * bending
    assert deflection == pytest.approx(bending + shear, rel=1e-3)


@pytest.mark.parametrize("poisson", [0.0, 0.3, 0.45])
def test_shear_coefficient_of_cowper(bar: Basis, poisson: float) -> None:
    """W' - Φ = P/(κGA) in the middle, far from clamp and load: κ within 0.1 %.

    κ moves by 3 % between ν = 0 and 0.3. W is a cubic there, for which the five-point difference is
    exact.
    """
    field, step = under(bar, "lateral", poisson), LENGTH / 48
    stations = [section_means(bar, field, LENGTH / 2 + k * step) for k in range(-2, 3)]
    w, rotation = np.array(stations).T
    slope = (w[0] - 8 * w[1] + 8 * w[3] - w[4]) / (12 * step)
    kappa = 1 / ((slope - rotation[2]) * shear_modulus(poisson) * AREA)
    assert kappa == pytest.approx(cowper(poisson), rel=1e-3)
