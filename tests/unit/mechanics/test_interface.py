"""The interface law by hand: pressure without tension, stick, slip inside the cone, glue."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from stillroot.mechanics.interface import Layer, averaged_stiffness, tangent, tractions

Floats = NDArray[np.float64]
K_N, K_T, MU = 400.0, 100.0, 0.5


def layer(count: int = 1, **changes: object) -> Layer:
    """Return `count` points of a vertical wall of radius 2 mm, normal along r, area 1 mm² per radian."""
    plain = Layer(
        nodes_mm=np.stack([np.full(count, 2.0), -np.arange(count, dtype=float)]),
        node=np.arange(count),
        normal=np.stack([np.ones(count), np.zeros(count)]),
        weight_mm2=np.ones(count),
        normal_stiffness=np.full(count, K_N),
        shear_stiffness=np.full(count, K_T),
        interference_mm=np.zeros(count),
        one_sided=np.ones(count, dtype=bool),
        held=np.ones(count, dtype=bool),
        crush_mpa=np.full(count, np.inf),
        friction=MU,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def at(*components: float) -> Floats:
    """Return w (3, 1, 1) of one point at one angle: across, along, round."""
    return np.array(components).reshape(3, 1, 1)


def unslipped(points: int = 1) -> Floats:
    return np.zeros((2, points, 1))


def test_pressure_is_the_overlap_times_the_stiffness() -> None:
    law = layer(interference_mm=np.array([0.002]))
    state = tractions(law, at(0.003, 0.0, 0.0), unslipped())
    assert state.traction[0].item() == pytest.approx(K_N * 0.005)
    assert state.closed.item()


def test_no_tension_and_no_shear_across_an_open_gap() -> None:
    state = tractions(layer(), at(-0.001, 0.02, -0.01), unslipped())
    assert not state.closed.item()
    assert np.all(state.traction == 0.0)


def test_below_the_cone_it_sticks_and_remembers_no_slip() -> None:
    # µ p = 0.5 · 4 = 2 MPa; the shear is 100 · (0.012, 0.016): 1.2 and 1.6, size 2 at the limit.
    state = tractions(layer(), at(0.01, 0.0119, 0.0159), unslipped())
    assert state.traction[1:, 0, 0] == pytest.approx([1.19, 1.59])
    assert state.slip_mm[:, 0, 0] == pytest.approx([0.0, 0.0], abs=1e-15)
    assert not state.sliding.item()


def test_beyond_the_cone_the_shear_comes_back_to_it_along_the_trial() -> None:
    # Trial (3, 4) MPa, size 5, against 2: the shear is (1.2, 1.6), and 3/5 of the motion is slip.
    state = tractions(layer(), at(0.01, 0.03, 0.04), unslipped())
    assert state.traction[1:, 0, 0] == pytest.approx([1.2, 1.6])
    assert state.slip_mm[:, 0, 0] == pytest.approx([0.018, 0.024])
    assert state.sliding.item()


def test_two_springs_slip_one_after_the_other_and_keep_a_loop() -> None:
    # Side by side at one motion, pressed by 1 and 3 MPa: limits 0.5 and 1.5 MPa are reached at 5
    # and 15 µm. Out to 20 µm and back to 5 µm, then to 0, by hand:
    law = layer(2, interference_mm=np.array([1.0, 3.0]) / K_N)
    by_hand = {0.010: (0.5, 1.0), 0.020: (0.5, 1.5), 0.005: (-0.5, 0.0), 0.0: (-0.5, -0.5)}
    slip = unslipped(2)
    for along, expected in by_hand.items():
        gap = np.zeros((3, 2, 1))
        gap[1] = along
        state = tractions(law, gap, slip)
        assert state.traction[1, :, 0] == pytest.approx(expected)
        slip = state.slip_mm
    assert slip[0, :, 0] == pytest.approx([0.005, 0.005])


def test_a_glued_point_pulls_and_never_slips() -> None:
    law = layer(one_sided=np.array([False]))
    state = tractions(law, at(-0.01, 0.03, -0.04), unslipped())
    assert state.traction[:, 0, 0] == pytest.approx([-4.0, 3.0, -4.0])
    assert state.slip_mm == pytest.approx(0.0, abs=1e-15)
    assert not state.sliding.item()


def test_without_friction_there_is_no_shear() -> None:
    state = tractions(layer(friction=0.0), at(0.01, 0.03, 0.04), unslipped())
    assert np.all(state.traction[1:] == 0.0)


def test_every_state_lies_inside_the_cone_and_dissipates() -> None:
    rng = np.random.default_rng(5)
    law = layer(500)
    gap = rng.normal(scale=0.02, size=(3, 500, 1))
    slip = rng.normal(scale=0.02, size=(2, 500, 1))
    state = tractions(law, gap, slip)
    pressure, shear = state.traction[0], np.hypot(*state.traction[1:])
    assert np.all(pressure >= 0)
    assert np.all(shear <= MU * pressure * (1 + 1e-12))
    assert np.all(np.sum(state.traction[1:] * (state.slip_mm - slip), axis=0) >= -1e-15)
    assert 0 < np.sum(state.sliding & state.closed) < np.sum(state.closed)


STATES = {
    "stick": at(0.01, 0.008, -0.005),
    "slip": at(0.01, 0.03, -0.04),
    "slip along alone": at(0.01, -0.05, 0.0),
    "open": at(-0.01, 0.03, -0.04),
}


@pytest.mark.parametrize("glued", [False, True], ids=["one-sided", "glued"])
@pytest.mark.parametrize("gap", STATES.values(), ids=STATES)
def test_the_tangent_is_the_derivative(gap: Floats, glued: bool) -> None:
    law = layer(one_sided=np.array([not glued]), interference_mm=np.array([0.001]))
    slip = np.array([0.002, -0.001]).reshape(2, 1, 1)
    exact = tangent(law, gap, slip)
    step = 1e-7
    for direction in np.eye(3):
        change = step * at(*direction)
        ahead, behind = (tractions(law, gap + s * change, slip).traction for s in (1, -1))
        difference = (ahead - behind) / (2 * step)
        assert exact.times(change) / step == pytest.approx(difference, abs=1e-4)


def test_the_tangent_of_a_crushed_point_is_the_derivative() -> None:
    # Beyond the crushing pressure the normal stiffness is zero, and the shear limit constant.
    law = layer(crush_mpa=np.array([2.0]))
    gap, slip = at(0.01, 0.03, -0.04), unslipped()
    state = tractions(law, gap, slip)
    assert state.traction[:, 0, 0] == pytest.approx([2.0, 0.6, -0.8])
    for direction in np.eye(3):
        change = 1e-7 * at(*direction)
        ahead, behind = (tractions(law, gap + s * change, slip).traction for s in (1, -1))
        exact = tangent(law, gap, slip).times(change)
        assert exact == pytest.approx((ahead - behind) / 2, abs=1e-11)


def test_forces_are_the_work_conjugate_of_the_local_motion() -> None:
    # A flank at 30 degrees: Σ t · w_local · area = Σ f · u at the nodes.
    rng = np.random.default_rng(3)
    slope = np.radians(30.0)
    normal = np.repeat([[np.cos(slope)], [np.sin(slope)]], 3, axis=1)
    law = layer(3, node=np.array([0, 1, 1]), normal=normal, weight_mm2=np.array([0.3, 0.5, 0.7]))
    u, t = rng.standard_normal((3, 4, 3)), rng.standard_normal((3, 3, 4))
    work = np.sum(t * law.local(u) * law.weight_mm2[:, None])
    assert np.sum(law.nodal_forces(t) * u) == pytest.approx(work, rel=1e-12)


def test_the_averaged_stiffness_of_a_sticking_ring_is_its_own() -> None:
    # 2π times the area per radian times k_n across and k_t along and round; normal along r.
    law = layer()
    blocks = averaged_stiffness(law, tangent(law, at(0.01, 0.0, 0.0), unslipped()))
    assert blocks[0] == pytest.approx(2 * np.pi * np.diag([K_N, K_T, K_T]), abs=1e-9)
