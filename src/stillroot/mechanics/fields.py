"""Displacement inside both bodies, recovered from the wall.

With the tractions known, the bone is solved once more with them as its load, and the implant with its
wall displacement u_b + w prescribed. Both are factorised again for this, since factors kept during a
check would fill the memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.condense import body_harmonic, elimination_order, free_rows
from stillroot.mechanics.groundwork import implant_stiffness, whole_bone
from stillroot.mechanics.harmonics import angular_weight
from stillroot.mechanics.resultant import LOADED, acting_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.arrays import Floats
    from stillroot.mechanics.bodies import BodyPair
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.fourier import Fourier
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.resultant import Resultant
    from stillroot.mechanics.seat import Seated
    from stillroot.mechanics.solids import Solids


@dataclass(frozen=True, kw_only=True)
class Displacement:
    """Change of displacement from seated to loaded [mm], as coefficients (f, h, n, 3): u, v, w."""

    fourier: Fourier
    implant: Floats
    bone: Floats


def bone_displacement(solids: Solids, pair: BodyPair, forces: Sequence[Floats]) -> list[Floats]:
    """Return u, v, w (f, h, n, 3) [mm] of the bone under each of several sets of forces on its wall.

    Forces are work-conjugate coefficients (f, h, m, 3) [N]; each set may have an expansion of its own.
    """
    bone, at_wall = pair.bone, pair.wall.bone_nodes
    harmonic = whole_bone(solids, bone)
    moved = [np.zeros((*f.shape[:2], bone.nodes_mm.shape[1], 3)) for f in forces]
    nothing = np.array([])  # prescribed
    for n in range(max(f.shape[1] for f in forces)):
        body, whole = harmonic(n)
        # One at a time: solved together, the last digits of one depend on the others beside it.
        for force, field in zip(forces, moved, strict=True):
            for family in range(len(force) if n < force.shape[1] else 0):
                nodal = np.zeros(field.shape[2:])
                nodal[at_wall] = force[family, n]
                field[family, n] = body.recovered(nothing, nodal.ravel(), whole).reshape(nodal.shape)
    return moved


def displacement(seated: Seated, loaded: ContactState, resultant: Resultant) -> Displacement:
    """Return the displacement of both bodies from the seated to the loaded state."""
    site, fourier = seated.site, loaded.fourier
    solids, wall, implant = site.solids, site.pair.wall, site.pair.implant
    whole, before = displacements_of_bone(seated, [loaded, seated.state])
    bone = whole - fourier.embedded(before)
    change = loaded.w - fourier.embedded(seated.state.w)
    on_sections = resultant.on_sections(solids.top_mm)
    stiffness = implant_stiffness(solids, implant)
    order = elimination_order(stiffness, wall.implant_nodes)
    count = implant.nodes_mm.shape[1]
    free = np.zeros(count, dtype=bool)
    moved = np.zeros((*fourier.shape, count, 3))
    for n in range(fourier.highest + 1):
        body = body_harmonic(
            stiffness, n, implant.nodes_mm, order, len(wall.implant_nodes), free, angular_weight(n)
        )
        inside = body.interior_solver()
        for family in range(fourier.shape[0]):
            u_wall = (bone[family, n][wall.bone_nodes] + change[family, n]).ravel()
            load = np.zeros(3 * count)
            if (family, n) in LOADED:
                load = site.loaded[n].implant.loads @ (on_sections * acting_in(family, n))
            at_wall = u_wall[free_rows(site.series.expand[n])]
            moved[family, n] = body.recovered(at_wall, load, inside).reshape(-1, 3)
    return Displacement(fourier=fourier, implant=moved, bone=bone)


def displacements_of_bone(seated: Seated, states: Sequence[ContactState]) -> list[Floats]:
    """Return u, v, w (f, h, n, 3) [mm] of the bone in each of several states, from the unstressed."""
    yielded = [state.bone.u for state in states if state.bone is not None]
    if yielded:
        return yielded
    site = seated.site
    return bone_displacement(site.solids, site.pair, [forces_on_bone(seated.layer, s) for s in states])


def forces_on_bone(layer: Layer, state: ContactState) -> Floats:
    """Return the forces of the wall's tractions on the bone, as coefficients (f, h, m, 3) [N]."""
    return state.fourier.moments(layer.nodal_forces(state.tractions.traction))
