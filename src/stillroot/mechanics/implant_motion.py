"""How the implant moves, recovered from the motion at its wall."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg as la

from stillroot.mechanics.condense import free_rows
from stillroot.mechanics.resultant import LOADED, acting_in

if TYPE_CHECKING:
    from stillroot.arrays import Floats
    from stillroot.mechanics.site import Site


def implant_motion(site: Site, change: Floats, on_sections: Floats) -> dict[tuple[int, int], Floats]:
    """Return u, v, w (n, 3) [mm] of the implant's nodes, by (family, harmonic) of `LOADED`.

    `change` (f, h, m, 3) is the change of w under the unit loads `on_sections` (12,). By equation (8),
    u_i = (S_i + S_b)⁻¹ (f + S_b w) on the wall. Fields outside the expansion are zero.
    """
    families, harmonics = change.shape[:2]
    still = np.zeros((site.pair.implant.nodes_mm.shape[1], 3))
    return {
        (family, n): _recovered(site, n, change[family, n].ravel(), on_sections * acting_in(family, n))
        if family < families and n < harmonics
        else still
        for family, n in LOADED
    }


def section_motion(site: Site, change: Floats, on_sections: Floats) -> Floats:
    """Return the motion (12,) of the abutment's top, then of the section at the crest.

    For each the mean shift along x, y, z [mm] and the mean rotation about them [rad]: the motions
    conjugate to the unit loads.
    """
    moved = implant_motion(site, change, on_sections)
    return np.sum(
        [
            acting_in(family, n) * (site.loaded[n].implant.loads.T @ field.ravel())
            for (family, n), field in moved.items()
        ],
        axis=0,
    )


def _recovered(site: Site, n: int, w: Floats, on_sections: Floats) -> Floats:
    """Return u, v, w (n, 3) of the implant's nodes from the wall's w (3m,) and the unit loads (12,)."""
    harmonic = site.loaded[n]
    implant = harmonic.implant
    free = w[free_rows(site.series.expand[n])]
    u_i = la.cho_solve(harmonic.bonded, implant.condensed @ on_sections + harmonic.S_b @ free)  # (8)
    field = implant.body.recovered(u_i, implant.loads @ on_sections, implant.interior)
    return field.reshape(-1, 3)
