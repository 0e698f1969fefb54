"""Friction: stick and slip by hand, and the loads that friction cannot carry.

Shear lag, slipped lengths and capacities against published formulas: validation/cox_1952,
kelly_tyson_1965, cattaneo_mindlin and lame_torque. The pin is of `validation.pulled_pin`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import scipy.sparse as sp
from numpy.typing import NDArray

from stillroot.errors import GivesWay
from stillroot.mechanics.contact import ContactState, Problem, SeriesStiffness, state_tangent
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.interface import Layer, averaged_stiffness, tractions
from stillroot.mechanics.path import Leg, follow
from stillroot.mechanics.resultant import Resultant
from validation.pulled_pin import PIN_MPA, RADIUS, on_side, seated

from ._chain import loaded

Floats = NDArray[np.float64]

# -- two springs, through the solver ------------------------------------------------------------

K_N, K_T, MU = 400.0, 100.0, 0.5
AREA = 1 / (2 * np.pi)
"""Per radian, so that each ring is 1 mm²."""
ANCHOR, LINK = 50.0, 30.0
"""Springs along the wall [N/mm]: each ring to the bone, and the two rings to each other."""


def two_rings() -> tuple[Layer, SeriesStiffness]:
    """Two rings of 1 mm² pressed by 1 and 3 MPa: friction limits 0.5 and 1.5 N."""
    layer = Layer(
        nodes_mm=np.array([[2.0, 2.0], [0.0, -1.0]]),
        node=np.array([0, 1]),
        normal=np.array([[1.0, 1.0], [0.0, 0.0]]),
        weight_mm2=np.full(2, AREA),
        normal_stiffness=np.full(2, K_N),
        shear_stiffness=np.full(2, K_T),
        interference_mm=np.array([1.0, 3.0]) / K_N,
        one_sided=np.ones(2, dtype=bool),
        held=np.ones(2, dtype=bool),
        crush_mpa=np.full(2, np.inf),
        friction=MU,
    )
    d = np.diag([1e9, 1.0, ANCHOR + LINK, 1e9, 1.0, ANCHOR + LINK])  # r is held; u_θ is not used
    d[2, 5] = d[5, 2] = -LINK
    return layer, SeriesStiffness(free=(d,), expand=(sp.eye_array(6, format="csc"),))


def pulled(*loads_n: float) -> tuple[Floats, Floats]:
    """Pull the first ring along a path of loads; return motion [mm] and shear [MPa] of both (2,)."""
    layer, series = two_rings()
    fourier = Fourier(0, twin=False)
    rest = np.zeros((1, 1, 2, 3))
    gap = layer.local(fourier.values(rest))
    at_rest = tractions(layer, gap, np.zeros((2, 2, 1)))
    start = ContactState(w=rest, fourier=fourier, tractions=at_rest, residuals=(), steps=0)
    p = series.preconditioner(averaged_stiffness(layer, state_tangent(layer, start)))
    path = []
    for k, load in enumerate(loads_n):
        force = np.zeros_like(rest)
        force[0, 0, 0, 2] = load
        path.append(Leg(reached=(k + 1) / len(loads_n), load=force))
    problem = Problem(series=series, layer=layer, precondition=p, stage="pull", scale_mm=0.01)
    state = follow(problem, start, path)
    # Along the wall is up where the normal points out along r.
    return state.w[0, 0, :, 2], state.tractions.traction[1, :, 0]


def by_hand(load_n: float, shear: tuple[float | None, float | None]) -> Floats:
    """Return the motion of both rings; a slipping ring (its shear given) has no stiffness."""
    k = np.array([[ANCHOR + LINK, -LINK], [-LINK, ANCHOR + LINK]])
    f = np.array([load_n, 0.0])
    for i, known in enumerate(shear):
        if known is None:
            k[i, i] += K_T
        else:
            f[i] -= known
    return np.linalg.solve(k, f)


def test_two_springs_stick_below_both_limits() -> None:
    motion, shear = pulled(0.8)
    assert motion == pytest.approx(by_hand(0.8, (None, None)), rel=1e-6)
    assert shear == pytest.approx(K_T * motion, rel=1e-6)
    assert np.all(np.abs(shear) < MU * np.array([1.0, 3.0]))


def test_the_weakly_pressed_spring_slips_first() -> None:
    motion, shear = pulled(2.0)
    assert motion == pytest.approx(by_hand(2.0, (0.5, None)), rel=1e-6)
    assert shear == pytest.approx([0.5, K_T * motion[1]], rel=1e-6)


def test_then_both_springs_slip() -> None:
    motion, shear = pulled(10.0)
    assert motion == pytest.approx(by_hand(10.0, (0.5, 1.5)), rel=1e-6)
    assert shear == pytest.approx([0.5, 1.5], rel=1e-6)


def test_let_go_the_first_spring_stays_displaced_and_the_second_pulls_it_back() -> None:
    # From 2 N (ring 1 has slipped by w - 5 µm) to 0: it sticks first, its shear falling with w.
    out, _ = pulled(2.0)
    slip = out[0] - 0.5 / K_T
    back, shear = pulled(2.0, 1.0)
    k = np.array([[ANCHOR + LINK + K_T, -LINK], [-LINK, ANCHOR + LINK + K_T]])
    assert back == pytest.approx(np.linalg.solve(k, [1.0 + K_T * slip, 0.0]), rel=1e-6)
    assert shear == pytest.approx(K_T * (back - [slip, 0.0]), rel=1e-5, abs=1e-7)
    assert abs(shear[0]) < MU


# -- a pin in rigid bone ------------------------------------------------------------------------


@cache
def held_n() -> float:
    """Return ∫ µ p dA over the wall, the pull that friction can carry."""
    layer = seated("soft").layer
    pressure = seated("soft").state.tractions.traction[0, :, 0]
    return float(2 * np.pi * layer.friction * np.sum(pressure * layer.weight_mm2))


def test_seating_presses_the_pin_as_two_springs_in_series() -> None:
    # p = δ/(1/k_n + a/E): layer and pin (ν = 0) in series, bone rigid.
    layer = seated("soft").layer
    side = on_side(layer)
    pressure = seated("soft").state.tractions.traction[0, side, 0]
    give = 1 / layer.normal_stiffness[side] + RADIUS / PIN_MPA
    expected = layer.interference_mm[side] / give
    area = layer.weight_mm2[side]
    assert np.average(pressure, weights=area) == pytest.approx(
        np.average(expected, weights=area), rel=0.01
    )


def pulled_by(share: float) -> Resultant:
    return Resultant(axial_n=-share * held_n())


def test_what_friction_can_carry_is_held_and_no_more() -> None:
    assert np.isfinite(loaded(seated("soft"), pulled_by(0.985)).head.total_um)
    with pytest.raises(GivesWay) as raised:
        loaded(seated("soft"), pulled_by(1.5))
    assert raised.value.share * 1.5 == pytest.approx(1, rel=0.01)


def test_more_friction_never_frees_the_pin() -> None:
    pin = seated("soft")
    rougher = replace(pin, layer=replace(pin.layer, friction=1.2 * pin.layer.friction))
    it = loaded(rougher, pulled_by(1.1))
    assert it.head.total_um < 1.1 * loaded(pin, pulled_by(0.985)).head.total_um
