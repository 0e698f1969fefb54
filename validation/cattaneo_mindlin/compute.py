"""A sphere pressed on a flat and pulled sideways: Cattaneo 1938, Mindlin 1949, as in Johnson 1985.

Both bodies are of one material, so that pressing moves the two surfaces along each other nowhere and the
pull leaves the pressure as it is. The sphere is a gap r²/(2R) between two flats. The pressing force is
reached in two stages: first to a depth, from a flat that overlaps the sphere's tip, then to the force.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import simpson

from stillroot.inputs.case import Case
from stillroot.mechanics.contact import ContactState, Preconditioner, Problem, state_tangent
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.implant_motion import section_motion
from stillroot.mechanics.interface import Layer, averaged_stiffness, tractions
from stillroot.mechanics.outline import ABUTMENT, IMPLANT, TRABECULAR
from stillroot.mechanics.path import Leg, follow
from stillroot.mechanics.resultant import UNIT_LOADS, Resultant, place_of_unit
from stillroot.mechanics.torque import friction_torque_ncm
from validation.benches import graded, half_section_of, joined
from validation.placed import prepared
from validation.suite import Curve

if TYPE_CHECKING:
    from stillroot.mechanics.mesh import HalfSection
    from stillroot.mechanics.site import Site

Floats = NDArray[np.float64]

MODULUS, POISSON, FRICTION = 1000.0, 0.3, 0.5
SPHERE, CONTACT = 10.0, 1.0
"""Radii [mm]: of the sphere, and of the contact that the pressing force makes."""
PRESS_N = 73.2601
"""4 E* a³/(3R), E* = E/(2(1 - ν²))."""
BODY, BLOCK = 10.0, 20.0
"""Radius and height of the upper body; radius and depth of the lower one, held all round [mm]."""
STEP = CONTACT / 24
FIRST_DEPTH = 0.11
"""At which about the pressing force is reached [mm]; a²/R is 0.1."""
TO_SLIP = tuple(np.round(np.arange(0.1, 0.91, 0.1), 1))
"""Pulls as shares of µP."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return stick radii over a, displacements [µm], work [N·µm], torque [N·cm]."""
    return {key: _FIGURES[key]() for key in keys}


def curve() -> Curve:
    """Return the radius that sticks against the pull."""
    fine = np.linspace(0, 1, 51)
    return Curve(
        title="Sphere on a flat, pulled sideways: what still sticks",
        x_label="pull over what makes all slide, Q/(µP)",
        y_label="radius that sticks over contact radius",
        published=[(float(q), float((1 - q) ** (1 / 3))) for q in fine],
        computed=[(q, stick_radius(q)) for q in TO_SLIP],
    )


@dataclass(frozen=True, kw_only=True)
class Pressed:
    """The two bodies pressed together, and the λ_0 that presses them."""

    site: Site
    layer: Layer
    state: ContactState
    press: Floats


@cache
def pressed() -> Pressed:
    bed = prepared(_case(), _section(), 1)
    site, layer = bed.site, bed.layer()
    gap = FIRST_DEPTH - layer.radius_mm**2 / (2 * SPHERE)
    layer = replace(layer, interference_mm=gap).uncrushed()
    smooth, fourier = layer.with_friction(0.0), Fourier(0, twin=False)
    still = np.zeros((*fourier.shape, layer.nodes_mm.shape[1], 3))
    local = layer.local(fourier.values(still))
    at_rest = tractions(smooth, local, np.zeros_like(local[1:]))
    state = ContactState(w=still, fourier=fourier, tractions=at_rest, residuals=(), steps=0)

    axial = place_of_unit("crest", "F_z")
    unit = np.eye(len(UNIT_LOADS))[axial]
    lift = site.wall_load(fourier, unit)
    give = float(section_motion(site, still, unit)[axial])
    held = site.series.first(1).constrained(lift[None], np.array([[1 / give]]))
    p = held.preconditioner(averaged_stiffness(smooth, state_tangent(smooth, state)))
    to_depth = Problem(
        series=held,
        layer=smooth,
        precondition=p,
        scale_mm=FIRST_DEPTH * np.sqrt(len(layer.node)),
        stage="to the depth",
    )
    state = follow(to_depth, state, [Leg(reached=1.0, load=still)])
    found = -float(np.sum(lift * state.w)) / give
    p = site.series.preconditioner(averaged_stiffness(smooth, state_tangent(smooth, state)))
    press = -PRESS_N * lift
    pressing = replace(to_depth, series=site.series, precondition=p, stage="press")
    state = follow(pressing, state, [Leg(reached=1.0, load=press)], begin=found * lift)
    return Pressed(site=site, layer=layer, state=state, press=press)


@cache
def pulled(*shares: float) -> tuple[ContactState, float]:
    """Return the state after a path of pulls (shares of µP), and how far the top has gone [µm]."""
    it = pressed()
    fourier = Fourier(1, twin=False)
    if not shares:
        return it.state.in_expansion(fourier), 0.0
    before, _ = pulled(*shares[:-1])
    first, last = (_pull(share) for share in (shares[-2] if len(shares) > 1 else 0.0, shares[-1]))
    press = fourier.embedded(it.press)
    problem = Problem(
        series=it.site.series,
        layer=it.layer,
        precondition=_preconditioner(),
        scale_mm=float(np.linalg.norm(_preconditioner().solve(it.site.wall_load(fourier, _pull(1.0))))),
        stage="pull",
    )
    path = [Leg(reached=1.0, load=press + it.site.wall_load(fourier, last))]
    state = follow(problem, before, path, begin=press + it.site.wall_load(fourier, first))
    return state, 1000 * float(section_motion(it.site, state.w, last)[0])


@cache
def _preconditioner() -> Preconditioner:
    it = pressed()
    state, _ = pulled()
    return it.site.series.preconditioner(averaged_stiffness(it.layer, state_tangent(it.layer, state)))


def _pull(share: float) -> Floats:
    """Return a pull in the plane of contact, so that it does not tip the upper body."""
    pull = Resultant(lateral_n=share * FRICTION * PRESS_N, height_mm=-BODY)
    return pull.on_sections(BODY)


def stick_radius(share: float) -> float:
    """Return the radius of what sticks, from its area, over the contact radius."""
    state, _ = pulled(*TO_SLIP[: TO_SLIP.index(share) + 1])
    sticks = (state.tractions.closed & ~state.tractions.sliding).mean(axis=1)
    return float(np.sqrt(2 * np.sum(pressed().layer.weight_mm2 * sticks)) / CONTACT)


def displacement_beyond_linear() -> float:
    """Return u(0.8) - 2 u(0.4) [µm]: the bodies' own give, linear in the pull, drops out."""
    eight, four = (pulled(*TO_SLIP[: TO_SLIP.index(share) + 1])[1] for share in (0.8, 0.4))
    return eight - 2 * four


def work_of_cycle(largest: float) -> float:
    """Return the work [N·µm] lost in a cycle of the pull between ± a share of µP, in 8 steps a way."""
    way = largest * np.linspace(1, -1, 9)
    path = (largest, *(float(q) for q in (*way[1:], *-way[1:])))
    place = np.array([pulled(*path[: i + 1])[1] for i in range(len(path))])
    force = FRICTION * PRESS_N * np.array(path)
    return float(-simpson(place[:9], x=force[:9]) - simpson(place[8:], x=force[8:]))


def sliding_torque() -> float:
    """Return the torque [N·cm] that turns the sphere on the flat."""
    return friction_torque_ncm(pressed().layer, pressed().state)


def _case() -> Case:
    return Case.from_dict(
        {
            "title": "two bodies in contact, invented",
            "implant": {
                "diameter_mm": 2 * BODY,
                "length_mm": BODY,
                "abutment_height_mm": BODY,
                "abutment_diameter_mm": 2 * BODY,
                "modulus_mpa": MODULUS,
                "poisson": POISSON,
                "thread": {"form": "none"},
            },
            "bone": {
                "cortical_thickness_mm": 0.0,
                "law": "linear",
                "trabecular_modulus_mpa": MODULUS,
                "poisson": POISSON,
                "radius_mm": BLOCK,
                "depth_mm": BODY + BLOCK,
                "support": "all_round",
            },
            "interface": {"friction": FRICTION, "interference_um": 0.0, "layer_thickness_mm": 0.0},
            "loads": [{"name": "pressing in", "axial_n": 1.0}],
        }
    )


def _section() -> HalfSection:
    """Return the upper body, 2 BODY high, on the lower one; the upper half of it is the abutment."""
    near = 1.25 * CONTACT
    uniform = np.arange(0, near + STEP / 2, STEP)
    return half_section_of(
        joined(uniform, graded(near, BODY, STEP, 1.5), graded(BODY, BLOCK, 2.0, 1.5)),
        joined(graded(-BODY, BODY, STEP, 1.5), graded(-BODY, -BODY - BLOCK, STEP, 1.5), np.zeros(1)),
        {
            IMPLANT: lambda _, z: (z > -BODY) & (z < 0),
            ABUTMENT: lambda _, z: z > 0,
            TRABECULAR: lambda _, z: z < -BODY,
        },
        lambda r, z: (r < BODY) | (z < -BODY),
    )


_FIGURES = {
    "stick_30": lambda: stick_radius(0.3),
    "stick_60": lambda: stick_radius(0.6),
    "stick_90": lambda: stick_radius(0.9),
    "displacement": displacement_beyond_linear,
    "torque": sliding_torque,
    "cycle_80": lambda: work_of_cycle(0.8),
    "cycle_40": lambda: work_of_cycle(0.4),
}
