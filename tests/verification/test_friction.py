"""Friction: stick and slip by hand, a pin pulled out of bone, and the loads that no grip can carry.

Shear lag: Cox 1952, Br J Appl Phys 3:72-79. Frictional pull-out under uniform pressure, capacity
µ p · 2π a L and, in torsion, µ p · 2π a² L: Kelly & Tyson 1965, J Mech Phys Solids 13:329-350.
Both are cited from memory; the formulas are derived anew in the docstrings below.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
import scipy.sparse as sp
from numpy.typing import NDArray

from stillroot.contact import ContactState, SeriesStiffness, follow, state_tangent
from stillroot.errors import NotConverged
from stillroot.fourier import Fourier
from stillroot.interface import Layer, averaged_stiffness, tractions
from stillroot.loading import Resultant, Seated

from ._chain import SMOOTH, Loaded, case_of, loaded, seated

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
        path.append(((k + 1) / len(loads_n), force))
    state = follow(series, layer, start, path, p, stage="pull", scale=0.01)
    # Along the wall is up where the normal points out along r.
    return state.w[0, 0, :, 2], state.tractions.traction[1, :, 0]


def by_hand(load_n: float, shear: tuple[float | None, float | None]) -> Floats:
    """Return the motion of both rings: a slipping ring (its shear given) holds no stiffness."""
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


# -- a compliant pin in rigid bone --------------------------------------------------------------

RADIUS, LENGTH, ABUTMENT, MODULUS = 1.0, 14.0, 3.0, 1000.0
BETA = 0.2
"""Cox's decay [1/mm]; βL = 2.8, so the far end feels little; βa = 0.2, so 1-D theory fits."""
INTERFERENCE_MM = 0.1
RIGID_MPA = 1e6


class Pin(NamedTuple):
    """A pin (ν = 0) of axial stiffness EA in a layer of shear stiffness k_t, all uniform.

    N' = -2π a τ and u' = -N/(π a² E) give u'' = β² u with β² = 2 k/(a E). The k is that of the layer
    and of the pin's own section in series: under a parabolic shear the mean of a section leads its
    rim by τ a/(4G).
    """

    shear_stiffness: float
    pressure: float

    @property
    def decay(self) -> float:
        shear_modulus = MODULUS / 2
        k = 1 / (1 / self.shear_stiffness + RADIUS / (4 * shear_modulus))
        return float(np.sqrt(2 * k / (RADIUS * MODULUS)))

    @property
    def limit(self) -> float:
        """µ p [MPa]."""
        return MU * self.pressure

    @property
    def capacity_n(self) -> float:
        return self.limit * 2 * np.pi * RADIUS * LENGTH

    def load_for_slip(self, slipped: Floats) -> Floats:
        """Return the pull that makes the first `slipped` mm slide: friction there, Cox below."""
        below = np.tanh(self.decay * (LENGTH - slipped)) / self.decay
        load: Floats = 2 * np.pi * RADIUS * self.limit * (slipped + below)
        return load


def plane_pressure(normal_stiffness: float) -> float:
    """Return p = δ/(1/k_n + a/E): layer and pin (ν = 0) in series, bone rigid."""
    return INTERFERENCE_MM / (1 / normal_stiffness + RADIUS / MODULUS)


@cache
def seated_pin() -> tuple[Seated, Pin]:
    k_t = BETA**2 * MODULUS * RADIUS / 2
    thickness = 0.1
    ratio = k_t * thickness / (RIGID_MPA / 2)  # k_t = G/t, G = E/2 with ν = 0
    case = case_of(
        implant={
            **SMOOTH,
            "diameter_mm": 2 * RADIUS,
            "length_mm": LENGTH,
            "modulus_mpa": MODULUS,
            "poisson": 0.0,
            "abutment_diameter_mm": 2 * RADIUS,
            "abutment_height_mm": ABUTMENT,
        },
        bone={
            "cortical_thickness_mm": 0.0,
            "trabecular_modulus_mpa": RIGID_MPA,
            "poisson": 0.0,
            "radius_mm": 4.0,
            "depth_mm": 16.0,
        },
        interface={
            "friction": MU,
            "interference_um": 1000 * INTERFERENCE_MM,
            "layer_thickness_mm": thickness,
            "layer_modulus_ratio": ratio,
        },
        numerics={"element_mm": 0.35, "harmonics": 3},
    )
    return seated(case), Pin(k_t, plane_pressure(2 * k_t))


@cache
def pulled_pin(share_of_capacity: float) -> Loaded:
    seat_, pin = seated_pin()
    return loaded(seat_, Resultant(axial_n=-share_of_capacity * pin.capacity_n, height_mm=ABUTMENT))


def side(layer: Layer) -> NDArray[np.bool_]:
    on_side: NDArray[np.bool_] = layer.normal[0] > 0.5
    return on_side


def force_below(it: Loaded, depth_mm: float) -> float:
    """Return the axial force [N] that the wall takes below a depth: the tension in the pin there.

    Each edge's end points count with half of their own edge's length, so a cut goes between edges.
    """
    layer = it.seated.layer
    shear = it.state.tractions.traction[1, :, 0]
    counted = side(layer) & (np.repeat(edge_depth(layer), 3) > depth_mm)
    return float(2 * np.pi * np.sum((layer.weight_mm2 * shear)[counted]))


def edge_depth(layer: Layer) -> Floats:
    return -layer.height_mm[1::3]


def test_seating_presses_the_pin_as_two_springs_in_series() -> None:
    seat_, pin = seated_pin()
    on_side = side(seat_.layer)
    pressure = seat_.state.tractions.traction[0, on_side, 0]
    area = seat_.layer.weight_mm2[on_side]
    assert np.average(pressure, weights=area) == pytest.approx(pin.pressure, rel=0.01)


def test_a_gently_pulled_pin_sheds_its_load_as_cox_says() -> None:
    # Stuck: N(z) = P sinh β(L - z)/sinh βL.
    _, pin = seated_pin()
    share = 0.1
    it = pulled_pin(share)
    assert not np.any(it.state.tractions.sliding[side(it.seated.layer)])
    beta, load = pin.decay, share * pin.capacity_n
    cuts = np.sort(np.unique(-it.seated.layer.height_mm[side(it.seated.layer)][0::3]))[2::6]
    expected = load * np.sinh(beta * (LENGTH - cuts)) / np.sinh(beta * LENGTH)
    measured = [force_below(it, float(cut)) for cut in cuts]
    assert measured == pytest.approx(expected, abs=0.01 * load)


@pytest.mark.parametrize("share", [0.6, 0.8, 0.95])
def test_the_slip_front_runs_down_the_pin_as_shear_lag_says(share: float) -> None:
    _, pin = seated_pin()
    it = pulled_pin(share)
    layer = it.seated.layer
    slipped = np.linspace(0, LENGTH, 2001)
    expected = np.interp(share * pin.capacity_n, pin.load_for_slip(slipped), slipped)
    on_side = side(layer)
    area, moves = layer.weight_mm2[on_side], it.state.tractions.sliding[on_side, 0]
    front = LENGTH * np.sum(area[moves]) / np.sum(area)
    assert 1.0 < expected < LENGTH - 1.0
    assert front == pytest.approx(expected, abs=0.35)  # one element


@pytest.mark.parametrize("share", [0.1, 0.6, 0.8, 0.95])
def test_the_head_of_the_pin_comes_out_by_what_shear_lag_says(share: float) -> None:
    # u = µp/k at the front, then the stretch of the slipped length and of the free abutment.
    _, pin = seated_pin()
    load, beta = share * pin.capacity_n, pin.decay
    stiffness = np.pi * RADIUS**2 * MODULUS
    slipped = np.linspace(0, LENGTH, 2001)
    s = float(np.interp(load, pin.load_for_slip(slipped), slipped, left=0.0))
    held = load - 2 * np.pi * RADIUS * pin.limit * s
    front = held / (stiffness * beta * np.tanh(beta * (LENGTH - s)))
    stretch = (load * s - np.pi * RADIUS * pin.limit * s**2 + load * ABUTMENT) / stiffness
    head = -pulled_pin(share).head.axial_um / 1000
    assert head == pytest.approx(front + stretch, rel=0.02)


def test_just_below_the_pull_out_capacity_there_is_an_equilibrium() -> None:
    # µ p · 2π a L.
    it = pulled_pin(0.985)
    assert np.isfinite(it.head.total_um)


def test_just_above_the_pull_out_capacity_there_is_none() -> None:
    with pytest.raises(NotConverged) as raised:
        pulled_pin(1.015)
    assert len(raised.value.residual_history) > 1


# -- turning ------------------------------------------------------------------------------------


def turning_capacity_nmm(seat_: Seated) -> float:
    """Return ∫ µ p r dA over the wall and the end."""
    layer = seat_.layer
    pressure = seat_.state.tractions.traction[0, :, 0]
    return float(2 * np.pi * MU * np.sum(pressure * layer.weight_mm2 * layer.radius_mm))


def test_the_seated_pin_turns_at_its_torque_capacity() -> None:
    # µ p · 2π a² L on the side wall; nothing presses on the end.
    seat_, pin = seated_pin()
    expected = pin.limit * 2 * np.pi * RADIUS**2 * LENGTH
    assert turning_capacity_nmm(seat_) == pytest.approx(expected, rel=0.01)
    loaded(seat_, Resultant(torque_nmm=0.985 * expected))
    with pytest.raises(NotConverged):
        loaded(seat_, Resultant(torque_nmm=1.015 * expected))


def test_more_friction_never_frees_the_pin() -> None:
    seat_, pin = seated_pin()
    rougher = replace(seat_, layer=replace(seat_.layer, friction=1.2 * MU))
    it = loaded(rougher, Resultant(axial_n=-1.1 * pin.capacity_n))
    assert it.head.total_um < 1.1 * pulled_pin(0.985).head.total_um
