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

from stillroot.mechanics.contact import ContactState, Problem, state_tangent
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.implant_motion import section_motion
from stillroot.mechanics.interface import averaged_stiffness, tractions
from stillroot.mechanics.path import Leg, follow
from stillroot.mechanics.resultant import UNIT_LOADS, place_of_unit

if TYPE_CHECKING:
    from stillroot.arrays import Floats
    from stillroot.mechanics.contact import Preconditioner
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.site import Site

SEAT_PATIENCE = 60
"""Patience of `follow` for the seat: its one harmonic is cheap, and hard contact with crushing is
slow."""
FIT_STEPS = 4
"""Equal steps in which the interference is reached in bone that yields."""


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

    `retained_pressure` is the share of the pressure that relaxation leaves. Bone that yields bounds the
    pressure itself; elsewhere the layer's crushing pressure does.

    Raises
    ------
    NotConverged
        Seating finds no equilibrium: without the driver the implant backs out.
    """
    if site.bone is not None:
        layer = layer.uncrushed()
    driver = _driver(site)
    inserted = turned_in(site, layer, driver)
    overlap = layer.local(inserted.fourier.values(inserted.w))[0, :, 0] + layer.interference_mm
    settled = layer.settled(overlap).relaxed(retained_pressure)
    # Without a load, (4) to (8) and (21) are homogeneous in all strains and δ: all are scaled alike.
    pressed = inserted.scaled(retained_pressure)
    series = site.series.first(1)
    blocks = averaged_stiffness(settled, state_tangent(settled, pressed))
    let_go = Problem(
        series=series,
        layer=settled,
        precondition=series.preconditioner(blocks),
        scale_mm=_scale_mm(layer),
        stage="seat (letting go)",
        bone=site.bone,
    )
    still = Leg(reached=1.0, load=np.zeros_like(pressed.w))
    state = follow(let_go, pressed, [still], begin=driver.force(pressed) * driver.lift)
    return Seated(
        site=site,
        inserting=layer,
        inserted=inserted,
        layer=settled,
        state=state,
        highest=site.highest,
    )


@dataclass(frozen=True, kw_only=True)
class _Driver:
    """The driver, which fixes the depth: λ_0 of its unit force (f, h, m, 3), and its compliance c."""

    lift: Floats
    compliance: float

    def force(self, state: ContactState) -> float:
        """Return its force [N]: by reciprocity the implant's motion along its axis is c F + λ_0ᵀ w."""
        return -float(np.sum(self.lift * state.elastic_w)) / self.compliance


def _driver(site: Site) -> _Driver:
    fourier, axial = Fourier(0, twin=False), place_of_unit("crest", "F_z")
    unit = np.eye(len(UNIT_LOADS))[axial]
    lift = site.wall_load(fourier, unit)
    compliance = float(section_motion(site, np.zeros_like(lift), unit)[axial])
    return _Driver(lift=lift, compliance=compliance)


def turned_in(site: Site, layer: Layer, driver: _Driver | None = None) -> ContactState:
    """Return the axisymmetric state of the implant turned in, its depth held by the driver.

    Raises
    ------
    NotConverged
        No equilibrium is found.
    """
    driver = driver or _driver(site)
    fourier, still = Fourier(0, twin=False), np.zeros_like(driver.lift)
    hold = np.array([[1 / driver.compliance]])
    held = site.series.first(1).constrained(driver.lift[None], hold)
    turning = layer.with_friction(0.0)
    start = _at_rest(site, turning, fourier, still)
    problem = Problem(
        series=held,
        layer=turning.uncrushed(),
        precondition=held.preconditioner(averaged_stiffness(turning, state_tangent(turning, start))),
        scale_mm=_scale_mm(layer),
        stage="seat",
        patience=SEAT_PATIENCE,
        bone=site.bone,
    )
    if site.bone is not None:
        fit = turning.interference_mm
        loose = replace(turning, interference_mm=np.zeros_like(fit))
        path = [
            Leg(reached=k / FIT_STEPS, load=still, interference_mm=k / FIT_STEPS * fit)
            for k in range(1, FIT_STEPS + 1)
        ]
        return follow(replace(problem, layer=loose), start, path)
    path = [Leg(reached=1.0, load=still)]
    inserted = follow(problem, start, path)
    if np.any(inserted.tractions.traction[0, :, 0] > layer.crush_mpa):
        inserted = follow(replace(problem, layer=turning), inserted, path)
    return inserted


def _scale_mm(layer: Layer) -> float:
    return max(float(np.max(layer.interference_mm)), 1e-6) * np.sqrt(layer.nodes_mm.shape[1])


def _at_rest(site: Site, layer: Layer, fourier: Fourier, w: Floats) -> ContactState:
    local_w = layer.local(fourier.values(w))
    state = tractions(layer, local_w, np.zeros_like(local_w[1:]))
    bone = None if site.bone is None else site.bone.at_rest(fourier)
    return ContactState(w=w, fourier=fourier, tractions=state, residuals=(), steps=0, bone=bone)
