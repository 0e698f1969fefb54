"""Implant and bone meshed, assembled and condensed to the wall between them, ready to be loaded.

A `Site` depends on geometry and moduli alone. The law at the wall, the interference and the loads enter
later, so a study that varies only those reuses the site.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg as la

from stillroot.mechanics.condense import free_rows
from stillroot.mechanics.contact import SeriesStiffness
from stillroot.mechanics.resultant import UNIT_LOADS
from stillroot.mechanics.yielding_bone import yielding_bone

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stillroot.arrays import Floats
    from stillroot.mechanics.bodies import BodyPair
    from stillroot.mechanics.fourier import Fourier
    from stillroot.mechanics.groundwork import Groundwork, LoadedImplant
    from stillroot.mechanics.solids import Solids
    from stillroot.mechanics.yielding_bone import YieldingBone


@dataclass(frozen=True, kw_only=True)
class LoadedHarmonic:
    """Harmonic 0 or 1 of the implant and its bone; `bonded`: Cholesky factorisation of S_i + S_b."""

    implant: LoadedImplant
    S_b: Floats
    bonded: tuple[Floats, bool]


@dataclass(frozen=True, kw_only=True)
class Site:
    """Bodies, wall and series stiffness, in harmonics 0 to `highest`.

    `wall_loads` (12, m, 3): λ_0 of (8) for each of the `UNIT_LOADS`, in its family and harmonic; `bone`:
    the bone at its points, where it yields.
    """

    solids: Solids
    pair: BodyPair
    series: SeriesStiffness
    loaded: tuple[LoadedHarmonic, LoadedHarmonic]
    wall_loads: Floats
    bone: YieldingBone | None = None

    @property
    def highest(self) -> int:
        """The highest harmonic."""
        return len(self.series.free) - 1

    def wall_load(self, fourier: Fourier, on_sections: Floats) -> Floats:
        """Return λ_0 (f, h, m, 3) of a sum (12,) of the unit loads; `fourier` contains their fields."""
        lambda_0 = np.zeros((*fourier.shape, *self.wall_loads.shape[1:]))
        for unit, size, wall in zip(UNIT_LOADS, on_sections, self.wall_loads, strict=True):
            if size != 0:
                lambda_0[unit.family, unit.harmonic] += size * wall
        return lambda_0


def site_on(ground: Groundwork, solids: Solids) -> Site:
    """Return the site of a groundwork with the moduli of `solids`, of the same geometry."""
    site = site_with(ground, solids, (bone.schur(solids.bone_mpa) for bone in ground.bone))
    return replace(site, bone=yielding_bone(solids, ground.pair, site.highest))


def site_with(ground: Groundwork, solids: Solids, S_b: Iterable[Floats]) -> Site:
    """Return the site of a groundwork whose bone has the stiffness S_b on the wall, h matrices (k, k).

    The one place where the bone enters (8): any body that can state its S_b harmonic by harmonic may be
    the bone.
    """
    m = ground.pair.wall.nodes_mm.shape[1]
    free, loaded = [], []
    wall_loads = np.zeros((len(UNIT_LOADS), 3 * m))
    for n, (S_i, s_b) in enumerate(zip(ground.implant_schur, S_b, strict=True)):
        bonded = la.cho_factor(S_i + s_b, lower=True, check_finite=False)
        half = la.solve_triangular(bonded[0], s_b, lower=True, check_finite=False)
        free.append(s_b - half.T @ half)  # D of (8)
        if n <= 1:
            implant = ground.loaded[n]
            lambda_0 = s_b @ la.cho_solve(bonded, implant.condensed)  # (8)
            wall_loads[:, free_rows(ground.expand[n])] += lambda_0.T
            loaded.append(LoadedHarmonic(implant=implant, S_b=s_b, bonded=bonded))
    return Site(
        solids=solids,
        pair=ground.pair,
        series=SeriesStiffness(free=tuple(free), expand=ground.expand),
        loaded=(loaded[0], loaded[1]),
        wall_loads=wall_loads.reshape(-1, m, 3),
    )
