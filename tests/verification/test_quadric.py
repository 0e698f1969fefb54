"""The law of bone that yields, against the paper's tensors: `validation.solid_3d.quadric`."""

from __future__ import annotations

import numpy as np
import pytest

from stillroot.mechanics.yield_surface import YieldSurface
from validation.solid_3d.quadric import Quadric

KINDS = {
    "trabecular": {"compression": 0.0095, "tension": 0.0065, "interaction": 0.19, "hardening": 0.03},
    "cortical, perfectly plastic": {
        "compression": 0.0085,
        "tension": 0.0052,
        "interaction": 0.19,
        "hardening": 0.0,
    },
    "foam, von Mises": {"compression": 0.04, "tension": 0.04, "interaction": 0.5, "hardening": 0.03},
}
POISSON = 0.3
COUNT = 2000


def quadric(kind: str) -> Quadric:
    return Quadric(poisson=POISSON, **KINDS[kind])


def surface(kind: str) -> YieldSurface:
    law = KINDS[kind]
    return YieldSurface(
        compression=np.array([law["compression"]]),
        tension=np.array([law["tension"]]),
        interaction=law["interaction"],
        hardening=law["hardening"],
        poisson=POISSON,
    )


def strains(kind: str) -> tuple[np.ndarray, np.ndarray]:
    """Strains from half of that at yield to ten times it, and plastic strains of before (q, 6)."""
    rng = np.random.default_rng(7)
    at_yield = KINDS[kind]["compression"]
    size = at_yield * np.geomspace(0.5, 10, COUNT)[:, None]
    return rng.standard_normal((COUNT, 6)) * size, 0.3 * at_yield * rng.standard_normal((COUNT, 6))


def as_package(mandel: np.ndarray) -> np.ndarray:
    """Turn stresses (q, 6) into the package's (6, q, 1), whose shears have no factor √2."""
    return (mandel / np.array([1, 1, 1, *[np.sqrt(2)] * 3])).T[:, :, None]


@pytest.mark.parametrize("kind", KINDS)
def test_a_step_ends_with_the_plastic_strain_of_the_papers_tensors(kind):
    law, (strain, before) = quadric(kind), strains(kind)
    after, flows, _ = law.step(strain, before)
    stiffness = law.stiffness
    ours = surface(kind).returned(as_package(strain @ stiffness), as_package(before @ stiffness))
    assert 0.5 < np.mean(flows) < 1
    assert ours == pytest.approx(
        as_package(after @ stiffness), rel=1e-9, abs=1e-9 * np.max(np.abs(ours))
    )


@pytest.mark.parametrize("kind", KINDS)
def test_the_papers_surface_passes_through_both_strengths(kind):
    law = quadric(kind)
    along = np.eye(6)[:1]
    for stress in (-law.compression * along, law.tension * along):
        assert law.value(stress)[0] == pytest.approx([0.0], abs=1e-12)


@pytest.mark.parametrize("kind", KINDS)
def test_the_tangent_of_the_papers_law_is_the_slope_of_its_steps(kind):
    law, (strain, before) = quadric(kind), strains(kind)
    strain, before, d = strain[-50:], before[-50:], 1e-7
    _, flows, slope = law.step(strain, before)
    assert np.all(flows)
    for i, change in enumerate(d * np.eye(6)):
        far, near = (law.step(strain + sign * change, before)[0] for sign in (1, -1))
        assert slope[:, :, i] == pytest.approx((far - near) / (2 * d), abs=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_uniaxial_compression_goes_on_with_the_hardening_modulus(kind):
    law, wanted = quadric(kind), KINDS[kind]["hardening"]

    def axial_stress(strain: float) -> float:
        """Return the stress along x over E, those across vanishing, by Newton."""
        full, free = strain * np.array([[1.0, -POISSON, -POISSON, 0, 0, 0]]), [1, 2]
        for _ in range(100):
            after, flows, slope = law.step(full, np.zeros((1, 6)))
            stress = (full - after) @ law.stiffness
            tangent = law.stiffness @ (np.eye(6) - (slope[0] if flows[0] else 0.0))
            if np.max(np.abs(stress[0, free])) < 1e-14:
                break
            full[0, free] -= np.linalg.solve(tangent[np.ix_(free, free)], stress[0, free])
        return float(stress[0, 0])

    at_yield = law.compression
    d = 1e-4 * at_yield
    first = -axial_stress(-at_yield)
    assert first == pytest.approx(at_yield, rel=1e-9)
    assert (-axial_stress(-at_yield - d) - first) / d == pytest.approx(wanted, abs=2e-4)
