"""Displacement inside both bodies, recovered from the wall.

With the tractions known, the bone is solved once more with them as its load, and the implant with its
wall displacement u_b + w given. The factors are made again and thrown away: they would fill the memory
during a check and are wanted only for pictures and files.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse.linalg as spla

from stillroot.condense import body_harmonic, elimination_order, free_rows
from stillroot.harmonics import angular_weight
from stillroot.motion import acting_in
from stillroot.site import bone_stiffness, implant_stiffness, supported

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stillroot.contact import ContactState
    from stillroot.fourier import Fourier
    from stillroot.loading import Resultant, Seated


@dataclass(frozen=True, kw_only=True)
class Displacement:
    """Change of displacement from seated to loaded [mm], as coefficients (f, h, n, 3): u, v, w."""

    fourier: Fourier
    implant: NDArray[np.float64]
    bone: NDArray[np.float64]


def displacement(seated: Seated, loaded: ContactState, resultant: Resultant) -> Displacement:
    """Return the displacement of both bodies from the seated to the loaded state."""
    site, layer, fourier = seated.site, seated.layer, loaded.fourier
    case, pair = site.case, site.pair
    wall = pair.wall
    forces = fourier.moments(layer.nodal_forces(loaded.tractions.traction)) - fourier.embedded(
        seated.state.fourier.moments(layer.nodal_forces(seated.state.tractions.traction))
    )
    change = loaded.w - fourier.embedded(seated.state.w)
    on_sections = resultant.on_sections(case.implant.abutment_height_mm)
    stiffness = implant_stiffness(case, pair.implant), bone_stiffness(case, pair.bone)
    nodes = pair.implant.nodes_mm, pair.bone.nodes_mm
    fixed = np.zeros(nodes[0].shape[1], dtype=bool), supported(case, pair.bone)
    at_wall = wall.implant_nodes, wall.bone_nodes
    order = [elimination_order(k, at) for k, at in zip(stiffness, at_wall, strict=True)]
    implant, bone = (np.zeros((*fourier.shape, xy.shape[1], 3)) for xy in nodes)
    for n in range(fourier.highest + 1):
        body_i, body_b = (
            body_harmonic(
                stiffness[b], n, nodes[b], order[b], len(at_wall[b]), fixed[b], angular_weight(n)
            )
            for b in (0, 1)
        )
        solve_bone = spla.splu(body_b.stiffness)
        inside = body_i.interior_solver()
        for family in range(fourier.shape[0]):
            f = np.zeros((nodes[1].shape[1], 3))
            f[wall.bone_nodes] = forces[family, n]
            u_b = body_b.to_dofs @ solve_bone.solve(body_b.to_dofs.T @ f.ravel())
            bone[family, n] = u_b.reshape(-1, 3)
            u_wall = (bone[family, n][wall.bone_nodes] + change[family, n]).ravel()
            load = np.zeros(3 * nodes[0].shape[1])
            if n <= 1:
                load = site.loaded[n].loads @ (on_sections * acting_in(family, n))
            free = u_wall[free_rows(site.series.expand[n])]
            implant[family, n] = body_i.recovered(free, load, inside).reshape(-1, 3)
    return Displacement(fourier=fourier, implant=implant, bone=bone)
