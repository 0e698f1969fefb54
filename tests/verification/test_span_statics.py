"""Bridges on springs: sharing of loads against statics and handbooks.

The implants are replaced by linear springs, so that the bridge, its arms and the equilibrium solver are
checked against closed forms alone.
"""

from __future__ import annotations

import numpy as np
import pytest

from stillroot.arch.bridge import CrossSection, beam_bridge, rigid_bridge
from stillroot.arch.polyline import Polyline
from validation.springs import TITANIUM, loaded, on_bridge, springs

SQUARE = CrossSection(width_mm=4.0, height_mm=4.0)
ARCH = np.array([[-20.0, -15, 0], [-12, 3, 0], [-4, 9, 0], [4, 9, 0], [12, 3, 0], [20, -15, 0]])


def test_equal_axial_springs_under_a_rigid_bridge_share_a_load_by_skalaks_rule() -> None:
    # Skalak 1983, J Prosthet Dent 49:843-848 (from memory): F_i = P/n + P·y·y_i/Σy² + P·x·x_i/Σx², about
    # the centroid and along principal axes, which symmetry makes x and y here.
    bridge = rigid_bridge(Polyline(corners_mm=ARCH))
    attached = on_bridge(bridge, ARCH, [springs(700.0, 700.0, 900.0, 0, 0, 0)] * 6)
    at, pressed = np.array([17.0, -11.0, 0.0]), 120.0
    forces = loaded(bridge, attached, (at, np.array([0, 0, -pressed]))).forces
    x, y = (ARCH - ARCH.mean(axis=0))[:, :2].T
    px, py = (at - ARCH.mean(axis=0))[:2]
    share = pressed * (1 / 6 + py * y / np.sum(y**2) + px * x / np.sum(x**2))
    assert -forces[:, 2] == pytest.approx(share, abs=1e-9 * pressed)


def test_equal_lateral_springs_share_a_horizontal_load_as_a_group_of_bolts_does() -> None:
    # Elastic bolt group: H/n on each, and M·R_i/ΣR² across the radius from the centroid (statics).
    bridge = rigid_bridge(Polyline(corners_mm=ARCH))
    attached = on_bridge(bridge, ARCH, [springs(700.0, 700.0, 900.0, 0, 0, 0)] * 6)
    at, push = np.array([20.0, -15.0, 0.0]), np.array([30.0, 50.0, 0.0])
    forces = loaded(bridge, attached, (at, push)).forces
    radius = ARCH - ARCH.mean(axis=0)
    moment = np.cross(at - ARCH.mean(axis=0), push)[2]
    across = np.cross([0.0, 0.0, 1.0], radius)
    expected = push / 6 + moment * across / np.sum(radius**2)
    assert forces[:, :3] == pytest.approx(expected, abs=1e-9 * 50)


@pytest.mark.parametrize("rigid", [True, False], ids=["rigid", "beam"])
def test_a_cantilever_presses_the_near_implant_and_lifts_the_far_one(rigid: bool) -> None:
    # Two supports a apart, load b beyond one: P(1 + b/a) and -P·b/a, however stiff the bridge is
    # (statics; Rangert et al. 1989, Int J Oral Maxillofac Implants 4:241-247).
    a, b, pressed = 14.0, 9.0, 100.0
    heads = np.array([[0.0, 0, 0], [a, 0, 0]])
    tip = np.array([a + b, 0, 0])
    line = Polyline(corners_mm=np.vstack([heads, tip]))
    bridge = rigid_bridge(line) if rigid else beam_bridge(line, SQUARE, TITANIUM, [*heads, tip])
    # Of the moments only that about the line is reacted, as nothing else keeps the bridge from rolling.
    kinds = [springs(500.0, 500.0, k, 1e4, 0, 0) for k in (800.0, 1500.0)]
    forces = loaded(bridge, on_bridge(bridge, heads, kinds), (tip, np.array([0, 0, -pressed]))).forces
    assert -forces[:, 2] == pytest.approx([-pressed * b / a, pressed * (1 + b / a)], rel=1e-6)


def test_five_equal_spans_on_stiff_supports_share_an_even_load_as_the_handbook_says() -> None:
    # Reactions 15/38, 43/38, 37/38, … of w·L for a continuous beam of five equal spans (three-moment
    # equation; handbooks round them to 0.395, 1.132, 0.974). Slender, so that shear does not count.
    span_mm, spans, pieces = 50.0, 5, 40
    heads = np.array([[span_mm * k, 0.0, 0.0] for k in range(spans + 1)])
    places = np.linspace(0.0, span_mm * spans, spans * pieces + 1)
    points = np.stack([places, 0 * places, 0 * places], axis=1)
    line = Polyline(corners_mm=heads[[0, -1]])
    bridge = beam_bridge(line, CrossSection(width_mm=1.0, height_mm=1.0), TITANIUM, list(points))
    held = on_bridge(bridge, heads, [springs(1e7, 1e7, 1e7, 1e3, 0, 0)] * (spans + 1))
    weight = np.full(len(points), 1.0)
    weight[[0, -1]] = 0.5
    forces = loaded(
        bridge, held, *((p, np.array([0, 0, -w])) for p, w in zip(points, weight, strict=True))
    ).forces
    shares = np.array([15, 43, 37, 37, 43, 15]) / 38
    assert -forces[:, 2] == pytest.approx(shares * pieces, rel=2e-3)


def test_a_beam_on_many_springs_sinks_as_one_on_an_elastic_foundation() -> None:
    # Hetényi, Beams on Elastic Foundation, 1946 (from memory): a long beam on a foundation k [N/mm²]
    # under a force P sinks by P·β/(2k) e^(-βx) (cos βx + sin βx), with β = (k/(4EI))^(1/4).
    apart, count, each = 4.0, 121, 40.0
    heads = np.array([[apart * (k - count // 2), 0.0, 0.0] for k in range(count)])
    section = CrossSection(width_mm=3.0, height_mm=3.0)
    bridge = beam_bridge(Polyline(corners_mm=heads[[0, -1]]), section, TITANIUM, list(heads))
    held = on_bridge(bridge, heads, [springs(1e3, 1e3, each, 1e3, 0, 0)] * count)
    pressed = 100.0
    forces = loaded(bridge, held, (np.zeros(3), np.array([0, 0, -pressed]))).forces
    foundation = each / apart
    beta = (foundation / (4 * TITANIUM.modulus_mpa * section.second_moments_mm4[1])) ** 0.25
    assert beta * heads[-1, 0] > 3 * np.pi  # long enough to count as endless
    x = np.abs(heads[:, 0])
    sunk = pressed * beta / (2 * foundation) * np.exp(-beta * x) * (np.cos(beta * x) + np.sin(beta * x))
    assert -forces[:, 2] == pytest.approx(each * sunk, abs=0.01 * each * sunk.max())


def test_a_cantilever_beam_bends_shears_and_twists_by_the_formulas() -> None:
    # P·L³/(3EI) + P·L/(κGA) with κ = 10(1 + ν)/(12 + 11ν) (Cowper 1966), and T·L/(GJ) with
    # J = 0.229 a·b³ for sides of 2 to 1 (Timoshenko & Goodier, Theory of Elasticity; from memory).
    length, section = 30.0, CrossSection(width_mm=3.0, height_mm=6.0)
    tip = np.array([0.0, length, 0.0])
    bridge = beam_bridge(Polyline(corners_mm=np.array([[0.0, 0, 0], tip])), section, TITANIUM, [tip])
    held = slice(6, None)
    e, g, nu = TITANIUM.modulus_mpa, TITANIUM.shear_modulus_mpa, TITANIUM.poisson
    force = np.zeros(bridge.stiffness.shape[0])
    force[-6:] = [0.0, 0.0, 10.0, 0.0, 50.0, 0.0]
    moved = np.linalg.solve(bridge.stiffness[held, held], force[held])[-6:]
    shear = 10 * length / (10 * (1 + nu) / (12 + 11 * nu) * g * 18.0)
    assert moved[2] == pytest.approx(10 * length**3 / (3 * e * 3.0 * 6.0**3 / 12) + shear, rel=1e-9)
    assert moved[4] == pytest.approx(50 * length / (g * 0.229 * 6.0 * 3.0**3), rel=2e-3)
