"""A path of loads: followed to its end, or up to where friction no longer holds."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp

from stillroot.errors import NotConverged
from stillroot.mechanics.contact import ContactState, Problem, SeriesStiffness, state_tangent
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.interface import Layer, averaged_stiffness, tractions
from stillroot.mechanics.path import SHORTEST_STEP, Leg, Stuck, follow, followed

K_N, K_T, MU, PRESSED = 400.0, 100.0, 0.5, 1.2
"""A ring of 1 mm² in a hole, pressed by 1.2 N: friction holds 0.6 N along the axis."""


def ring() -> tuple[Problem, ContactState]:
    layer = Layer(
        nodes_mm=np.array([[2.0], [0.0]]),
        node=np.array([0]),
        normal=np.array([[1.0], [0.0]]),
        weight_mm2=np.array([1 / (2 * np.pi)]),
        normal_stiffness=np.array([K_N]),
        shear_stiffness=np.array([K_T]),
        interference_mm=np.array([PRESSED / K_N]),
        one_sided=np.array([True]),
        held=np.array([True]),
        crush_mpa=np.array([np.inf]),
        friction=MU,
    )
    d = np.diag([1e9, 1.0, 0.0])  # held across, free along: nothing but friction bears a pull
    series = SeriesStiffness(free=(d,), expand=(sp.eye_array(3, format="csc"),))
    fourier, rest = Fourier(0, twin=False), np.zeros((1, 1, 1, 3))
    state = tractions(layer, layer.local(fourier.values(rest)), np.zeros((2, 1, 1)))
    start = ContactState(w=rest, fourier=fourier, tractions=state, residuals=(), steps=0)
    problem = Problem(
        series=series,
        layer=layer,
        precondition=series.preconditioner(averaged_stiffness(layer, state_tangent(layer, start))),
        scale_mm=0.01,
        stage="pull",
    )
    return problem, start


def path(*pulls_n: float) -> list[Leg]:
    legs = []
    for k, pull in enumerate(pulls_n, 1):
        load = np.zeros((1, 1, 1, 3))
        load[0, 0, 0, 2] = pull
        legs.append(Leg(reached=k / len(pulls_n), load=load))
    return legs


def shear(state: ContactState) -> float:
    return float(state.tractions.traction[1].item())


def test_each_leg_ends_in_equilibrium_with_its_load() -> None:
    states = followed(*ring(), path(0.3, 0.5, -0.4))
    assert [shear(state) for state in states] == pytest.approx([0.3, 0.5, -0.4], abs=1e-6)
    assert states[-1].w[0, 0, 0, 2] == pytest.approx(-0.4 / K_T, rel=1e-5)


def test_a_path_that_friction_cannot_follow_stops_within_a_step_of_what_it_bears() -> None:
    with pytest.raises(Stuck) as stopped:
        followed(*ring(), path(0.3, 1.0))
    stuck, bears = stopped.value, (0.6 - 0.3) / (1.0 - 0.3)
    assert len(stuck.states) == 1
    assert bears - SHORTEST_STEP <= stuck.done <= bears
    assert shear(stuck.state) == pytest.approx(0.3 + 0.7 * stuck.done, abs=1e-6)


def test_the_message_says_how_far_the_path_was_followed() -> None:
    with pytest.raises(NotConverged, match=r"pull: no equilibrium was found beyond (6|7)\d% of it"):
        follow(*ring(), path(0.3, 1.0))


def test_a_fit_reached_in_two_legs_is_the_fit_reached_in_one() -> None:
    problem, start = ring()
    still, fit = np.zeros((1, 1, 1, 3)), np.array([0.004])
    once = followed(problem, start, [Leg(reached=1.0, load=still, interference_mm=fit)])
    twice = followed(
        problem,
        start,
        [
            Leg(reached=0.5, load=still, interference_mm=0.002 + 0 * fit),
            Leg(reached=1.0, load=still, interference_mm=fit),
        ],
    )
    for states in (once, twice):
        assert states[-1].tractions.traction[0].item() == pytest.approx(K_N * 0.004, rel=1e-4)
