"""Bone that yields, through seat and load: energy, symmetry, and linear bone as its limit.

Published limits: validation/hill_1950, randolph_houlsby_1984, shield_1955. The law at a point and the
plastic load: tests/unit/mechanics.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.mechanics.harmonics import elasticity
from stillroot.mechanics.implant_motion import section_motion
from stillroot.mechanics.loading import load
from stillroot.mechanics.loading import loaded as loaded_along
from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.torque import torque_of

from ._chain import SMOOTH, Loaded, case_of, loaded, seated

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.seat import Seated

    Floats = NDArray[np.float64]

FORCE, STEPS = 80.0, 2
"""Lateral force [N], enough to yield the bone at the crest, and steps in which it comes and goes."""
YIELDS = {"law": "yields", "strength": {"hardening": 0.03}}
PRESSED = {"interference_um": 25.0, "friction": 0.1}
"""The wall stays closed under that force, and slips."""
COARSE = {"harmonics": 3}


def pull(lateral_n: float) -> Resultant:
    return Resultant(axial_n=0.0, lateral_n=lateral_n, torque_nmm=0.0, height_mm=0.0)


# -- energy over a cycle of load ----------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Cycle:
    """States along a path of loads that ends without load; `on_sections` (12,) of each."""

    seat: Seated
    states: tuple[ContactState, ...]
    on_sections: tuple[Floats, ...]

    def in_bone(self, stress: Floats, taken: Floats) -> Floats:
        """Return stress : plastic strain, at each point and angle [N·mm]; both (6, p, a) over E."""
        bone = self.seat.site.bone
        assert bone is not None
        strain = np.einsum("ij,jpa->ipa", np.linalg.inv(elasticity(bone.surface.poisson)), taken)
        weight = bone.weight[:, None] * self.states[0].fourier.angle_weight
        return np.asarray(np.sum(stress * strain, axis=0) * weight)

    def on_wall(self, traction: Floats, motion: Floats) -> Floats:
        """Return traction · motion at each point and angle of the wall [N·mm]."""
        weight = self.seat.layer.weight_mm2[:, None] * self.states[0].fourier.angle_weight
        return np.asarray(np.sum(traction * motion, axis=0) * weight)

    def stress(self, state: ContactState) -> Floats:
        bone = self.seat.site.bone
        assert bone is not None
        assert state.bone is not None
        strain = bone.strain(state.fourier, state.bone.u)
        return bone.surface.stress(strain) - state.bone.taken

    @cached_property
    def work(self) -> float:
        """Work of the load, by the trapezoidal rule: exact of what is linear within a step."""
        moved = [
            section_motion(self.seat.site, state.elastic_w, on)
            for state, on in zip(self.states, self.on_sections, strict=True)
        ]
        steps = pairwise(zip(moved, self.on_sections, strict=True))
        return sum(float((f + g) @ (v - u)) / 2 for (u, f), (v, g) in steps)

    def stored(self, state: ContactState) -> float:
        """Return the elastic energy of all bodies and the layer at a state without load.

        Virtual work of what is in equilibrium leaves of it 2Ψ = -∫ σ : ε_p - ∫ τ · s + ∫ p δ.
        """
        assert state.bone is not None
        plastic = np.sum(self.in_bone(self.stress(state), state.bone.taken))
        t = state.tractions
        slip = np.sum(self.on_wall(t.traction[1:], t.slip_mm))
        fit = np.sum(self.on_wall(t.traction[:1], self.seat.layer.interference_mm[None, :, None]))
        return float(fit - plastic - slip) / 2

    @cached_property
    def plastic(self) -> float:
        return sum(
            float(np.sum(self.in_bone((self.stress(a) + self.stress(b)) / 2, self.taken(a, b))))
            for a, b in pairwise(self.states)
        )

    @cached_property
    def frictional(self) -> float:
        """Work of friction, by the trapezoidal rule."""
        return sum(
            float(np.sum(self.on_wall((a.traction + b.traction)[1:] / 2, b.slip_mm - a.slip_mm)))
            for a, b in pairwise(state.tractions for state in self.states)
        )

    @staticmethod
    def taken(before: ContactState, after: ContactState) -> Floats:
        assert before.bone is not None
        assert after.bone is not None
        return after.bone.taken - before.bone.taken


@cache
def cycle() -> Cycle:
    """Push there, back, the other way and back; an interference keeps the wall closed."""
    seat = seated(case_of(bone=YIELDS, interface=PRESSED, numerics=COARSE, implant=SMOOTH))
    top = seat.site.solids.top_mm
    path = [pull(force) for force in (FORCE, 0.0, -FORCE, 0.0)]
    states = loaded_along(seat, path, steps=STEPS, tolerance=1e-8).states
    ends = [0.0 * pull(1.0).on_sections(top), *(force.on_sections(top) for force in path)]
    on = [ends[0]]
    on += [ends[way.leg] + way.share * (ends[way.leg + 1] - ends[way.leg]) for way in states[1:]]
    return Cycle(seat=seat, states=tuple(way.state for way in states), on_sections=tuple(on))


def test_the_load_does_the_work_that_bone_and_friction_take_and_what_stays_stored() -> None:
    """Over a closed cycle: an identity of (1) to (21), but for what the wall opens within a step."""
    c = cycle()
    assert all(state.tractions.closed.all() for state in c.states)
    left = c.stored(c.states[-1]) - c.stored(c.states[0])
    assert c.plastic + c.frictional + left == pytest.approx(c.work, rel=1e-4)
    assert c.work > 0


def test_bone_and_friction_only_take_energy() -> None:
    """In each step and at each point: ξ : Δε_p ≥ 0 of the bone, τ · Δs ≥ 0 of the wall."""
    c = cycle()
    assert c.plastic > 0.05 * c.work
    assert c.frictional > 0.05 * c.work
    bone = c.seat.site.bone
    assert bone is not None
    for a, b in pairwise(c.states):
        assert b.bone is not None
        xi = c.stress(b) - bone.surface.eta * b.bone.taken
        taken = c.in_bone(xi, c.taken(a, b))
        assert taken.min() > -1e-9 * c.work
        slipped = b.tractions.slip_mm - a.tractions.slip_mm
        assert c.on_wall(b.tractions.traction[1:], slipped).min() > -1e-9 * c.work


# -- linear bone, and a mirror ------------------------------------------------------------------

STRONG = {
    "law": "yields",
    "strength": {
        **{
            f"{region}_{way}_mpa": 1e9
            for region in ("trabecular", "cortical")
            for way in ("compression", "tension")
        },
        "interaction": 0.5,
    },
}


def test_bone_too_strong_to_yield_is_linear_bone() -> None:
    """Two solvers of one problem, threaded and with friction; seats are solved to 1e-7 of their fit."""
    oblique = Resultant(axial_n=-50.0, lateral_n=20.0, torque_nmm=0.0, height_mm=4.0)
    seats = [seated(case_of(bone=bone)) for bone in ({"law": "linear"}, STRONG)]
    linear, strong = (Loaded(seat, load(seat, [oblique], tolerance=1e-9), oblique) for seat in seats)
    assert strong.peak_um == pytest.approx(linear.peak_um, rel=1e-8)
    assert strong.head.total_um == pytest.approx(linear.head.total_um, rel=1e-8)
    torques = [torque_of(seat, cutting_ncm=0.0, pitch_mm=0.8) for seat in seats]
    assert torques[1].friction_ncm == pytest.approx(torques[0].friction_ncm, rel=1e-7)
    assert torques[1].removal_ncm == pytest.approx(torques[0].removal_ncm, rel=1e-7)


def test_a_lateral_load_reversed_gives_the_mirror_image() -> None:
    """x → -x: harmonic n changes sign where n is odd, and θ becomes π - θ."""
    seat = seated(case_of(bone=YIELDS, interface={"interference_um": 5.0}, numerics=COARSE))
    there, back = (loaded(seat, pull(force)).state for force in (FORCE, -FORCE))
    sign = (-1.0) ** np.arange(there.w.shape[1])[:, None, None]
    assert np.abs(back.w - sign * there.w).max() < 1e-5 * np.abs(there.w).max()
    assert there.bone is not None
    assert back.bone is not None
    mirrored = there.bone.taken[..., ::-1] * np.array([1, 1, 1, 1, -1, -1])[:, None, None]
    assert np.abs(back.bone.taken - mirrored).max() < 1e-4 * np.abs(mirrored).max()
    # The implant turns about the cortical layer: its end yields the soft bone behind it.
    front, behind = there.bone.taken[..., :4], there.bone.taken[..., -4:]
    assert np.abs(behind).max() > 3 * np.abs(front).max()
