"""A rigid sphere pressed without friction into an elastic half-space (Hertz 1882; Johnson 1985, ch. 4).

The sphere is a gap r²/(2R) in the interface law, pressed in to a depth d: where the two meet is for the
law to find, equation (4) of docs/theory.md. Shear modulus is 1, R is 10 and d is 0.1, so Hertz has a
contact of radius √(Rd) = 1.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from stillroot.mechanics.bodies import Wall
from stillroot.mechanics.condense import body_harmonic, elimination_order
from stillroot.mechanics.contact import ContactState, Problem, SeriesStiffness, state_tangent
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.harmonics import angular_weight
from stillroot.mechanics.interface import Layer, averaged_stiffness, layer_on, tractions
from stillroot.mechanics.path import Leg, follow
from validation.benches import Floats, basis_of, graded, joined, mesh_of, stiffness_of
from validation.suite import Curve

POISSON = 0.3
SPHERE, DEPTH = 10.0, 0.1
BLOCK, REACH = 1000.0, 1.5
"""The block is held where it ends; contact may come about as far out as `REACH`."""
STEPS, GROWTH = 20, 1.4
"""Steps of the grid in a length of 1 where contact may be, and their growth beyond."""
HARD = 1e4
"""Stiffness of the layer between, per length: it gives 0.01 % of the depth."""


@dataclass(frozen=True, kw_only=True)
class Pressed:
    """The law's points: radius (p,), area over the circle (p,), pressure (p,), whether closed (p,)."""

    radius: Floats
    area: Floats
    pressure: Floats
    closed: Floats

    @property
    def force(self) -> float:
        return float(self.area @ self.pressure)

    @property
    def contact_radius(self) -> float:
        """Return the radius of a disc with the area that is closed."""
        return float(np.sqrt(self.area @ self.closed / np.pi))

    @property
    def peak(self) -> float:
        """Return the largest pressure; the point on the axis stands for no area and is left out."""
        return float(self.pressure[self.area > 0].max())


@cache
def pressed(steps: int = STEPS) -> Pressed:
    """Return the sphere at its depth."""
    even = np.linspace(0, REACH, round(steps * REACH) + 1)
    growth = GROWTH ** (STEPS / steps)
    r = joined(even, graded(REACH, BLOCK, 1 / steps, growth))
    z = np.sort(graded(0, -BLOCK, 0.5 / steps, growth))
    body = basis_of(mesh_of(r, z))
    x, y = body.doflocs
    nodes = np.flatnonzero((x < REACH + 1e-9) & (y > -1e-9))
    nodes = nodes[np.argsort(x[nodes])]
    stiffness = stiffness_of(body, POISSON, 2 * (1 + POISSON))
    held = (x > BLOCK - 1e-6) | (y < -BLOCK + 1e-6)
    order = elimination_order(stiffness, nodes)
    half_space = body_harmonic(stiffness, 0, body.doflocs, order, len(nodes), held, angular_weight(0))
    rows = (3 * nodes[:, None] + np.arange(3)).ravel()
    expand = half_space.to_dofs.tocsr()[rows][:, half_space.interior :].tocsc()
    # The sphere does not give: of (8), S_i → ∞ leaves D = S_b.
    series = SeriesStiffness(free=(half_space.schur(),), expand=(expand,))
    layer = gap_of_sphere(body.doflocs[:, nodes])
    state = in_equilibrium(series, layer)
    t = state.tractions
    return Pressed(
        radius=layer.radius_mm,
        area=2 * np.pi * layer.weight_mm2,
        pressure=t.traction[0, :, 0],
        closed=t.closed[:, 0].astype(float),
    )


def gap_of_sphere(nodes: Floats) -> Layer:
    """Return the law on the flat, whose interference is depth less gap."""
    first = np.arange(0, nodes.shape[1] - 1, 2)
    edges = np.stack([first, first + 1, first + 2])
    count = len(first)
    wall = Wall(
        nodes_mm=nodes,
        implant_nodes=np.arange(nodes.shape[1]),
        bone_nodes=np.arange(nodes.shape[1]),
        edges=edges,
        normal=np.tile([[0.0], [-1.0]], count),
        bone_elements=np.zeros(count, dtype=np.int64),
        fill=np.zeros(count, dtype=bool),
    )
    layer = layer_on(
        wall,
        normal_stiffness=np.full(count, HARD),
        shear_stiffness=np.full(count, HARD),
        crush_mpa=np.full(count, np.inf),
        interference_mm=0.0,
        glued=False,
        friction=0.0,
    )
    return replace(layer, interference_mm=DEPTH - layer.radius_mm**2 / (2 * SPHERE))


def in_equilibrium(series: SeriesStiffness, layer: Layer) -> ContactState:
    fourier = Fourier(0, twin=False)
    still = np.zeros((*fourier.shape, layer.nodes_mm.shape[1], 3))
    gap = layer.local(fourier.values(still))
    start = ContactState(
        w=still,
        fourier=fourier,
        tractions=tractions(layer, gap, np.zeros_like(gap[1:])),
        residuals=(),
        steps=0,
    )
    first = series.preconditioner(averaged_stiffness(layer, state_tangent(layer, start)))
    scale = DEPTH * np.sqrt(layer.nodes_mm.shape[1])
    problem = Problem(series=series, layer=layer, precondition=first, scale_mm=scale, stage="press")
    return follow(problem, start, [Leg(reached=1.0, load=still)])


def compute(keys: frozenset[str]) -> dict[str, float]:
    sphere = pressed()
    values = {
        "force": sphere.force,
        "contact_radius": sphere.contact_radius,
        "peak_pressure": sphere.peak,
    }
    return {key: values[key] for key in keys}


def curve() -> Curve:
    """Pressure against radius; published is p₀ √(1 - r²/a²) with p₀ = (2E*/π) √(d/R)."""
    sphere = pressed()
    order = np.argsort(sphere.radius, kind="stable")
    shown = order[(sphere.radius[order] < 1.3) & (sphere.area[order] > 0)]
    r = np.linspace(0, 1, 101)
    peak = 2 / np.pi * 2 / (1 - POISSON) * np.sqrt(DEPTH / SPHERE)
    return Curve(
        title="Rigid sphere pressed into a half-space without friction",
        x_label="radius over that of the contact",
        y_label="pressure over the shear modulus",
        published=[(float(x), float(peak * np.sqrt(1 - x**2))) for x in r],
        computed=[(float(sphere.radius[k]), float(sphere.pressure[k])) for k in shown[::5]],
    )
