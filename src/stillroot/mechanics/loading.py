"""Seat and load: the two stages of one implant in its site.

Seat: the interference alone. While the implant is turned in, friction acts round the axis and is used up
by the turning, so the pressure develops as on a frictionless wall, with the driver fixing the depth; no
slip history is kept. Crushed bone stays crushed and pressure may relax; then the driver lets go, and
friction takes over its force. Load: from the seated state, in steps, since friction depends on history.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from stillroot.errors import NotConverged
from stillroot.mechanics.contact import (
    TOLERANCE,
    ContactState,
    Preconditioner,
    SeriesStiffness,
    follow,
    state_tangent,
)
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.interface import averaged_stiffness, tractions
from stillroot.mechanics.motion import imbalance, section_motion

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.site import Site

SEAT_PATIENCE = 60
"""Patience of `follow` for the seat: its one harmonic is cheap, and hard contact with crushing is
slow."""
AXIAL_AT_CREST = 6
"""Index of the axial resultant at the crest among the eight."""
BALANCE = 1e-4
"""Largest accepted imbalance of the six components of force on the implant, relative to the load."""
LOOSE_BALANCE = 100.0
"""The same as a multiple of the tolerance, where that is set looser than its default."""


@dataclass(frozen=True, kw_only=True)
class Resultant:
    """A load on the implant: forces at a height above the crest, and torque about the axis.

    `lateral_n` points along θ = 0; `moment_nmm` tilts the axis towards it, in addition to the moment of
    the lateral force at its height; `across_n` and `across_nmm` do the same towards θ = 90°; `axial_n`
    is positive pressing in. The load is applied as its static equivalent on the abutment's top or, with
    `at_crest`, on the section at the crest.
    """

    lateral_n: float = 0.0
    moment_nmm: float = 0.0
    axial_n: float = 0.0
    torque_nmm: float = 0.0
    height_mm: float = 0.0
    at_crest: bool = False
    across_n: float = 0.0
    across_nmm: float = 0.0

    def scaled(self, factor: float) -> Resultant:
        """Return the load multiplied by `factor`."""
        return replace(
            self,
            lateral_n=factor * self.lateral_n,
            moment_nmm=factor * self.moment_nmm,
            axial_n=factor * self.axial_n,
            torque_nmm=factor * self.torque_nmm,
            across_n=factor * self.across_n,
            across_nmm=factor * self.across_nmm,
        )

    def on_sections(self, top_mm: float) -> NDArray[np.float64]:
        """Return the statically equivalent `RESULTANTS` (8,): on top at `top_mm`, then at the crest.

        Components towards θ = 90° are not among them: see `across_sections`.
        """
        lever = self.height_mm - (0.0 if self.at_crest else top_mm)
        moment = self.moment_nmm + self.lateral_n * lever
        return self._on_its_section([self.lateral_n, moment, -self.axial_n, self.torque_nmm])

    def across_sections(self, top_mm: float) -> NDArray[np.float64]:
        """Return the components towards θ = 90°, as `on_sections` returns those towards θ = 0."""
        lever = self.height_mm - (0.0 if self.at_crest else top_mm)
        return self._on_its_section([self.across_n, self.across_nmm + self.across_n * lever, 0.0, 0.0])

    def _on_its_section(self, section: list[float]) -> NDArray[np.float64]:
        nothing = [0.0] * 4
        return np.array(nothing + section if self.at_crest else section + nothing)

    @property
    def six(self) -> NDArray[np.float64]:
        """Forces and moments (6,) about the crest: F_x, F_y, F_z [N], M_x, M_y, M_z [N·mm]."""
        moment = self.moment_nmm + self.lateral_n * self.height_mm
        across = self.across_nmm + self.across_n * self.height_mm
        return np.array([self.lateral_n, self.across_n, -self.axial_n, -across, moment, self.torque_nmm])


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


def seat(site: Site, layer: Layer) -> Seated:
    """Seat the implant: press in at a fixed depth, settle, relax, let go.

    Raises
    ------
    NotConverged
        Seating finds no equilibrium: without the driver the implant backs out.
    """
    fourier = Fourier(0, twin=False)
    m = layer.nodes_mm.shape[1]
    unit = np.eye(8)[AXIAL_AT_CREST]
    lift = wall_load(site, fourier, unit)
    still = np.zeros((*fourier.shape, m, 3))
    give = float(section_motion(site, still, unit)[AXIAL_AT_CREST])
    held = site.series.held_along(lift.ravel(), give)
    scale = max(float(np.max(layer.interference_mm)), 1e-6) * np.sqrt(m)

    turning = layer.with_friction(0.0)
    start = _at_rest(turning, fourier, still)
    first = held.preconditioner(averaged_stiffness(turning, state_tangent(turning, start)))

    def press(layer: Layer, start: ContactState) -> ContactState:
        path = [(1.0, still)]
        return follow(held, layer, start, path, first, stage="seat", scale=scale, patience=SEAT_PATIENCE)

    inserted = press(turning.uncrushed(), start)
    if np.any(inserted.tractions.traction[0, :, 0] > layer.crush_mpa):
        inserted = press(turning, inserted)

    overlap = layer.local(fourier.values(inserted.w))[0, :, 0] + layer.interference_mm
    retained = site.case.interface.retained_pressure
    settled = layer.settled(overlap).relaxed(retained)
    # Without a load, equations (4) to (8) are homogeneous in (w, δ): both are scaled alike.
    pressed = inserted.scaled(retained)
    driver = -float(np.sum(lift * pressed.w)) / give
    axisymmetric = SeriesStiffness(free=site.series.free[:1], expand=site.series.expand[:1])
    second = axisymmetric.preconditioner(averaged_stiffness(settled, state_tangent(settled, pressed)))
    state = follow(
        axisymmetric,
        settled,
        pressed,
        [(1.0, still)],
        second,
        stage="seat (letting go)",
        scale=scale,
        begin=driver * lift,
    )
    return Seated(
        site=site,
        inserting=layer,
        inserted=inserted,
        layer=settled,
        state=state,
        highest=site.highest,
    )


def load(
    seated: Seated,
    resultants: Sequence[Resultant],
    *,
    steps: int | None = None,
    name: str = "load",
    tolerance: float = TOLERANCE,
) -> ContactState:
    """Load a seated implant along a path of resultants, each reached in equal steps.

    `steps` defaults to the number of load steps of the case. Where no resultant acts, the seated state
    is returned.

    Raises
    ------
    NotConverged
        The implant finds no equilibrium under the load: it slips out, turns or tips.
    """
    site = seated.site
    across = any(r.across_n != 0 or r.across_nmm != 0 for r in resultants)
    twin = across or any(r.torque_nmm != 0 for r in resultants)
    around = across or any(r.lateral_n != 0 or r.moment_nmm != 0 for r in resultants)
    fourier = Fourier(seated.highest if around else 0, twin=twin)
    start = seated.state.in_expansion(fourier)
    if not any(np.any(r.six) for r in resultants):
        return start
    top = site.case.implant.abutment_height_mm
    steps = steps or site.case.numerics.load_steps
    path = []
    before = np.zeros((*fourier.shape, seated.layer.nodes_mm.shape[1], 3))
    for k, resultant in enumerate(resultants):
        after = wall_load(site, fourier, resultant.on_sections(top), resultant.across_sections(top))
        for i in range(1, steps + 1):
            part = before + (after - before) * i / steps
            path.append(((k + i / steps) / len(resultants), part))
        before = after
    scale = max(float(np.linalg.norm(seated.precondition.solve(w))) for _, w in path)
    state = follow(
        site.series,
        seated.layer,
        start,
        path,
        seated.precondition,
        stage=name,
        scale=scale,
        tolerance=tolerance,
    )
    allowed = max(BALANCE, LOOSE_BALANCE * tolerance)
    largest = max(resultants, key=lambda r: float(np.linalg.norm(r.six)))
    left = imbalance(seated.layer, state, resultants[-1], against=largest)
    if left > allowed:
        text = (
            f"{name}: the forces on the implant are out of balance by {left:.0e} of the load (allowed: "
            f"{allowed:.0e}); a smaller element_mm may help"
        )
        raise NotConverged(text, stage=name, residual_history=state.residuals)
    return state


def wall_load(
    site: Site,
    fourier: Fourier,
    on_sections: NDArray[np.float64],
    across: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Return λ_0 (f, h, m, 3) of the resultants (8,) on top and at the crest.

    `across` (8,) are lateral forces and moments towards θ = 90°: the first family of n = 1, turned by
    90°, is its twin.
    """
    families, harmonics = fourier.shape
    both = np.tensordot(on_sections, site.wall_loads, axes=1)
    if across is not None:
        both[1, 1] += np.tensordot(across, site.wall_loads[:, 0, 1], axes=1)
    return fourier.embedded(both[:families, : min(harmonics, 2)])


def _at_rest(layer: Layer, fourier: Fourier, w: NDArray[np.float64]) -> ContactState:
    gap = layer.local(fourier.values(w))
    state = tractions(layer, gap, np.zeros_like(gap[1:]))
    return ContactState(w=w, fourier=fourier, tractions=state, residuals=(), steps=0)
