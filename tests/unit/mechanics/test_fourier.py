"""From harmonics to angles and back: nothing is lost or added."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stillroot.mechanics.fourier import Fourier

Floats = NDArray[np.float64]
NODES = 5
EXPANSIONS = [
    Fourier(0, twin=False),
    Fourier(0, twin=True),
    Fourier(3, twin=False),
    Fourier(3, twin=True),
]


def some(*shape: int) -> Floats:
    return np.random.default_rng(7).standard_normal(shape)


def coefficients_of(fourier: Fourier) -> Floats:
    """Return some coefficients; those of a term that is zero at every angle (sin 0θ) are zero."""
    c = some(*fourier.shape, NODES, 3)
    c[0, 0, :, 1] = 0.0
    if fourier.twin:
        c[1, 0, :, [0, 2]] = 0.0
    return c


@pytest.mark.parametrize("fourier", EXPANSIONS, ids=str)
def test_moments_do_the_work_of_values(fourier: Fourier) -> None:
    # ∫ t·u dθ = Σ moments(t) · coefficients: forces and displacements are conjugate.
    c, t = some(*fourier.shape, NODES, 3), some(NODES, len(fourier.angles), 3)
    work = np.sum(t * fourier.values(c)) * fourier.angle_weight
    assert np.sum(fourier.moments(t) * c) == pytest.approx(work, rel=1e-12)


@pytest.mark.parametrize("fourier", EXPANSIONS, ids=str)
def test_the_mean_square_is_that_of_the_coefficients(fourier: Fourier) -> None:
    # Parseval: ∫ |u|² dθ = 2π c_0² + π Σ c_n².
    c = coefficients_of(fourier)
    weight = np.full(fourier.shape[1], np.pi)
    weight[0] = 2 * np.pi
    expected = np.sum(weight[:, None, None] * c**2)
    squared = np.sum(fourier.values(c) ** 2) * fourier.angle_weight
    assert squared == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("fourier", EXPANSIONS, ids=str)
def test_values_lead_back_to_their_coefficients(fourier: Fourier) -> None:
    c = coefficients_of(fourier)
    weight = np.full(fourier.shape[1], np.pi)
    weight[0] = 2 * np.pi
    back = fourier.moments(fourier.values(c)) / weight[:, None, None]
    assert back == pytest.approx(c, abs=1e-12)


def test_a_product_of_four_fields_is_integrated_without_aliasing() -> None:
    # Four points per harmonic suffice for harmonics up to 12: checked against a far finer sum.
    fourier = Fourier(3, twin=True)

    def quartic(angles: Floats) -> float:
        field = sum(np.cos(n * angles) + np.sin(n * angles) for n in range(1, 4))
        return float(np.mean(field**4))

    fine = np.arange(400) * 2 * np.pi / 400
    assert quartic(fourier.angles) == pytest.approx(quartic(fine), rel=1e-12)


@pytest.mark.parametrize("n", [1, 2, 3])
def test_the_twin_is_the_first_family_turned_by_a_quarter_wave(n: int) -> None:
    fourier = Fourier(3, twin=True)
    first = np.zeros((*fourier.shape, NODES, 3))
    first[0, n] = some(NODES, 3)
    twin = first[::-1].copy()
    angles = np.linspace(0, 2 * np.pi, 17)
    turned = fourier.values(first, angles - np.pi / 2 / n)
    assert fourier.values(twin, angles) == pytest.approx(turned, abs=1e-12)


def test_a_push_along_x_and_its_twin_along_y_are_rigid_translations() -> None:
    # n = 1, (1, -1, 0): u_r = cos θ, u_θ = -sin θ is the unit vector along x; its twin is along y.
    fourier = Fourier(1, twin=True)
    angles = np.linspace(0, 2 * np.pi, 9)
    r, theta = np.array([np.cos(angles), np.sin(angles)]), np.array([-np.sin(angles), np.cos(angles)])
    for family, direction in ((0, [1.0, 0.0]), (1, [0.0, 1.0])):
        c = np.zeros((2, 2, 1, 3))
        c[family, 1, 0] = 1.0, -1.0, 0.0
        u = fourier.values(c, angles)[0]
        cartesian = u[:, 0] * r + u[:, 1] * theta
        assert cartesian == pytest.approx(np.outer(direction, np.ones(9)), abs=1e-12)


def test_twin_of_harmonic_zero_turns_about_the_axis() -> None:
    c = np.zeros((2, 1, 1, 3))
    c[1, 0, 0, 1] = -1.0
    turned = Fourier(0, twin=True).values(c)
    assert turned == pytest.approx(np.array([[[0.0, 1.0, 0.0]]]))


def test_half_the_circle_stands_for_the_whole_of_a_symmetric_field() -> None:
    half, whole = Fourier(3, twin=False), Fourier(3, twin=True)
    c = coefficients_of(half)
    moments = whole.moments(whole.values(whole.embedded(c)))
    assert half.moments(half.values(c)) == pytest.approx(moments[:1], abs=1e-12)
    assert moments[1] == pytest.approx(0.0, abs=1e-12)


def test_a_richer_expansion_holds_the_same_field() -> None:
    poor, rich = Fourier(2, twin=False), Fourier(4, twin=True)
    c = coefficients_of(poor)
    angles = np.linspace(0, 2 * np.pi, 11)
    assert rich.values(rich.embedded(c), angles) == pytest.approx(poor.values(c, angles))
