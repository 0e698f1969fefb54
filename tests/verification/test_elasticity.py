"""Harmonics and condensation against exact fields and against the plain formula."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pytest
import scipy.sparse.linalg as spla

from stillroot.mechanics.condense import body_harmonic, elimination_order
from stillroot.mechanics.harmonics import admissible, elasticity, strain_matrices, unit_stiffness
from validation.benches import RIGID, Floats, basis_of, field_of, mesh_of, skewed, stiffness_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from skfem import Basis

POISSON, MODULUS = 0.3, 7.0


@pytest.fixture(scope="module")
def body() -> Basis:
    """A solid cylinder that reaches the axis, on an irregular mesh."""
    return basis_of(skewed(mesh_of(np.linspace(0, 1.2, 5), np.linspace(-1.0, 0.8, 6))))


def energy(basis: Basis, n: int, field: Floats) -> float:
    return float(field @ stiffness_of(basis, POISSON, MODULUS).of(n) @ field)


@pytest.mark.parametrize("motion", RIGID)
def test_rigid_motion_costs_no_energy(body: Basis, motion: str) -> None:
    """1e-12 of the energy of a strain of order 1: rounding."""
    n, components = RIGID[motion]
    strained = energy(body, 0, field_of(body, lambda r, z: (r, 0 * r, z)))
    assert abs(energy(body, n, field_of(body, components))) < 1e-12 * strained


@pytest.mark.parametrize("motion", RIGID)
def test_rigid_motion_of_one_harmonic_strains_another(body: Basis, motion: str) -> None:
    """The same u, v, w in the next harmonic is no rigid motion: the check above can fail."""
    n, components = RIGID[motion]
    assert energy(body, n + 1, field_of(body, components)) > 0.1 * MODULUS


def test_wrong_signs_cost_energy(body: Basis) -> None:
    """Neither (1, +1, 0) nor a tilt whose u_z has the wrong sign is a rigid motion."""
    for wrong in (lambda r, _: (1 + 0 * r, 1 + 0 * r, 0 * r), lambda r, z: (z, -z, r)):
        assert energy(body, 1, field_of(body, wrong)) > 0.1 * MODULUS


PATCHES: dict[str, tuple[int, Callable[[Floats, Floats], tuple[Floats, ...]], Floats]] = {
    # (u, v, w) of a field and its strains rr, θθ, zz, rz, rθ, zθ per unit; constant strain first.
    "x and y stretched alike": (0, lambda r, _: (r, 0 * r, 0 * r), np.array([1, 1, 0, 0, 0, 0.0])),
    "z stretched": (0, lambda r, z: (0 * r, 0 * r, z), np.array([0, 0, 1, 0, 0, 0.0])),
    "x sheared along z": (1, lambda r, z: (z, -z, 0 * r), np.array([0, 0, 0, 1, 0, -1.0])),
    "z sheared along x": (1, lambda r, _: (0 * r, 0 * r, r), np.array([0, 0, 0, 1, 0, -1.0])),
    "x stretched, y shortened": (2, lambda r, _: (r, -r, 0 * r), np.array([1, -1, 0, 0, -2, 0.0])),
}

QUADRATIC: dict[str, tuple[int, Callable[[Floats, Floats], tuple[Floats, ...]]]] = {
    # Fields in equilibrium without body force.
    "twisted": (0, lambda r, z: (0 * r, r * z, 0 * r)),
    # u_z = z² - (x² + y²)/2, u_r = -r z: the gradient of a harmonic potential.
    "gradient of r²z/2 - z³/3": (0, lambda r, z: (r * z, 0 * r, r**2 / 2 - z**2)),
    # Saint-Venant: u_x = z²/2 + ν(x² - y²)/2, u_y = ν x y, u_z = -x z.
    "bent": (
        1,
        lambda r, z: (
            (z**2 + POISSON * r**2) / 2,
            (POISSON * r**2 - z**2) / 2,
            -r * z,
        ),
    ),
    "gradient of (x² - y²) z": (2, lambda r, z: (2 * r * z, -2 * r * z, r**2)),
}


def held_at_its_skin(basis: Basis, n: int, exact: Floats, force: Floats | float = 0.0) -> Floats:
    """Return the field with the exact values prescribed on the outer boundary (not the axis)."""
    r, z = basis.doflocs
    top, bottom, outer = z.max(), z.min(), r.max()
    skin = (z > top - 1e-9) | (z < bottom + 1e-9) | (r > outer - 1e-9)
    k = stiffness_of(basis, POISSON, MODULUS).of(n)
    given = np.where(np.repeat(skin, 3), exact, 0.0)
    t, _ = admissible(basis.doflocs, n, np.arange(basis.N), skin)
    free = spla.spsolve((t.T @ k @ t).tocsc(), t.T @ (force - k @ given))
    return given + t @ free


@pytest.mark.parametrize("name", PATCHES)
def test_patch_of_constant_strain(body: Basis, name: str) -> None:
    """Field and strain are reproduced to rounding on an irregular mesh."""
    n, components, strain = PATCHES[name]
    exact = field_of(body, components)
    found = held_at_its_skin(body, n, exact)
    np.testing.assert_allclose(found, exact, atol=1e-11)
    np.testing.assert_allclose(
        strains(body, n, found), np.broadcast_to(strain, (*body.dx.shape, 6)), atol=1e-9
    )


@pytest.mark.parametrize("name", QUADRATIC)
def test_patch_of_linear_strain(body: Basis, name: str) -> None:
    n, components = QUADRATIC[name]
    exact = field_of(body, components)
    np.testing.assert_allclose(held_at_its_skin(body, n, exact), exact, atol=1e-11)


def strains(basis: Basis, n: int, field: Floats) -> Floats:
    """Return strains (e, q, 6) at the quadrature points."""
    b0, b1 = strain_matrices(basis, np.arange(basis.nelems))
    nodes = basis.element_dofs
    local = (3 * nodes[:, None, :] + np.arange(3)[None, :, None]).reshape(18, -1).T
    return np.einsum("eqij,ej->eqi", b0 + n * b1, field[local])


WAVE = 1.7
"""Wave number along z of the manufactured solution."""


@dataclass(frozen=True)
class Series:
    """Σ c r^k sin(WAVE z + s π/2) as {(k, s): c}: closed under d/dr, 1/r and d/dz."""

    terms: dict[tuple[int, int], float]

    def __add__(self, other: Series) -> Series:
        keys = self.terms.keys() | other.terms.keys()
        return Series({key: self.terms.get(key, 0) + other.terms.get(key, 0) for key in keys})

    def __rmul__(self, factor: float) -> Series:
        return Series({key: factor * c for key, c in self.terms.items()})

    def __sub__(self, other: Series) -> Series:
        return self + -1.0 * other

    def d_r(self) -> Series:
        return Series({(k - 1, s): k * c for (k, s), c in self.terms.items() if k})

    def over_r(self) -> Series:
        return Series({(k - 1, s): c for (k, s), c in self.terms.items()})

    def d_z(self) -> Series:
        return Series({(k, s + 1): WAVE * c for (k, s), c in self.terms.items()})

    def laplacian(self, m: int) -> Series:
        """Return that of the scalar field with cos mθ: f,rr + f,r/r - m² f/r² + f,zz."""
        d = self.d_r()
        return d.d_r() + d.over_r() - m**2 * self.over_r().over_r() + self.d_z().d_z()

    def __call__(self, r: Floats, z: Floats) -> Floats:
        parts = [
            c * r ** float(k) * np.sin(WAVE * z + s * np.pi / 2) for (k, s), c in self.terms.items() if c
        ]
        return np.sum([np.zeros_like(r), *parts], axis=0)


@dataclass(frozen=True)
class MadeUp:
    """A manufactured solution: a smooth field of harmonic n in three dimensions, and its body force.

    u_x + i u_y = p e^{i(n+1)θ} + q e^{i(1-n)θ}, so u = p + q, v = p - q; u_z = w cos nθ. Cartesian
    components obey the scalar Laplacian, so Navier's equation gives b = -G ∇²(u_x, u_y, u_z) - (λ + G) ∇
    div without using the strains of the semi-analytical element.
    """

    n: int

    @property
    def p(self) -> Series:
        k = self.n + 1
        return Series({(k, 0): 0.6, (k + 2, 1): 0.4})

    @property
    def q(self) -> Series:
        k = abs(self.n - 1)
        return Series({(k, 1): 0.8, (k + 2, 0): -0.5})

    @property
    def w(self) -> Series:
        return Series({(self.n, 0): 1.0, (self.n + 2, 1): -0.7})

    @property
    def fields(self) -> tuple[Series, Series, Series]:
        return self.p + self.q, self.p - self.q, self.w

    @property
    def strains(self) -> tuple[Series, ...]:
        u, v, w, n = *self.fields, self.n
        return (
            u.d_r(),
            u.over_r() + n * v.over_r(),
            w.d_z(),
            u.d_z() + w.d_r(),
            v.d_r() - v.over_r() - n * u.over_r(),
            v.d_z() - n * w.over_r(),
        )

    @property
    def body_force(self) -> tuple[Series, Series, Series]:
        nu, n = POISSON, self.n
        g = MODULUS / (2 * (1 + nu))
        both = MODULUS / (2 * (1 + nu) * (1 - 2 * nu))  # λ + G
        divergence = self.strains[0] + self.strains[1] + self.strains[2]
        p, q = self.p.laplacian(n + 1), self.q.laplacian(n - 1)
        return (
            -g * (p + q) - both * divergence.d_r(),
            -g * (p - q) + both * n * divergence.over_r(),
            -g * self.w.laplacian(n) - both * divergence.d_z(),
        )


def errors(made_up: MadeUp, cells: int) -> tuple[float, float]:
    """Return errors in energy and in L2 on a grid of `cells` by `cells` squares."""
    n = made_up.n
    basis = basis_of(mesh_of(np.linspace(0, 1, cells + 1), np.linspace(-1, 0, cells + 1)))
    r, z = np.asarray(basis.global_coordinates())
    weight = np.asarray(basis.dx) * r
    phi = [np.broadcast_to(np.asarray(basis.basis[i][0]), r.shape) for i in range(6)]
    force = np.zeros((basis.N, 3))
    for component, b in enumerate(made_up.body_force):
        value = b(r, z) * weight
        for node in range(6):
            np.add.at(force[:, component], basis.element_dofs[node], (phi[node] * value).sum(1))
    exact = field_of(basis, lambda r, z: tuple(f(r, z) for f in made_up.fields))
    found = held_at_its_skin(basis, n, exact, force.ravel())
    strain = strains(basis, n, found) - np.stack([e(r, z) for e in made_up.strains], axis=-1)
    stress = strain @ (MODULUS * elasticity(POISSON))
    nodal = found.reshape(-1, 3)[basis.element_dofs]  # (6, e, 3)
    values = np.einsum("keq,kec->eqc", np.array(phi), nodal)
    off = values - np.stack([f(r, z) for f in made_up.fields], axis=-1)
    return (
        float(np.sqrt(np.sum(weight * np.sum(strain * stress, axis=-1)))),
        float(np.sqrt(np.sum(weight * np.sum(off**2, axis=-1)))),
    )


@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_order_of_convergence(n: int) -> None:
    """Quadratic triangles: order 2 in energy and 3 in L2, each within 0.15, and small in size."""
    cells = np.array([4, 8, 16])
    in_energy, in_l2 = np.array([errors(MadeUp(n), int(c)) for c in cells]).T
    assert -np.polyfit(np.log(cells), np.log(in_energy), 1)[0] == pytest.approx(2, abs=0.15)
    assert -np.polyfit(np.log(cells), np.log(in_l2), 1)[0] == pytest.approx(3, abs=0.15)
    assert in_l2[-1] < 1e-4


@pytest.mark.parametrize("n", [0, 1, 2, 5])
def test_condensed_body_is_the_whole_body(body: Basis, n: int) -> None:
    """S = K_ΓΓ - K_ΓI K_II⁻¹ K_IΓ by dense algebra, the condensed load likewise, and the field
    recovered from the interface is that of the full solve."""
    r, z = body.doflocs
    interface = np.flatnonzero((r > 1.2 - 1e-9) & (z < 0.5))
    held = z < -1.0 + 1e-9
    stiffness = unit_stiffness(body, np.arange(body.nelems), POISSON, MODULUS)
    order = elimination_order(stiffness, interface)
    harmonic = body_harmonic(stiffness, n, body.doflocs, order, len(interface), held, 2.5)
    load = np.random.default_rng(1).normal(size=3 * body.N)

    t = harmonic.to_dofs.toarray()
    k = 2.5 * t.T @ stiffness.of(n).toarray() @ t
    f = t.T @ load
    i, g = np.split(np.arange(len(k)), [harmonic.interior])
    assert set(np.nonzero(t[:, g])[0] // 3) <= set(interface)
    assert not set(np.nonzero(t[:, i])[0] // 3) & set(interface)
    solved = np.linalg.solve(k[np.ix_(i, i)], np.column_stack([k[np.ix_(i, g)], f[i]]))
    schur = k[np.ix_(g, g)] - k[np.ix_(g, i)] @ solved[:, :-1]
    reduced = f[g] - k[np.ix_(g, i)] @ solved[:, -1]
    size = np.abs(schur).max()
    np.testing.assert_allclose(harmonic.schur(), schur, atol=1e-11 * size)

    interior = harmonic.interior_solver()
    found = harmonic.condensed_load(load, interior)
    np.testing.assert_allclose(found, reduced, atol=1e-11 * np.abs(f).max())
    whole = t @ np.linalg.solve(k, f)
    recovered = harmonic.recovered(np.linalg.solve(schur, reduced), load, interior)
    np.testing.assert_allclose(recovered, whole, atol=1e-9 * np.abs(whole).max())


def test_order_of_elimination_is_a_permutation(body: Basis) -> None:
    stiffness = unit_stiffness(body, np.arange(body.nelems), POISSON, MODULUS)
    interface = np.array([3, 11, 7])
    order = elimination_order(stiffness, interface)
    assert sorted(order) == list(range(body.N))
    np.testing.assert_array_equal(order[-3:], interface)


def test_free_body_condenses_with_its_rigid_motions() -> None:
    """An implant is supported by its wall alone: S must then exist, and be zero for rigid motions.

    On this grid a pivot of the factors comes out as exactly zero.
    """
    z = np.append(-9.0, np.arange(-8.0, 2.1))
    free = basis_of(mesh_of(np.arange(3.0), z))
    r, z = free.doflocs
    wall = np.flatnonzero((r > 2 - 1e-9) & (z < 1e-9) & (z > -8 - 1e-9))
    stiffness = stiffness_of(free, 0.33, 1e6)
    order = elimination_order(stiffness, wall)
    nothing = np.zeros(free.N, dtype=bool)
    for n, components in RIGID.values():
        body = body_harmonic(stiffness, n, free.doflocs, order, len(wall), nothing, 2 * np.pi)
        motion = body.to_dofs.T @ field_of(free, components)
        schur = body.schur()
        np.testing.assert_allclose(schur @ motion[body.interior :], 0, atol=1e-9 * np.abs(schur).max())
