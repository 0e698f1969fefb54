"""Seat: the implant turned into its hole, before any load.

The interference acts alone. While the implant is turned in, friction acts round the axis and is used up
by the turning, so the pressure develops as on a frictionless wall, with the driver fixing the depth; no
slip history is kept. Crushed bone stays crushed and pressure may relax; then the driver lets go, and
friction takes over its force.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.contact import ContactState, Problem, SeriesStiffness, follow, state_tangent
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.implant_motion import section_motion
from stillroot.mechanics.interface import averaged_stiffness, tractions
from stillroot.mechanics.resultant import UNIT_LOADS, place_of_unit

if TYPE_CHECKING:
    from stillroot.arrays import Floats
    from stillroot.mechanics.contact import Preconditioner
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.site import Site

SEAT_PATIENCE = 60
"""Patience of `follow` for the seat: its one harmonic is cheap, and hard contact with crushing is
slow."""


@dataclass(frozen=True, kw_only=True)
class Seated:
    """A seated implant, ready to be loaded.

    `inserting` and `inserted`: the layer during insertion, and the axisymmetric state reached. `layer`
    and `state`: the same after crushing, relaxation and letting go, from which loads start.
    """

    site: Site
    inserting: Layer
    inserted: ContactState
    layer: Layer
    state: ContactState
    highest: int

    @cached_property
    def precondition(self) -> Preconditioner:
        """P⁻¹ of equation (9) at the seated state: computed once, used by every load."""
        blocks = averaged_stiffness(self.layer, state_tangent(self.layer, self.state))
        return self.site.series.preconditioner(blocks)

    def with_highest(self, highest: int) -> Seated:
        """Return the same seat, to be loaded in fewer harmonics."""
        fewer = replace(self, highest=highest)
        fewer.__dict__["precondition"] = self.precondition  # the same P; its first harmonics serve
        return fewer


def seat(site: Site, layer: Layer, *, retained_pressure: float = 1.0) -> Seated:
    """Seat the implant: press in at a fixed depth, settle, relax, let go.

    `retained_pressure` is the share of the pressure that relaxation leaves.

    Raises
    ------
    NotConverged
        Seating finds no equilibrium: without the driver the implant backs out.
    """
    fourier = Fourier(0, twin=False)
    m = layer.nodes_mm.shape[1]
    axial = place_of_unit("crest", "F_z")
    unit = np.eye(len(UNIT_LOADS))[axial]
    lift = site.wall_load(fourier, unit)
    still = np.zeros((*fourier.shape, m, 3))
    c = float(section_motion(site, still, unit)[axial])
    scale = max(float(np.max(layer.interference_mm)), 1e-6) * np.sqrt(m)
    expand = site.series.expand[:1]
    held = SeriesStiffness(
        free=(site.series.constrained(0, lift, np.array([[1 / c]])),), expand=expand
    )  # D + λ_0 λ_0ᵀ / c: the driver fixes the depth

    turning = layer.with_friction(0.0)
    start = _at_rest(turning, fourier, still)
    first = held.preconditioner(averaged_stiffness(turning, state_tangent(turning, start)))

    def press(layer: Layer, start: ContactState) -> ContactState:
        problem = Problem(
            series=held,
            layer=layer,
            precondition=first,
            scale_mm=scale,
            stage="seat",
            patience=SEAT_PATIENCE,
        )
        return follow(problem, start, [(1.0, still)])

    inserted = press(turning.uncrushed(), start)
    if np.any(inserted.tractions.traction[0, :, 0] > layer.crush_mpa):
        inserted = press(turning, inserted)

    overlap = layer.local(fourier.values(inserted.w))[0, :, 0] + layer.interference_mm
    settled = layer.settled(overlap).relaxed(retained_pressure)
    # Without a load, equations (4) to (8) are homogeneous in (w, δ): both are scaled alike.
    pressed = inserted.scaled(retained_pressure)
    driver = -float(np.sum(lift * pressed.w)) / c
    series = SeriesStiffness(free=site.series.free[:1], expand=expand)
    blocks = averaged_stiffness(settled, state_tangent(settled, pressed))
    let_go = Problem(
        series=series,
        layer=settled,
        precondition=series.preconditioner(blocks),
        scale_mm=scale,
        stage="seat (letting go)",
    )
    state = follow(let_go, pressed, [(1.0, still)], begin=driver * lift)
    return Seated(
        site=site,
        inserting=layer,
        inserted=inserted,
        layer=settled,
        state=state,
        highest=site.highest,
    )


def _at_rest(layer: Layer, fourier: Fourier, w: Floats) -> ContactState:
    local_w = layer.local(fourier.values(w))
    state = tractions(layer, local_w, np.zeros_like(local_w[1:]))
    return ContactState(w=w, fourier=fourier, tractions=state, residuals=(), steps=0)
