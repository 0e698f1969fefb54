"""Seat and load: the two stages of one implant in its site.

Seat: the interference alone, in one step, with friction holding what it can (no sliding memory). The
tractions that it leaves are in equilibrium and stay. Load: from the seated state, in steps, since
friction has a history.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from stillroot.contact import (
    ContactState,
    Preconditioner,
    SeriesStiffness,
    follow,
    state_tangent,
)
from stillroot.fourier import Fourier
from stillroot.interface import averaged_stiffness, tractions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stillroot.interface import Layer
    from stillroot.site import Site

LOAD_STEPS = 2
"""Equal steps to the full load; what halving them changes is part of the error estimate."""


@dataclass(frozen=True, kw_only=True)
class Resultant:
    """A load on the implant: forces at a height above the crest, and torque about the axis.

    `lateral_n` points along θ = 0; `axial_n` is positive pressing in.
    """

    lateral_n: float = 0.0
    axial_n: float = 0.0
    torque_nmm: float = 0.0
    height_mm: float = 0.0

    def scaled(self, factor: float) -> Resultant:
        """Return the same load, `factor` times as large."""
        return replace(
            self,
            lateral_n=factor * self.lateral_n,
            axial_n=factor * self.axial_n,
            torque_nmm=factor * self.torque_nmm,
        )

    def on_top(self, top_mm: float) -> NDArray[np.float64]:
        """Return the statically equivalent `RESULTANTS` (4,) at the height `top_mm`."""
        moment = self.lateral_n * (self.height_mm - top_mm)
        return np.array([self.lateral_n, moment, -self.axial_n, self.torque_nmm])

    @property
    def six(self) -> NDArray[np.float64]:
        """Forces and moments (6,) about the crest: F_x, F_y, F_z [N], M_x, M_y, M_z [N·mm]."""
        moment = self.lateral_n * self.height_mm
        return np.array([self.lateral_n, 0.0, -self.axial_n, 0.0, moment, self.torque_nmm])


@dataclass(frozen=True, kw_only=True)
class Seated:
    """A seated implant: its site, its layer, the axisymmetric state, and P for what follows."""

    site: Site
    layer: Layer
    state: ContactState
    precondition: Preconditioner
    highest: int

    def with_highest(self, highest: int) -> Seated:
        """Return the same seat, to be loaded in fewer harmonics."""
        return replace(self, highest=highest)


def seat(site: Site, layer: Layer) -> Seated:
    """Seat the implant.

    Raises
    ------
    NotConverged
        The seat finds no equilibrium.
    """
    fourier = Fourier(0, twin=False)
    m = layer.nodes_mm.shape[1]
    start = _at_rest(layer, fourier, np.zeros((*fourier.shape, m, 3)))
    axisymmetric = SeriesStiffness(free=site.series.free[:1], expand=site.series.expand[:1])
    precondition = axisymmetric.preconditioner(averaged_stiffness(layer, state_tangent(layer, start)))
    scale = max(float(np.max(layer.interference_mm)), 1e-6) * np.sqrt(m)
    path = [(1.0, np.zeros_like(start.w))]
    state = follow(axisymmetric, layer, start, path, precondition, stage="seat", scale=scale)
    blocks = averaged_stiffness(layer, state_tangent(layer, state))
    return Seated(
        site=site,
        layer=layer,
        state=state,
        precondition=site.series.preconditioner(blocks),
        highest=site.highest,
    )


def load(
    seated: Seated, resultants: Sequence[Resultant], *, steps: int = LOAD_STEPS, name: str = "load"
) -> ContactState:
    """Load a seated implant along a path of resultants, each reached in `steps` equal steps.

    Raises
    ------
    NotConverged
        The implant finds no equilibrium under the load: it slips out, turns or tips.
    """
    site = seated.site
    twin = any(r.torque_nmm != 0 for r in resultants)
    around = any(r.lateral_n != 0 for r in resultants)
    fourier = Fourier(seated.highest if around else 0, twin=twin)
    start = seated.state.in_expansion(fourier)
    top = site.case.implant.abutment_height_mm
    path = []
    before = np.zeros(4)
    for k, resultant in enumerate(resultants):
        after = resultant.on_top(top)
        for i in range(1, steps + 1):
            part = before + (after - before) * i / steps
            path.append(((k + i / steps) / len(resultants), wall_load(site, fourier, part)))
        before = after
    scale = max(float(np.linalg.norm(seated.precondition.solve(w))) for _, w in path)
    return follow(site.series, seated.layer, start, path, seated.precondition, stage=name, scale=scale)


def wall_load(site: Site, fourier: Fourier, on_top: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return λ_0 (f, h, m, 3) of the four resultants on the abutment's top."""
    families, harmonics = fourier.shape
    both = np.tensordot(on_top, site.wall_loads, axes=1)
    return fourier.embedded(both[:families, : min(harmonics, 2)])


def _at_rest(layer: Layer, fourier: Fourier, w: NDArray[np.float64]) -> ContactState:
    gap = layer.local(fourier.values(w))
    state = tractions(layer, gap, np.zeros_like(gap[1:]))
    return ContactState(w=w, fourier=fourier, tractions=state, residuals=(), steps=0)
