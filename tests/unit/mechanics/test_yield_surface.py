"""The yield law at a point by hand: strengths, closest point, hardening, unloading."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize

from stillroot.mechanics.harmonics import elasticity
from stillroot.mechanics.yield_surface import YieldSurface

Floats = NDArray[np.float64]
COMPRESSION, TENSION, ZETA, POISSON = 0.0095, 0.0065, 0.19, 0.3
F_0 = (1 / TENSION + 1 / COMPRESSION) / 2
C_0 = 1.5 * (1 / TENSION - 1 / COMPRESSION)
ROOT_A, ROOT_B = F_0 * np.sqrt(3 - 6 * ZETA), F_0 * np.sqrt(2 / 3 * (1 + ZETA))
"""√a and √b of (17), and its c, by hand."""
YIELD = 0.008
"""Strength of von Mises, over the modulus."""
RNG = np.random.default_rng(17)


def bone(hardening: float = 0.0, count: int = 1) -> YieldSurface:
    return YieldSurface(
        compression=np.full(count, COMPRESSION),
        tension=np.full(count, TENSION),
        interaction=ZETA,
        hardening=hardening,
        poisson=POISSON,
    )


def von_mises(hardening: float = 0.0, count: int = 1) -> YieldSurface:
    strength = np.full(count, YIELD)
    return YieldSurface(
        compression=strength, tension=strength, interaction=0.5, hardening=hardening, poisson=POISSON
    )


def point(*components: float) -> Floats:
    """Return the stress or strain (6, 1, 1) of one point at one angle; what is not given is zero."""
    return np.array([*components, *[0.0] * (6 - len(components))]).reshape(6, 1, 1)


def quadric(stress: Floats) -> float:
    """Return the left side of (17), as it is published and not as (18) has it."""
    x, y, z, *shear = stress.ravel()
    p = (x + y + z) / 3
    q = np.sqrt(((x - y) ** 2 + (y - z) ** 2 + (z - x) ** 2) / 2 + 3 * np.sum(np.square(shear)))
    return float(np.sqrt(ROOT_A**2 * p**2 + ROOT_B**2 * q**2) + C_0 * p)


def energy(stress: Floats) -> float:
    """Return the elastic energy of a stress (6,), over that of the modulus."""
    return float(stress @ np.linalg.solve(elasticity(POISSON), stress)) / 2


def on_the_surface(surface: YieldSurface, stress: Floats) -> None:
    assert surface.excess(stress).item() == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_bar_yields_at_its_strength_in_tension_and_in_compression(axis: int) -> None:
    stress = np.zeros((6, 1, 1))
    for strength in (TENSION, -COMPRESSION):
        stress[axis] = strength
        on_the_surface(bone(), stress)


@pytest.mark.parametrize("component", [3, 4, 5])
def test_pure_shear_has_no_pressure_and_yields_at_what_zeta_says(component: int) -> None:
    stress = np.zeros((6, 1, 1))
    stress[component] = 1 / (F_0 * np.sqrt(2 * (1 + ZETA)))  # √(3b) τ = 1
    on_the_surface(bone(), stress)


def test_the_surface_is_closed_under_pressure_from_all_sides() -> None:
    assert ROOT_A > C_0
    for p in (-1 / (ROOT_A - C_0), 1 / (ROOT_A + C_0)):
        on_the_surface(bone(), point(p, p, p))


def test_confined_bone_yields_where_both_its_stresses_say() -> None:
    lateral = POISSON / (1 - POISSON)
    p, q = -(1 + 2 * lateral) / 3, 1 - lateral
    limit = 1 / (np.hypot(ROOT_A * p, ROOT_B * q) + C_0 * p)
    assert limit > COMPRESSION
    on_the_surface(bone(), limit * point(-lateral, -lateral, -1.0))


def test_confined_bone_bears_no_more_than_the_end_of_the_surface() -> None:
    """Flow along the strain: the stress that does most work on it, max -σ_zz on (18), by Lagrange."""
    surface, strain = bone(), point(0.0, 0.0, -1.0)
    stress, taken = np.zeros((6, 1, 1)), np.zeros((6, 1, 1))
    for size in np.linspace(0, 0.5, 200):
        taken = surface.returned(surface.stress(size * strain), taken)
        stress = surface.stress(size * strain) - taken
    a = ROOT_A**2 - C_0**2
    most = C_0 / a + np.sqrt((1 + C_0**2 / a) * (1 / a + 4 / (9 * ROOT_B**2)))
    assert -stress[2].item() == pytest.approx(most, rel=1e-4)
    assert most / COMPRESSION == pytest.approx(1.276, abs=1e-3)


def test_equal_strengths_and_an_interaction_of_one_half_are_von_mises() -> None:
    stress = RNG.normal(size=(6, 50, 1)) * YIELD
    (x, y, z), shear = stress[:3], stress[3:]
    q2 = ((x - y) ** 2 + (y - z) ** 2 + (z - x) ** 2) / 2 + 3 * np.sum(shear**2, axis=0)
    surface = von_mises(count=50)
    assert surface.excess(stress) == pytest.approx(q2 / YIELD**2 - 1)
    assert surface.excess(stress + 100 * point(1, 1, 1)) == pytest.approx(q2 / YIELD**2 - 1, abs=1e-6)


@pytest.mark.parametrize("size", [1.1, 3.0, 30.0])
def test_the_stress_returns_to_the_closest_point_in_elastic_energy(size: float) -> None:
    """An independent minimiser finds the same point on the surface as published, (17)."""
    for _ in range(4):
        direction = RNG.normal(size=6)
        trial = size * direction / quadric(direction.reshape(6, 1, 1))
        found = trial - bone().returned(trial.reshape(6, 1, 1), np.zeros((6, 1, 1))).ravel()
        least = minimize(  # in units of the strength
            lambda x, t=trial: energy(x - t / COMPRESSION),
            trial / size / COMPRESSION,
            constraints={"type": "ineq", "fun": lambda x: 1 - quadric(COMPRESSION * x)},
            method="SLSQP",
            options={"ftol": 1e-14, "maxiter": 500},
        )
        assert quadric(found) == pytest.approx(1.0, abs=1e-10)
        assert found / COMPRESSION == pytest.approx(least.x, abs=2e-5)


def crushed(surface: YieldSurface, strains: Floats) -> Floats:
    """Return the stress of a bar, free at its sides, at each of these axial strains, taken in turn."""
    taken, stresses = np.zeros((6, 1, 1)), []
    for axial in strains:
        old = taken

        def lateral_stress(lateral: float, axial: float = axial, old: Floats = old) -> float:
            trial = surface.stress(point(lateral, lateral, axial))
            return float((trial - surface.returned(trial, old))[0].item())

        lateral = brentq(lateral_stress, -0.2, 0.2, xtol=1e-15)
        trial = surface.stress(point(lateral, lateral, axial))
        taken = surface.returned(trial, old)
        stresses.append((trial - taken)[2].item())
    return np.array(stresses)


def test_bone_crushed_past_yield_hardens_at_first_with_the_modulus_stated() -> None:
    """At first alone: later the back stress, C ε_p, has parts that press on the sides too."""
    strains = -COMPRESSION * np.array([1.0, 1 + 1e-4])
    before, after = crushed(bone(hardening=0.03), strains)
    assert before == pytest.approx(-COMPRESSION)
    assert (after - before) / np.diff(strains)[0] == pytest.approx(0.03, rel=1e-3)


def test_von_mises_hardens_with_the_modulus_stated_all_along() -> None:
    strains = -YIELD * np.array([1.0, 1.5, 3.0, 9.0])
    slopes = np.diff(crushed(von_mises(hardening=0.05), strains)) / np.diff(strains)
    assert slopes == pytest.approx(0.05, rel=1e-8)


def test_without_hardening_a_bar_bears_its_strength_and_no_more() -> None:
    strains = -COMPRESSION * np.array([0.5, 1.0, 2.0, 5.0])
    assert crushed(bone(), strains) == pytest.approx(-COMPRESSION * np.array([0.5, 1, 1, 1]))


def test_unloading_is_elastic() -> None:
    surface = bone(hardening=0.03)
    strain = point(0.004, 0.003, -0.03, 0.005)
    taken = surface.returned(surface.stress(strain), np.zeros((6, 1, 1)))
    assert np.any(taken)
    back = surface.stress(strain) * 0.9
    assert np.array_equal(surface.returned(back, taken), taken)


def test_inside_the_surface_nothing_is_taken() -> None:
    surface, stress = bone(count=40), RNG.normal(size=(6, 40, 3))
    stress *= 0.999 / np.apply_along_axis(quadric, 0, stress)  # (17) is of the first degree
    assert not np.any(surface.returned(stress, np.zeros_like(stress)))


@pytest.mark.parametrize("surface", [bone(0.03), von_mises(0.03)], ids=["bone", "von Mises"])
def test_a_step_taken_in_two_ends_nearly_at_the_same_stress(surface: YieldSurface) -> None:
    strain = point(0.006, 0.002, -0.02, 0.004, -0.002, 0.003)
    rest, whole = np.zeros((6, 1, 1)), surface.stress(strain)
    once = whole - surface.returned(whole, rest)
    twice = whole - surface.returned(whole, surface.returned(whole / 2, rest))
    assert np.linalg.norm(twice - once) < 0.03 * np.linalg.norm(once)


def test_the_returned_stress_hardens_with_the_plastic_strain() -> None:
    """(17) bounds ξ = σ - η s_p, exactly on the surface after the return."""
    surface = bone(hardening=0.1)
    trial = surface.stress(point(0.01, -0.004, -0.03, 0.02))
    taken = surface.returned(trial, np.zeros((6, 1, 1)))
    on_the_surface(surface, trial - taken - surface.eta * taken)


@pytest.mark.parametrize(
    ("compression", "tension", "interaction", "poisson"),
    [
        (0.0095, 0.0065, 0.19, 0.49),
        (0.0095, 0.0065, 0.408, 0.3),  # almost open
        (0.012, 0.0045, 0.0, 0.3),
        (0.01, 0.0099, 0.4999, 0.3),
        (0.04, 0.04, 0.5, 0.3),
        (0.04, 0.04, 0.49, 0.01),
    ],
)
def test_the_return_is_found_from_any_stress_on_any_surface_that_a_case_allows(
    compression: float, tension: float, interaction: float, poisson: float
) -> None:
    count = 300
    surface = YieldSurface(
        compression=np.full(count, compression),
        tension=np.full(count, tension),
        interaction=interaction,
        hardening=0.0,
        poisson=poisson,
    )
    stress = RNG.normal(size=(6, count, 4)) * np.array([0.01, 0.1, 1.0, 100.0])  # over E
    stress[:3] *= 1 + 2 * RNG.normal(size=(count, 4))
    beyond = surface.excess(stress) > 0
    assert beyond.any()
    returned = stress - surface.returned(stress, np.zeros_like(stress))
    assert np.abs(surface.excess(returned)[beyond]).max() < 1e-10
